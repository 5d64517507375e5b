"""Checks of what holds the charge: capacitors within their ratings, the gap in today's air, the bleeder."""
from __future__ import annotations

from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, Assessment, Rule, largest_assessment, smallest_assessment
from fieldsolve.rig.formulas import bleeder as bleeder_formulas
from fieldsolve.rig.formulas.gap import GAP_SOURCE, density_factor, humidity_factor, self_break_voltage
from fieldsolve.rig.rig import Rig, air_state, highest_charge_voltage, lower_rating, rated_banks, require_banks, require_settled_banks
from fieldsolve.rig.source import CASE_FILE, CLOSED_FORM, HELD_SHOT
from fieldsolve.rig.tables import MissingInput, require
from fieldsolve.units import display

RESIDUAL_SOURCE = bleeder_formulas.RESIDUAL_LIMITS[3][3]


def charge_share(rig: Rig) -> Assessment:
    """Charge voltage over the rated one, of the bank that is nearest to it."""
    return largest_assessment(
        _rated_share(name, bank.voltage, lower_rating(bank, capacitor, "rated_voltage"), "V") for name, bank, capacitor in rated_banks(rig)
    )


def current_share(rig: Rig) -> Assessment:
    """Peak current over the rated one, of the bank that is nearest to it."""
    share, reason = largest_assessment(_rated_share(name, quantities.peak_current, lower_rating(bank, capacitor, "rated_current"), "A")
                            for (name, bank, capacitor), quantities in zip(rated_banks(rig), require_settled_banks(rig), strict=True))
    return share, f"{reason}; held metal overstates it"


def reversal_share(rig: Rig) -> Assessment:
    """Reversal over the rated one, of the bank that is nearest to it."""
    share, reason = largest_assessment(_rated_share(name, quantities.reversal, lower_rating(bank, capacitor, "rated_reversal"), "")
                            for (name, bank, capacitor), quantities in zip(rated_banks(rig), require_settled_banks(rig), strict=True))
    return share, f"{reason}, shares of the charge voltage that come back reversed"


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


def gap_lowest(rig: Rig) -> Assessment:
    """Charge over self-break voltage, of the gap that is least stressed."""
    return smallest_assessment((bank.voltage / volts, f"{name}: a gap that is too wide fires late, unevenly or not at all")
                               for (name, bank, _), (volts, _) in zip(rated_banks(rig), self_break_voltages(rig), strict=True))


def gap_highest(rig: Rig) -> Assessment:
    """Charge over self-break voltage, of the gap that is most stressed."""
    density, _ = air_state(rig)
    return largest_assessment(
        (
            bank.voltage / volts,
            f"{name}: {display(bank.voltage, 'V')} across a gap that breaks at {display(volts, 'V')} ({how}; "
            f"relative air density {density:.3g}); ultraviolet light and rough electrodes lower that",
        )
        for (name, bank, _), (volts, how) in zip(rated_banks(rig), self_break_voltages(rig), strict=True)
    )


def bleeder_time(rig: Rig) -> Assessment:
    """Seconds to 50 V with one string of the bleeder alone, of the slower bank."""
    parts, part = require(rig.bleeder, "parts", "part_resistance")
    sooner = "; up to 600 V (later 1000 V) NEC 460.6 asks 60 s" if highest_charge_voltage(rig) <= 1000 else ""
    return largest_assessment(
        (
            bleeder_formulas.time_to_voltage(bleeder_formulas.SAFE_VOLTAGE, bank.capacitance, parts * part, bank.voltage),
            f"{name}: {display(bank.capacitance, 'F')} through one string of {parts} x {display(part, 'ohm')} alone{sooner}",
        )
        for name, bank, _ in rated_banks(rig)
    )


def bleeder_voltage_margin(rig: Rig) -> Assessment:
    """Rated voltage of a part over what it sees."""
    parts, limit = require(rig.bleeder, "parts", "part_rated_voltage")
    volts = max(bleeder_formulas.part_voltage(bank.voltage, parts) for bank in require_banks(rig))
    return limit / volts, f"each of {parts} parts sees {display(volts, 'V')} of its {display(limit, 'V')}; unequal parts see more"


def bleeder_power_margin(rig: Rig) -> Assessment:
    """Rated power of a part over what it takes while the bank is held charged."""
    parts, part, limit = require(rig.bleeder, "parts", "part_resistance", "part_rated_power")
    watts = max(bleeder_formulas.part_power(bank.voltage, parts, part) for bank in require_banks(rig))
    return limit / watts, f"each part takes {display(watts, 'W')} of its {display(limit, 'W')} while the bank is held charged"


def bleeder_test_age(rig: Rig) -> Assessment:
    """Days since the bleeder's last test; a day to come is no test."""
    tested = require(rig.bleeder, "tested")
    if tested > rig.today:
        raise MissingInput(f"a day in [bleeder] tested that is not to come: {tested} is after today, {rig.today}")
    return float((rig.today - tested).days), f"last tested on {tested}, today is {rig.today}"


def ways_to_discharge(rig: Rig) -> Assessment:
    """Strings of the bleeder, and a dump: so many may fail less one."""
    strings = require(rig.bleeder, "strings")
    dump = rig.bleeder.dump_resistance is not None
    return float(strings + dump), f"{strings} bleeder string{'' if strings == 1 else 's'}, {'a' if dump else 'no'} dump"


RULES = (
    Rule("charge_share", "charge over rated voltage", AT_MOST, 0.9, "", True, charge_share, CASE_FILE),
    Rule("reversal_share", "reversal over rated reversal", AT_MOST, 1.0, "", True, reversal_share, HELD_SHOT, CASE_FILE),
    Rule("current_share", "peak over rated current", AT_MOST, 1.0, "", True, current_share, HELD_SHOT, CASE_FILE),
    Rule("gap_lowest", "gap, charge over self-break", AT_LEAST, 0.5, "", True, gap_lowest, GAP_SOURCE),
    Rule("gap_highest", "gap, charge over self-break", AT_MOST, 0.85, "", True, gap_highest, GAP_SOURCE),
    Rule("bleeder_time", "bleeder to 50 V", AT_MOST, 300.0, "s", True, bleeder_time, CLOSED_FORM, RESIDUAL_SOURCE),
    Rule("bleeder_voltage_margin", "bleeder part, rated over its voltage", AT_LEAST, 1.5, "", True, bleeder_voltage_margin, CLOSED_FORM),
    Rule("bleeder_power_margin", "bleeder part, rated over its power", AT_LEAST, 1.5, "", True, bleeder_power_margin, CLOSED_FORM),
    Rule("bleeder_test_age", "days since the bleeder's test", AT_MOST, 0.0, "", True, bleeder_test_age, CASE_FILE),
    Rule("ways_to_discharge", "ways to discharge the bank", AT_LEAST, 2.0, "", False, ways_to_discharge, CASE_FILE),
)
