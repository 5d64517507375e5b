"""Checks of what holds the charge: capacitors within their ratings, the gap in today's air, the bleeder."""
from __future__ import annotations

from fieldsolve.circuit.bank import Bank
from fieldsolve.rig.card_inputs import CardInputs, overstatement, require_settled_banks
from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, Assessment, Rule, largest_assessment, smallest_assessment
from fieldsolve.rig.formulas import bleeder as bleeder_formulas
from fieldsolve.rig.formulas.gap import GAP_SOURCE, density_factor, humidity_factor, self_break_voltage
from fieldsolve.rig.from_shot import BankQuantities
from fieldsolve.rig.rig import Rig, air_state, highest_charge_voltage, named_banks, require_banks, require_rating
from fieldsolve.rig.source import CASE_FILE, CLOSED_FORM, SHOT
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display

RESIDUAL_SOURCE = bleeder_formulas.RESIDUAL_LIMITS[3][3]


def charge_share(inputs: CardInputs) -> Assessment:
    """Charge voltage over the rated one, of the bank that is nearest to it."""
    return largest_assessment(_rated_share(name, bank.voltage, require_rating(bank, "rated_voltage"), "V")
                              for name, bank in named_banks(inputs.rig))


def current_share(inputs: CardInputs) -> Assessment:
    """Peak current over the rated one, of the bank that is nearest to it."""
    share, reason = largest_assessment(_rated_share(name, found.peak_current, require_rating(bank, "rated_current"), "A")
                                       for name, bank, found in _settled_banks(inputs))
    return share, reason + overstatement(inputs)


def reversal_share(inputs: CardInputs) -> Assessment:
    """Reversal over the rated one, of the bank that is nearest to it."""
    share, reason = largest_assessment(_rated_share(name, found.reversal, require_rating(bank, "rated_reversal"), "")
                                       for name, bank, found in _settled_banks(inputs))
    return share, f"{reason}, fractions of the charge voltage that come back reversed"


def _settled_banks(inputs: CardInputs) -> list[tuple[str, Bank, BankQuantities]]:
    """Name, bank, and its peak current and reversal in the shot."""
    banks = named_banks(inputs.rig)
    return [(name, bank, found) for (name, bank), found in zip(banks, require_settled_banks(inputs), strict=True)]


def _rated_share(name: str, value: float, limit: float, unit: str) -> Assessment:
    return value / limit, f"{name}: {display(value, unit)}, rated {display(limit, unit)}"


def self_break_voltages(rig: Rig) -> list[tuple[float, str]]:
    """Volt at which each bank's gap breaks by itself in today's air, and how that is known."""
    density, water = air_state(rig)
    entries = ((rig.gap.distance, rig.gap.self_break, "distance or self_break"),
               (rig.gap.second_distance, rig.gap.second_self_break, "second_distance or second_self_break"))
    if len(require_banks(rig)) > len(entries):
        raise MissingInput(f"a [gap] for each bank; it has entries for {len(entries)} of {len(require_banks(rig))}")
    found = []
    for _, (distance, measured, keys) in zip(require_banks(rig), entries, strict=False):
        if measured is not None:
            found.append((_corrected_self_break(measured, density, water), f"{display(measured, 'V')} measured, corrected for the air"))
        elif distance is not None:
            found.append((self_break_voltage(distance, density, water), f"uniform field over {display(distance, 'm')}"))
        else:
            raise MissingInput(f"[gap] {keys}")
    return found


def _corrected_self_break(measured: float, density: float, water: float) -> float:
    try:
        return measured * density_factor(density) * humidity_factor(water)
    except ValueError as error:
        raise MissingInput(f"[gap] distance in place of self_break: {error}") from None


def gap_lowest(inputs: CardInputs) -> Assessment:
    """Charge over self-break voltage, of the gap that is least stressed."""
    return smallest_assessment((bank.voltage / volts, f"{name}: a gap that is too wide fires late, unevenly or not at all")
                               for (name, bank), (volts, _) in zip(named_banks(inputs.rig), self_break_voltages(inputs.rig), strict=True))


def gap_highest(inputs: CardInputs) -> Assessment:
    """Charge over self-break voltage, of the gap that is most stressed."""
    density, _ = air_state(inputs.rig)
    return largest_assessment(
        (
            bank.voltage / volts,
            f"{name}: {display(bank.voltage, 'V')} across a gap that breaks at {display(volts, 'V')} ({how}; "
            f"relative air density {density:.3g}); ultraviolet light and rough electrodes lower that",
        )
        for (name, bank), (volts, how) in zip(named_banks(inputs.rig), self_break_voltages(inputs.rig), strict=True)
    )


