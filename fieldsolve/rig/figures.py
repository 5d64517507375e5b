"""Figures of the workshop that the card shows below its checks, each where the rig tells what it needs."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from fieldsolve.circuit.bank import plate_inductance, wire_inductance
from fieldsolve.rig.checks.people import energy_speed, fragment_of
from fieldsolve.rig.coil import coil_mass
from fieldsolve.rig.formulas import bleeder, charger, energy, exposure, fragments, gap, instruments, leads, penetration, reversal, sound
from fieldsolve.rig.rig import (
    Rig,
    air_of,
    banks_of,
    burst_of,
    energy_of,
    highest_voltage,
    moving_of,
    rated,
    ratings,
    settled_banks,
    shot_of,
    stray_moment,
    turns_of,
)
from fieldsolve.rig.source import CLOSED_FORM, HELD_SHOT, MOVING_SHOT, PRACTICE, Source
from fieldsolve.rig.tables import Missing, given

LEADS_SOURCE = Source("F. W. Grover, Inductance Calculations (1946), chapter 5", "from-memory")


@dataclass(frozen=True)
class FigureRule:
    """A figure of the workshop: `measure(rig)` gives a number in `unit`, or raises Missing."""

    name: str
    label: str
    unit: str
    source: Source
    measure: Callable[[Rig], float]


@dataclass(frozen=True)
class Figure:
    """A figure in SI; `value` None and `needs` told where something is missing."""

    name: str
    label: str
    value: float | None
    unit: str
    source: str
    mark: str
    needs: str | None


def figure(rule: FigureRule, rig: Rig) -> Figure:
    """Take one figure of a rig."""
    try:
        value, needs = float(rule.measure(rig)), None
    except Missing as missing:
        value, needs = None, str(missing)
    if value is not None and not math.isfinite(value):
        value, needs = None, f"a value that is a finite number; {value} came out"
    return Figure(rule.name, rule.label, value, rule.unit, rule.source.text, rule.source.mark, needs)


# ---- bank, charger, bleeder -----------------------------------------------------------------------------------------

def _charge(rig: Rig) -> float:
    return sum(energy.stored_charge(bank.capacitance, bank.voltage) for bank in banks_of(rig))


def _charging_time(rig: Rig) -> float:
    bank, told = banks_of(rig)[0], rig.charger
    if told.current is None and told.resistance is not None:
        return charger.resistor_time(bank.capacitance, told.resistance)
    return charger.constant_current_time(bank.capacitance, bank.voltage, given(told, "current"))


def _voltage_rate(rig: Rig) -> float:
    return charger.voltage_rate(banks_of(rig)[0].capacitance, given(rig.charger, "current"))


def _charger_power(rig: Rig) -> float:
    return charger.peak_power(banks_of(rig)[0].voltage, given(rig.charger, "current"))


def _bleeder_power(rig: Rig) -> float:
    parts, part = given(rig.bleeder, "parts", "part_resistance")
    return bleeder.power(highest_voltage(rig), parts * part)


def _largest_bleeder(rig: Rig) -> float:
    charged = [bank for bank in banks_of(rig) if bank.voltage > bleeder.SAFE_VOLTAGE]
    if not charged:
        raise Missing("a bank above 50 V")
    return min(bleeder.resistance_for(bleeder.SAFE_VOLTAGE, 300.0, bank.capacitance, bank.voltage) for bank in charged)


def _part_energy(rig: Rig) -> float:
    return bleeder.part_energy(max(bank.energy for bank in banks_of(rig)), given(rig.bleeder, "parts"))


def _misfire_wait(rig: Rig) -> float:
    parts, part = given(rig.bleeder, "parts", "part_resistance")
    return 5 * parts * part * max(bank.capacitance for bank in banks_of(rig))


def _dump_current(rig: Rig) -> float:
    return highest_voltage(rig) / given(rig.bleeder, "dump_resistance")


def _dump_time(rig: Rig) -> float:
    ohm = given(rig.bleeder, "dump_resistance")
    return max(bleeder.time_to(bleeder.SAFE_VOLTAGE, bank.capacitance, ohm, bank.voltage) for bank in banks_of(rig))


def _dump_rise(rig: Rig) -> float:
    return bleeder.temperature_rise(max(bank.energy for bank in banks_of(rig)), given(rig.bleeder, "dump_mass"))


def _life_factor(rig: Rig) -> float:
    factors = []
    for (_, bank, capacitor), found in zip(ratings(rig), settled_banks(rig), strict=True):
        volts, back = (rated(bank, capacitor, key) for key in ("rated_voltage", "rated_reversal"))
        known = 0 < found.reversal < 1 and 0 < back < 1
        share = reversal.quality(found.reversal) / reversal.quality(back) if known else 1.0
        factors.append(reversal.life_factor(bank.voltage / volts, share))
    return min(factors)


# ---- gap, leads, coil -----------------------------------------------------------------------------------------------

def _air_density(rig: Rig) -> float:
    return air_of(rig)[0]


def _gap_at_70_percent(rig: Rig) -> float:
    density, water = air_of(rig)
    return gap.distance_for(banks_of(rig)[0].voltage / 0.7, density, water)


def _lead_force(rig: Rig) -> float:
    current, layout = shot_of(rig).coil_current, rig.lead_layout
    if layout.width is not None:
        return leads.plate_force(current, layout.width)
    return leads.wire_force(current, given(layout, "spacing"))


def _lead_inductance(rig: Rig) -> float:
    layout = rig.lead_layout
    length, spacing = given(layout, "length", "spacing")
    if layout.width is not None:
        return plate_inductance(length, layout.width, spacing)
    diameter = given(layout, "wire_diameter")
    if spacing <= diameter:
        raise Missing(f"[leads] spacing between centres above wire_diameter, {diameter:g} m")
    return wire_inductance(length, spacing, diameter)


def _hoop_share(rig: Rig) -> float:
    return shot_of(rig).outward_force / (2 * math.pi) / given(rig.former, "strength")


# ---- people ---------------------------------------------------------------------------------------------------------

def _needed_wall(rig: Rig) -> float:
    return _wall_for(rig, fragment_of(rig).speed)


def _wall_for(rig: Rig, speed: float) -> float:
    """Metres of wall that twice the worst formula, or the worst at twice the speed, asks for at a speed in m/s."""
    found = fragment_of(rig)
    once, fast = (max(penetration.thicknesses(found.mass, times * speed, found.diameter).values()) for times in (1, 2))
    return max(2 * once, fast)


def _latest_burst(rig: Rig) -> float:
    burst_of(rig)
    if rig.moving.latest is None:
        raise Missing(f"a record that is longer than {1e6 * rig.moving.end_time:.4g} us")
    return rig.moving.latest


def _lid_impulse(rig: Rig) -> float:
    turns_of(rig)
    return fragments.bound_impulse(energy_of(rig), sum(coil_mass(coil) for coil in rig.coils) + (rig.former.mass or 0.0))


def _public_distance(rig: Rig) -> float:
    frequency = shot_of(rig).frequency
    if frequency is None:
        raise Missing("[run] end_time beyond the first current zero")
    try:
        return exposure.distance_for(stray_moment(rig), exposure.peak_level(frequency, public=True))
    except ValueError as error:
        raise Missing(f"a frequency in ICNIRP's table: {error}") from None


def _implant_distance(rig: Rig) -> float:
    return exposure.distance_for(stray_moment(rig), exposure.IMPLANT_LIMIT)


# ---- instruments ----------------------------------------------------------------------------------------------------

def _rogowski(rig: Rig) -> float:
    mutual = instruments.rogowski_mutual(*given(rig.instruments, "rogowski_turns_per_metre", "rogowski_area"))
    return instruments.rogowski_voltage(mutual, shot_of(rig).current_rate)


def _shunt(rig: Rig) -> float:
    return instruments.shunt_voltage(given(rig.instruments, "shunt_resistance"), shot_of(rig).coil_current)


def _shunt_jump(rig: Rig) -> float:
    return instruments.shunt_voltage(0.0, 0.0, given(rig.instruments, "shunt_inductance"), shot_of(rig).current_rate)


def _shunt_heat(rig: Rig) -> float:
    return instruments.shunt_heat(given(rig.instruments, "shunt_resistance"), shot_of(rig).action)


def _loop(rig: Rig) -> float:
    rate = shot_of(rig).field_rate
    if rate is None:
        raise Missing("a disc in the bore, with a gap to the coil")
    return instruments.loop_voltage(*given(rig.instruments, "loop_turns", "loop_area"), rate)


def _divider(rig: Rig) -> float:
    return instruments.divider_voltage(highest_voltage(rig), given(rig.instruments, "divider_ratio"))


FIGURES = (
    FigureRule("energy", "stored energy", "J", CLOSED_FORM, energy_of),
    FigureRule("times_lethal", "times 10 J, which can be lethal", "", energy.LETHAL_SOURCE,
               lambda rig: energy.times_lethal(energy_of(rig))),
    FigureRule("charge", "stored charge", "C", CLOSED_FORM, _charge),
    FigureRule("times_fibrillation", "times 100 mC, which can stop a heart", "", energy.FIBRILLATION_SOURCE,
               lambda rig: energy.times_fibrillation(_charge(rig))),
    FigureRule("charging_time", "charging time (through a resistor to 99 %)", "s", CLOSED_FORM, _charging_time),
    FigureRule("voltage_rate", "slope of the voltage while charging", "V/s", CLOSED_FORM, _voltage_rate),
    FigureRule("charger_power", "charger's power at the end", "W", CLOSED_FORM, _charger_power),
    FigureRule("bleeder_power", "bleeder string's power while charged", "W", CLOSED_FORM, _bleeder_power),
    FigureRule("largest_bleeder", "largest bleeder string for 50 V in 300 s", "ohm", bleeder.RESIDUAL_LIMITS[3][3], _largest_bleeder),
    FigureRule("part_energy", "energy in each bleeder part of one discharge", "J", CLOSED_FORM, _part_energy),
    FigureRule("misfire_wait", "least wait after a misfire, 5 time constants", "s", PRACTICE, _misfire_wait),
    FigureRule("dump_current", "dump's first current", "A", CLOSED_FORM, _dump_current),
    FigureRule("dump_time", "dump to 50 V", "s", CLOSED_FORM, _dump_time),
    FigureRule("dump_rise", "dump warms by, one discharge", "K", PRACTICE, _dump_rise),
    FigureRule("life_factor", "capacitors' life over the rated one, power laws", "", reversal.LIFE_SOURCE, _life_factor),
    FigureRule("air_density", "relative air density", "", gap.AIR_SOURCE, _air_density),
    FigureRule("gap_at_70_percent", "gap for 70 % of its self-break voltage", "m", gap.GAP_SOURCE, _gap_at_70_percent),
    FigureRule("coil_current", "coil's peak current", "A", HELD_SHOT, lambda rig: shot_of(rig).coil_current),
    FigureRule("current_rate", "its steepest rise", "A/s", HELD_SHOT, lambda rig: shot_of(rig).current_rate),
    FigureRule("lead_inductance", "leads' inductance by their layout", "H", LEADS_SOURCE, _lead_inductance),
    FigureRule("lead_force", "force between the leads, per metre", "N", CLOSED_FORM, _lead_force),
    FigureRule("hoop_share", "coil's hoop tension over the former's strength", "", HELD_SHOT, _hoop_share),
    FigureRule("needed_wall", "wall: twice the worst formula, or at twice the speed", "m", penetration.SOURCE, _needed_wall),
    FigureRule("bound_speed", "speed if all the bank's energy moved the coil", "m/s", CLOSED_FORM, energy_speed),
    FigureRule("fastest_turn", "fastest turn as computed, no bound", "m/s", MOVING_SHOT, lambda rig: moving_of(rig).fastest),
    FigureRule("fastest_turn_wall", "wall by that speed alone, not to build by", "m", penetration.SOURCE,
               lambda rig: _wall_for(rig, moving_of(rig).fastest)),
    FigureRule("burst_time", "first turn breaks, at the earliest", "s", MOVING_SHOT, lambda rig: burst_of(rig).time),
    FigureRule("burst_latest", "first turn breaks, at the latest", "s", MOVING_SHOT, _latest_burst),
    FigureRule("burst_energy", "energy of the coil's motion then", "J", MOVING_SHOT, lambda rig: burst_of(rig).kinetic_energy),
    FigureRule("burst_mass", "mass that moves then, former included", "kg", MOVING_SHOT, lambda rig: burst_of(rig).mass),
    FigureRule("lid_impulse", "impulse of the whole coil on lid and bolts", "N s", CLOSED_FORM, _lid_impulse),
    FigureRule("blast_level", "peak sound in the open at 5 m, all energy as blast", "dB", sound.BLAST_SOURCE,
               lambda rig: sound.peak_level(sound.blast_pressure(energy_of(rig), 5.0))),
    FigureRule("public_distance", "stray field at the public's level at", "m", exposure.ICNIRP_SOURCE, _public_distance),
    FigureRule("implant_distance", "stray field at 0.5 mT (static, implants) at", "m", exposure.STATIC_SOURCE, _implant_distance),
    FigureRule("rogowski_voltage", "Rogowski coil, largest signal", "V", Source("Ray and Hewson, IAS 2000", "read"), _rogowski),
    FigureRule("shunt_voltage", "shunt at peak current", "V", Source("Piekielny and Waindok, Sensors 2021, 21, 1835", "read"), _shunt),
    FigureRule("shunt_jump", "shunt's inductive jump", "V", Source("Piekielny and Waindok, Sensors 2021, 21, 1835", "read"), _shunt_jump),
    FigureRule("shunt_heat", "shunt's heat", "J", CLOSED_FORM, _shunt_heat),
    FigureRule("loop_voltage", "B-dot loop in the gap, largest signal", "V", CLOSED_FORM, _loop),
    FigureRule("divider_voltage", "divider at full charge", "V", CLOSED_FORM, _divider),
)
