"""Checks of what holds the charge: capacitors within their ratings, the gap in today's air, the bleeder."""
from __future__ import annotations

from fieldsolve.rig.checks.rule import AT_LEAST, AT_MOST, Reading, Rule, largest, smallest
from fieldsolve.rig.formulas import bleeder as bleeding
from fieldsolve.rig.formulas.gap import GAP_SOURCE, density_factor, humidity_factor, self_break
from fieldsolve.rig.rig import Rig, air_of, banks_of, highest_voltage, rated, ratings, settled_banks
from fieldsolve.rig.source import CLOSED_FORM, HELD_SHOT, TOLD
from fieldsolve.rig.tables import Missing, given
from fieldsolve.units import display

RESIDUAL_SOURCE = bleeding.RESIDUAL_LIMITS[3][3]


def charge_share(rig: Rig) -> Reading:
    """Charge voltage over the rated one, of the bank that is nearest to it."""
    return largest(_share(name, bank.voltage, rated(bank, capacitor, "rated_voltage"), "V") for name, bank, capacitor in ratings(rig))


def current_share(rig: Rig) -> Reading:
    """Peak current over the rated one, of the bank that is nearest to it."""
    share, reason = largest(_share(name, figures.peak_current, rated(bank, capacitor, "rated_current"), "A")
                            for (name, bank, capacitor), figures in zip(ratings(rig), settled_banks(rig), strict=True))
    return share, f"{reason}; held metal overstates it"


def reversal_share(rig: Rig) -> Reading:
    """Reversal over the rated one, of the bank that is nearest to it."""
    share, reason = largest(_share(name, figures.reversal, rated(bank, capacitor, "rated_reversal"), "")
                            for (name, bank, capacitor), figures in zip(ratings(rig), settled_banks(rig), strict=True))
    return share, f"{reason}, shares of the charge voltage that come back reversed"


def _share(name: str, value: float, limit: float, unit: str) -> Reading:
    return value / limit, f"{name}: {display(value, unit)}, rated {display(limit, unit)}"


def self_breaks(rig: Rig) -> list[tuple[float, str]]:
    """Volt at which each bank's gap breaks by itself in today's air, and how that is known."""
    density, water = air_of(rig)
    told = ((rig.gap.distance, rig.gap.self_break, "distance or self_break"),
            (rig.gap.second_distance, rig.gap.second_self_break, "second_distance or second_self_break"))
    if len(banks_of(rig)) > len(told):
        raise Missing(f"a [gap] for each bank; it has entries for {len(told)} of {len(banks_of(rig))}")
    found = []
    for _, (distance, measured, keys) in zip(banks_of(rig), told, strict=False):
        if measured is not None:
            found.append((_corrected(measured, density, water), f"{display(measured, 'V')} measured, corrected for the air"))
        elif distance is not None:
            found.append((self_break(distance, density, water), f"uniform field over {display(distance, 'm')}"))
        else:
            raise Missing(f"[gap] {keys}")
    return found


def _corrected(measured: float, density: float, water: float) -> float:
    try:
        return measured * density_factor(density) * humidity_factor(water)
    except ValueError as error:
        raise Missing(f"[gap] distance in place of self_break: {error}") from None


def gap_lowest(rig: Rig) -> Reading:
    """Charge over self-break voltage, of the gap that is least stressed."""
    return smallest((bank.voltage / volts, f"{name}: a gap that is too wide fires late, unevenly or not at all")
                    for (name, bank, _), (volts, _) in zip(ratings(rig), self_breaks(rig), strict=True))


def gap_highest(rig: Rig) -> Reading:
    """Charge over self-break voltage, of the gap that is most stressed."""
    density, _ = air_of(rig)
    return largest((bank.voltage / volts, f"{name}: {display(bank.voltage, 'V')} across a gap that breaks at {display(volts, 'V')} ({how}; "
                    f"relative air density {density:.3g}); ultraviolet light and rough electrodes lower that")
                   for (name, bank, _), (volts, how) in zip(ratings(rig), self_breaks(rig), strict=True))


