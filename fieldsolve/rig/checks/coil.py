"""Checks of the coil, its insulation and its disc, and of the computation itself."""
from __future__ import annotations

from fieldsolve.rig.card_inputs import CardInputs, overstatement, require_shot, require_spent_shot
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, Assessment, Rule, largest_assessment, run_read
from fieldsolve.rig.coil import layer_count
from fieldsolve.rig.formulas.insulation import ground_voltage, layer_voltage, turn_voltage
from fieldsolve.rig.rig import Rig, highest_charge_voltage, require_banks, total_turns
from fieldsolve.rig.source import CASE_FILE, COMMON_PRACTICE, SHOT, Source
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display

FIELD_AT_10_KHZ = Source("this program's field at 10 kHz", "computed")


def inductance_ratio(inputs: CardInputs) -> Assessment:
    """Inductance of the empty coil at 10 kHz over that of the leads and the bank that has the most; MissingInput where a bank has none."""
    of_banks = [bank.inductance for bank in require_banks(inputs.rig)]
    if not all(inductance > 0 for inductance in of_banks):
        raise MissingInput("[bank] inductance")
    outside = inputs.rig.leads.inductance + max(of_banks)
    if inputs.coil_inductance is None:
        raise MissingInput("the inductance of the empty coil at 10 kHz")
    return inputs.coil_inductance / outside, (
        f"{display(inputs.coil_inductance, 'H')} empty at 10 kHz against {display(outside, 'H')} of bank, gap and leads; "
        "a disc takes a third or more of the coil's")


def film_margin(inputs: CardInputs) -> Assessment:
    """Breakdown voltage of the film over the voltage from turn to turn, even steps or computed, whichever is larger."""
    film = require(inputs.rig.insulation, "film_breakdown")
    even = turn_voltage(highest_charge_voltage(inputs.rig), total_turns(inputs.rig))
    computed = (inputs.shot.turn_voltage if inputs.shot else None) or 0.0
    volts, how = largest_assessment([(even, "even steps"), (computed, f"computed, metal {run_read('shot', inputs) or 'held'}")])
    return film / volts, (f"film breaks at {display(film, 'V')}, {display(volts, 'V')} from turn to turn ({how}); bends and pinholes "
                          "weaken film, the first instant is uneven")


def layer_margin(inputs: CardInputs) -> Assessment | None:
    """Breakdown voltage from layer to layer over the voltage there, of the coil with the fewest; one layer alone has none."""
    total_turns(inputs.rig)
    layers = [inputs.rig.insulation.layers or layer_count(coil) for coil in inputs.rig.coils]
    if None in layers:
        raise MissingInput("[insulation] layers of the winding")
    if max(layers) == 1:
        return None
    fewest = min(count for count in layers if count > 1)
    between, limit = layer_voltage(highest_charge_voltage(inputs.rig), fewest), require(inputs.rig.insulation, "layer_breakdown")
    return limit / between, f"breaks at {display(limit, 'V')}, {display(between, 'V')} between the ends of two of {fewest} layers"


def disc_margin(inputs: CardInputs) -> Assessment:
    """Breakdown voltage from coil to disc over the charge voltage."""
    _require_body(inputs.rig)
    volts, limit = ground_voltage(highest_charge_voltage(inputs.rig)), require(inputs.rig.insulation, "coil_to_disc_breakdown")
    return limit / volts, f"breaks at {display(limit, 'V')}, all {display(volts, 'V')} can stand across it; mind the disc's sharp edge"


def _require_body(rig: Rig) -> None:
    if not rig.section.bodies:
        raise MissingInput("a disc: a part of metal that the coil presses")


def rim_action(inputs: CardInputs) -> Assessment:
    """Largest action in a body over that at which its metal starts to melt."""
    _require_body(inputs.rig)
    shot = require_spent_shot(inputs)
    unknown = [name for name, share in shot.action_share.items() if share is None]
    if unknown or not shot.action_share:
        raise MissingInput(f"[run] heating = true, and metal whose melting point is known ({', '.join(unknown) or 'no body conducts'})")
    share, name = largest_assessment((share, name) for name, share in shot.action_share.items())
    return share, (f"{name}: integral of J^2 dt where it is largest, to {1e6 * shot.end_time:.4g} us, over that which starts to melt it"
                   + overstatement(inputs))


def energy_residual(inputs: CardInputs) -> Assessment:
    """What the energy balance of the shot leaves unexplained, as a fraction of the banks' energy."""
    shot = require_shot(inputs)
    return shot.residual, f"{100 * shot.residual:.2g} % of the bank's energy is unexplained: a check of the computation, not of the rig"


RULES = (
    Rule(name="inductance_ratio", quantity="coil over external inductance", sense=AT_LEAST, limit=4.0,
         evaluate=inductance_ratio, hard=False, source=FIELD_AT_10_KHZ),
    Rule(name="film_margin_stop", quantity="turn film, breakdown over voltage", sense=AT_LEAST, limit=1.5,
         evaluate=film_margin, hard=True, source=COMMON_PRACTICE),
    Rule(name="film_margin", quantity="turn film, breakdown over voltage", sense=AT_LEAST, limit=3.0,
         evaluate=film_margin, hard=False, source=COMMON_PRACTICE),
    Rule(name="layer_margin_stop", quantity="layers, breakdown over voltage", sense=AT_LEAST, limit=1.5,
         evaluate=layer_margin, hard=True, source=COMMON_PRACTICE),
    Rule(name="layer_margin", quantity="layers, breakdown over voltage", sense=AT_LEAST, limit=3.0,
         evaluate=layer_margin, hard=False, source=COMMON_PRACTICE),
    Rule(name="disc_margin_stop", quantity="coil to disc, breakdown over charge", sense=AT_LEAST, limit=1.5,
         evaluate=disc_margin, hard=True, source=CASE_FILE),
    Rule(name="disc_margin", quantity="coil to disc, breakdown over charge", sense=AT_LEAST, limit=2.0,
         evaluate=disc_margin, hard=False, source=CASE_FILE),
    Rule(name="rim_action", quantity="rim action over that to melting", sense=AT_MOST, limit=0.9,
         evaluate=rim_action, hard=False, source=SHOT, reads="shot"),
    Rule(name="energy_residual_stop", quantity="energy balance, unexplained share", sense=AT_MOST, limit=0.05,
         evaluate=energy_residual, hard=True, source=SHOT, reads="shot"),
    Rule(name="energy_residual", quantity="energy balance, unexplained share", sense=AT_MOST, limit=0.02,
         evaluate=energy_residual, hard=False, source=SHOT, reads="shot"),
)