def bleeder_time(inputs: CardInputs) -> Assessment:
    """Seconds to 50 V with one string of the bleeder alone, of the slower bank."""
    parts, part = require(inputs.rig.bleeder, "parts", "part_resistance")
    sooner = "; up to 600 V (later 1000 V) NEC 460.6 asks 60 s" if highest_charge_voltage(inputs.rig) <= 1000 else ""
    return largest_assessment(
        (
            bleeder_formulas.time_to_voltage(bleeder_formulas.SAFE_VOLTAGE, bank.capacitance, parts * part, bank.voltage),
            f"{name}: {display(bank.capacitance, 'F')} through one string of {parts} x {display(part, 'ohm')} alone{sooner}",
        )
        for name, bank in named_banks(inputs.rig)
    )


def bleeder_voltage_margin(inputs: CardInputs) -> Assessment:
    """Rated voltage of a part over what it sees."""
    parts, limit = require(inputs.rig.bleeder, "parts", "part_rated_voltage")
    volts = max(bleeder_formulas.part_voltage(bank.voltage, parts) for bank in require_banks(inputs.rig))
    return limit / volts, f"each of {parts} parts sees {display(volts, 'V')} of its {display(limit, 'V')}; unequal parts see more"


def bleeder_power_margin(inputs: CardInputs) -> Assessment:
    """Rated power of a part over what it takes while the bank is held charged."""
    parts, part, limit = require(inputs.rig.bleeder, "parts", "part_resistance", "part_rated_power")
    watts = max(bleeder_formulas.part_power(bank.voltage, parts, part) for bank in require_banks(inputs.rig))
    return limit / watts, f"each part takes {display(watts, 'W')} of its {display(limit, 'W')} while the bank is held charged"


def bleeder_test_age(inputs: CardInputs) -> Assessment:
    """Days since the bleeder's last test; a day to come is no test."""
    tested = require(inputs.rig.bleeder, "tested")
    if tested > inputs.rig.today:
        raise MissingInput(f"a day in [bleeder] tested that is not to come: {tested} is after today, {inputs.rig.today}")
    return float((inputs.rig.today - tested).days), f"last tested on {tested}, today is {inputs.rig.today}"


def ways_to_discharge(inputs: CardInputs) -> Assessment:
    """Strings of the bleeder, and a dump: so many may fail less one."""
    strings = require(inputs.rig.bleeder, "strings")
    dump = inputs.rig.bleeder.dump_resistance is not None
    return float(strings + dump), f"{strings} bleeder string{'' if strings == 1 else 's'}, {'a' if dump else 'no'} dump"


RULES = (
    Rule(name="charge_share", quantity="charge over rated voltage", sense=AT_MOST, limit=0.9,
         evaluate=charge_share, hard=True, source=CASE_FILE),
    Rule(name="reversal_share", quantity="reversal over rated reversal", sense=AT_MOST, limit=1.0,
         evaluate=reversal_share, hard=True, source=SHOT, limit_source=CASE_FILE, reads="shot"),
    Rule(name="current_share", quantity="peak over rated current", sense=AT_MOST, limit=1.0,
         evaluate=current_share, hard=True, source=SHOT, limit_source=CASE_FILE, reads="shot"),
    Rule(name="gap_lowest", quantity="gap, charge over self-break", sense=AT_LEAST, limit=0.5,
         evaluate=gap_lowest, hard=True, source=GAP_SOURCE),
    Rule(name="gap_highest", quantity="gap, charge over self-break", sense=AT_MOST, limit=0.85,
         evaluate=gap_highest, hard=True, source=GAP_SOURCE),
    Rule(name="bleeder_time", quantity="bleeder to 50 V", sense=AT_MOST, limit=300.0,
         evaluate=bleeder_time, hard=True, source=CLOSED_FORM, unit="s", limit_source=RESIDUAL_SOURCE),
    Rule(name="bleeder_voltage_margin", quantity="bleeder part, rated over its voltage", sense=AT_LEAST, limit=1.5,
         evaluate=bleeder_voltage_margin, hard=True, source=CLOSED_FORM),
    Rule(name="bleeder_power_margin", quantity="bleeder part, rated over its power", sense=AT_LEAST, limit=1.5,
         evaluate=bleeder_power_margin, hard=True, source=CLOSED_FORM),
    Rule(name="bleeder_test_age", quantity="days since the bleeder's test", sense=AT_MOST, limit=0.0,
         evaluate=bleeder_test_age, hard=True, source=CASE_FILE),
    Rule(name="ways_to_discharge", quantity="ways to discharge the bank", sense=AT_LEAST, limit=2.0,
         evaluate=ways_to_discharge, hard=False, source=CASE_FILE),
)