def bleeder_time(rig: Rig) -> Reading:
    """Seconds to 50 V with one string of the bleeder alone, of the slower bank."""
    parts, part = given(rig.bleeder, "parts", "part_resistance")
    sooner = "; up to 600 V (later 1000 V) NEC 460.6 asks 60 s" if highest_voltage(rig) <= 1000 else ""
    return largest((bleeding.time_to(bleeding.SAFE_VOLTAGE, bank.capacitance, parts * part, bank.voltage),
                    f"{name}: {display(bank.capacitance, 'F')} through one string of {parts} x {display(part, 'ohm')} alone{sooner}")
                   for name, bank, _ in ratings(rig))


def bleeder_voltage_margin(rig: Rig) -> Reading:
    """Rated voltage of a part over what it sees."""
    parts, limit = given(rig.bleeder, "parts", "part_rated_voltage")
    volts = max(bleeding.part_voltage(bank.voltage, parts) for bank in banks_of(rig))
    return limit / volts, f"each of {parts} parts sees {display(volts, 'V')} of its {display(limit, 'V')}; unequal parts see more"


def bleeder_power_margin(rig: Rig) -> Reading:
    """Rated power of a part over what it takes while the bank is held charged."""
    parts, part, limit = given(rig.bleeder, "parts", "part_resistance", "part_rated_power")
    watts = max(bleeding.part_power(bank.voltage, parts, part) for bank in banks_of(rig))
    return limit / watts, f"each part takes {display(watts, 'W')} of its {display(limit, 'W')} while the bank is held charged"


def bleeder_test_age(rig: Rig) -> Reading:
    """Days since the bleeder's last test; a day to come is no test."""
    tested = given(rig.bleeder, "tested")
    if tested > rig.today:
        raise Missing(f"a day in [bleeder] tested that is not to come: {tested} is after today, {rig.today}")
    return float((rig.today - tested).days), f"last tested on {tested}, today is {rig.today}"


def ways_to_discharge(rig: Rig) -> Reading:
    """Strings of the bleeder, and a dump: so many may fail less one."""
    strings = given(rig.bleeder, "strings")
    dump = rig.bleeder.dump_resistance is not None
    return float(strings + dump), f"{strings} bleeder string{'' if strings == 1 else 's'}, {'a' if dump else 'no'} dump"


RULES = (
    Rule("charge_share", "charge over rated voltage", AT_MOST, 0.9, "", True, charge_share, TOLD),
    Rule("reversal_share", "reversal over rated reversal", AT_MOST, 1.0, "", True, reversal_share, HELD_SHOT, TOLD),
    Rule("current_share", "peak over rated current", AT_MOST, 1.0, "", True, current_share, HELD_SHOT, TOLD),
    Rule("gap_lowest", "gap, charge over self-break", AT_LEAST, 0.5, "", True, gap_lowest, GAP_SOURCE),
    Rule("gap_highest", "gap, charge over self-break", AT_MOST, 0.85, "", True, gap_highest, GAP_SOURCE),
    Rule("bleeder_time", "bleeder to 50 V", AT_MOST, 300.0, "s", True, bleeder_time, CLOSED_FORM, RESIDUAL_SOURCE),
    Rule("bleeder_voltage_margin", "bleeder part, rated over its voltage", AT_LEAST, 1.5, "", True, bleeder_voltage_margin, CLOSED_FORM),
    Rule("bleeder_power_margin", "bleeder part, rated over its power", AT_LEAST, 1.5, "", True, bleeder_power_margin, CLOSED_FORM),
    Rule("bleeder_test_age", "days since the bleeder's test", AT_MOST, 0.0, "", True, bleeder_test_age, TOLD),
    Rule("ways_to_discharge", "ways to discharge the bank", AT_LEAST, 2.0, "", False, ways_to_discharge, TOLD),
)
