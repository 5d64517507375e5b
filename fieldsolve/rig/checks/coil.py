"""Checks of the coil, its insulation and its disc, and of the computation itself."""
from __future__ import annotations

from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, Assessment, Rule, largest_assessment
from fieldsolve.rig.coil import layer_count
from fieldsolve.rig.formulas.insulation import ground_voltage, layer_voltage, turn_voltage
from fieldsolve.rig.rig import Rig, highest_charge_voltage, require_banks, require_shot, require_spent_shot, total_turns
from fieldsolve.rig.source import CASE_FILE, COMMON_PRACTICE, HELD_SHOT, Source
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display

FIELD_AT_10_KHZ = Source("this program's field at 10 kHz", "computed")


def inductance_ratio(rig: Rig) -> Assessment:
    """Inductance of the empty coil at 10 kHz over that of the leads and the bank that has the most; a bank without any has not told it."""
    of_banks = [bank.inductance for bank in require_banks(rig)]
    if not all(inductance > 0 for inductance in of_banks):
        raise MissingInput("[bank] inductance")
    outside = rig.leads.inductance + max(of_banks)
    if rig.coil_inductance is None:
        raise MissingInput("the inductance of the empty coil at 10 kHz")
    return rig.coil_inductance / outside, (f"{display(rig.coil_inductance, 'H')} empty at 10 kHz against {display(outside, 'H')} of bank, "
                                           "gap and leads; a disc takes a third or more of the coil's")


def film_margin(rig: Rig) -> Assessment:
    """Breakdown voltage of the film over the voltage from turn to turn, even steps or computed, whichever is larger."""
    film, even = require(rig.insulation, "film_breakdown"), turn_voltage(highest_charge_voltage(rig), total_turns(rig))
    computed = (rig.shot.turn_voltage if rig.shot else None) or 0.0
    volts, how = largest_assessment([(even, "even steps"), (computed, "computed")])
    return film / volts, (f"film breaks at {display(film, 'V')}, {display(volts, 'V')} from turn to turn ({how}); bends and pinholes "
                          "weaken film, the first instant is uneven")


def layer_margin(rig: Rig) -> Assessment | None:
    """Breakdown voltage from layer to layer over the voltage there, of the coil with the fewest; one layer alone has none."""
    total_turns(rig)
    layers = [rig.insulation.layers or layer_count(coil) for coil in rig.coils]
    if None in layers:
        raise MissingInput("[insulation] layers of the winding")
    if max(layers) == 1:
        return None
    fewest = min(count for count in layers if count > 1)
    between, limit = layer_voltage(highest_charge_voltage(rig), fewest), require(rig.insulation, "layer_breakdown")
    return limit / between, f"breaks at {display(limit, 'V')}, {display(between, 'V')} between the ends of two of {fewest} layers"


def disc_margin(rig: Rig) -> Assessment:
    """Breakdown voltage from coil to disc over the charge voltage."""
    _require_body(rig)
    volts, limit = ground_voltage(highest_charge_voltage(rig)), require(rig.insulation, "coil_to_disc_breakdown")
    return limit / volts, f"breaks at {display(limit, 'V')}, all {display(volts, 'V')} can stand across it; mind the disc's sharp edge"


def _require_body(rig: Rig) -> None:
    if not rig.section.bodies:
        raise MissingInput("a disc: a part of metal that the coil presses")


def rim_action(rig: Rig) -> Assessment:
    """Largest action in a body over that at which its metal starts to melt."""
    _require_body(rig)
    shot = require_spent_shot(rig)
    unknown = [name for name, share in shot.action_share.items() if share is None]
    if unknown or not shot.action_share:
        raise MissingInput(f"[run] heating = true, and metal whose melting point is known ({', '.join(unknown) or 'no body conducts'})")
    share, name = largest_assessment((share, name) for name, share in shot.action_share.items())
    return share, (f"{name}: integral of J^2 dt where it is largest, to {1e6 * shot.end_time:.4g} us, over that which starts to melt it; "
                   "held metal overstates it")


def energy_residual(rig: Rig) -> Assessment:
    """What the energy balance of the shot leaves unexplained, a share of the banks' energy."""
    shot = require_shot(rig)
    return shot.residual, f"{100 * shot.residual:.2g} % of the bank's energy is unexplained: a check of the computation, not of the rig"


RULES = (
    Rule("inductance_ratio", "coil over external inductance", AT_LEAST, 4.0, "", False, inductance_ratio, FIELD_AT_10_KHZ),
    Rule("film_margin_stop", "turn film, breakdown over voltage", AT_LEAST, 1.5, "", True, film_margin, COMMON_PRACTICE),
    Rule("film_margin", "turn film, breakdown over voltage", AT_LEAST, 3.0, "", False, film_margin, COMMON_PRACTICE),
    Rule("layer_margin_stop", "layers, breakdown over voltage", AT_LEAST, 1.5, "", True, layer_margin, COMMON_PRACTICE),
    Rule("layer_margin", "layers, breakdown over voltage", AT_LEAST, 3.0, "", False, layer_margin, COMMON_PRACTICE),
    Rule("disc_margin_stop", "coil to disc, breakdown over charge", AT_LEAST, 1.5, "", True, disc_margin, CASE_FILE),
    Rule("disc_margin", "coil to disc, breakdown over charge", AT_LEAST, 2.0, "", False, disc_margin, CASE_FILE),
    Rule("rim_action", "rim action over that to melting", AT_MOST, 0.9, "", False, rim_action, HELD_SHOT),
    Rule("energy_residual_stop", "energy balance, unexplained share", AT_MOST, 0.05, "", True, energy_residual, HELD_SHOT),
    Rule("energy_residual", "energy balance, unexplained share", AT_MOST, 0.02, "", False, energy_residual, HELD_SHOT),
)
