"""Figures of the workshop that the card shows below its checks, each where the rig tells what it needs."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from fieldsolve.circuit.bank import plate_inductance, wire_inductance
from fieldsolve.rig.checks.people import energy_speed_bound, worst_fragment
from fieldsolve.rig.coil import coil_mass
from fieldsolve.rig.formulas import bleeder, charger, energy, exposure, fragments, gap, instruments, leads, penetration, reversal, sound
from fieldsolve.rig.rig import (
    Rig,
    air_state,
    highest_charge_voltage,
    lower_rating,
    rated_banks,
    require_banks,
    require_burst,
    require_moving_shot,
    require_settled_banks,
    require_shot,
    stray_magnetic_moment,
    total_bank_energy,
    total_turns,
)
from fieldsolve.rig.source import CLOSED_FORM, COMMON_PRACTICE, HELD_SHOT, MOVING_SHOT, Source
from fieldsolve.rig.tables import MissingInput, require

LEADS_SOURCE = Source("F. W. Grover, Inductance Calculations (1946), chapter 5", "from-memory")


@dataclass(frozen=True)
class QuantityRule:
    """A figure of the workshop: `measure(rig)` gives a number in `unit`, or raises Missing."""

    name: str
    label: str
    unit: str
    source: Source
    evaluate: Callable[[Rig], float]


@dataclass(frozen=True)
class RigQuantity:
    """A figure in SI; `value` None and `needs` told where something is missing."""

    name: str
    label: str
    value: float | None
    unit: str
    source: str
    mark: str
    needs: str | None


def evaluate_quantity(rule: QuantityRule, rig: Rig) -> RigQuantity:
    """Take one figure of a rig."""
    try:
        value, needs = float(rule.evaluate(rig)), None
    except MissingInput as missing:
        value, needs = None, str(missing)
    if value is not None and not math.isfinite(value):
        value, needs = None, f"a value that is a finite number; {value} came out"
    return RigQuantity(rule.name, rule.label, value, rule.unit, rule.source.text, rule.source.mark, needs)


# ---- bank, charger, bleeder -----------------------------------------------------------------------------------------

def _stored_charge(rig: Rig) -> float:
    return sum(energy.stored_charge(bank.capacitance, bank.voltage) for bank in require_banks(rig))


def _charging_time(rig: Rig) -> float:
    bank, table = require_banks(rig)[0], rig.charger
    if table.current is None and table.resistance is not None:
        return charger.resistor_time(bank.capacitance, table.resistance)
    return charger.constant_current_time(bank.capacitance, bank.voltage, require(table, "current"))


def _voltage_rate(rig: Rig) -> float:
    return charger.voltage_rate(require_banks(rig)[0].capacitance, require(rig.charger, "current"))


def _charger_power(rig: Rig) -> float:
    return charger.peak_power(require_banks(rig)[0].voltage, require(rig.charger, "current"))


def _bleeder_power(rig: Rig) -> float:
    parts, part = require(rig.bleeder, "parts", "part_resistance")
    return bleeder.power(highest_charge_voltage(rig), parts * part)


def _largest_bleeder_resistance(rig: Rig) -> float:
    charged = [bank for bank in require_banks(rig) if bank.voltage > bleeder.SAFE_VOLTAGE]
    if not charged:
        raise MissingInput("a bank above 50 V")
    return min(bleeder.resistance_for_time(bleeder.SAFE_VOLTAGE, 300.0, bank.capacitance, bank.voltage) for bank in charged)


def _part_energy(rig: Rig) -> float:
    return bleeder.part_energy(max(bank.energy for bank in require_banks(rig)), require(rig.bleeder, "parts"))


def _misfire_wait(rig: Rig) -> float:
    parts, part = require(rig.bleeder, "parts", "part_resistance")
    return 5 * parts * part * max(bank.capacitance for bank in require_banks(rig))


def _dump_current(rig: Rig) -> float:
    return highest_charge_voltage(rig) / require(rig.bleeder, "dump_resistance")


def _dump_time(rig: Rig) -> float:
    ohm = require(rig.bleeder, "dump_resistance")
    return max(bleeder.time_to_voltage(bleeder.SAFE_VOLTAGE, bank.capacitance, ohm, bank.voltage) for bank in require_banks(rig))


def _dump_temperature_rise(rig: Rig) -> float:
    return bleeder.temperature_rise(max(bank.energy for bank in require_banks(rig)), require(rig.bleeder, "dump_mass"))


def _life_factor(rig: Rig) -> float:
    factors = []
    for (_, bank, capacitor), found in zip(rated_banks(rig), require_settled_banks(rig), strict=True):
        volts, back = (lower_rating(bank, capacitor, key) for key in ("rated_voltage", "rated_reversal"))
        known = 0 < found.reversal < 1 and 0 < back < 1
        share = reversal.quality(found.reversal) / reversal.quality(back) if known else 1.0
        factors.append(reversal.life_factor(bank.voltage / volts, share))
    return min(factors)


# ---- gap, leads, coil -----------------------------------------------------------------------------------------------

def _air_density(rig: Rig) -> float:
    return air_state(rig)[0]


def _gap_at_70_percent(rig: Rig) -> float:
    density, water = air_state(rig)
    return gap.self_break_distance(require_banks(rig)[0].voltage / 0.7, density, water)


def _lead_force(rig: Rig) -> float:
    current, layout = require_shot(rig).coil_current, rig.lead_layout
    if layout.width is not None:
        return leads.plate_force(current, layout.width)
    return leads.wire_force(current, require(layout, "spacing"))


def _lead_inductance(rig: Rig) -> float:
    layout = rig.lead_layout
    length, spacing = require(layout, "length", "spacing")
    if layout.width is not None:
        return plate_inductance(length, layout.width, spacing)
    diameter = require(layout, "wire_diameter")
    if spacing <= diameter:
        raise MissingInput(f"[leads] spacing between centres above wire_diameter, {diameter:g} m")
    return wire_inductance(length, spacing, diameter)


def _hoop_share(rig: Rig) -> float:
    return require_shot(rig).outward_force / (2 * math.pi) / require(rig.former, "strength")


# ---- people ---------------------------------------------------------------------------------------------------------

def _needed_wall(rig: Rig) -> float:
    return _wall_for_speed(rig, worst_fragment(rig).speed)


def _wall_for_speed(rig: Rig, speed: float) -> float:
    """Metres of wall that twice the worst formula, or the worst at twice the speed, asks for at a speed in m/s."""
    found = worst_fragment(rig)
    once, fast = (max(penetration.required_thicknesses(found.mass, times * speed, found.diameter).values()) for times in (1, 2))
    return max(2 * once, fast)


def _latest_burst_time(rig: Rig) -> float:
    require_burst(rig)
    if rig.moving_shot.latest_burst_time is None:
        raise MissingInput(f"a record that is longer than {1e6 * rig.moving_shot.end_time:.4g} us")
    return rig.moving_shot.latest_burst_time


def _lid_impulse(rig: Rig) -> float:
    total_turns(rig)
    return fragments.impulse_bound(total_bank_energy(rig), sum(coil_mass(coil) for coil in rig.coils) + (rig.former.mass or 0.0))


def _public_distance(rig: Rig) -> float:
    frequency = require_shot(rig).frequency
    if frequency is None:
        raise MissingInput("[run] end_time beyond the first current zero")
    try:
        return exposure.dipole_distance(stray_magnetic_moment(rig), exposure.peak_reference_level(frequency, public=True))
    except ValueError as error:
        raise MissingInput(f"a frequency in ICNIRP's table: {error}") from None


def _implant_distance(rig: Rig) -> float:
    return exposure.dipole_distance(stray_magnetic_moment(rig), exposure.IMPLANT_LIMIT)


# ---- instruments ----------------------------------------------------------------------------------------------------

def _rogowski_voltage(rig: Rig) -> float:
    mutual = instruments.rogowski_mutual(*require(rig.instruments, "rogowski_turns_per_metre", "rogowski_area"))
    return instruments.rogowski_voltage(mutual, require_shot(rig).current_rate)


def _shunt_voltage(rig: Rig) -> float:
    return instruments.shunt_voltage(require(rig.instruments, "shunt_resistance"), require_shot(rig).coil_current)


def _shunt_jump(rig: Rig) -> float:
    return instruments.shunt_voltage(0.0, 0.0, require(rig.instruments, "shunt_inductance"), require_shot(rig).current_rate)


def _shunt_heat(rig: Rig) -> float:
    return instruments.shunt_heat(require(rig.instruments, "shunt_resistance"), require_shot(rig).action)


def _bdot_voltage(rig: Rig) -> float:
    rate = require_shot(rig).field_rate
    if rate is None:
        raise MissingInput("a disc in the bore, with a gap to the coil")
    return instruments.loop_voltage(*require(rig.instruments, "loop_turns", "loop_area"), rate)


def _divider_voltage(rig: Rig) -> float:
    return instruments.divider_voltage(highest_charge_voltage(rig), require(rig.instruments, "divider_ratio"))


QUANTITIES = (
    QuantityRule("energy", "stored energy", "J", CLOSED_FORM, total_bank_energy),
    QuantityRule(
        "times_lethal", "times 10 J, which can be lethal", "", energy.LETHAL_SOURCE, lambda rig: energy.times_lethal(total_bank_energy(rig))
    ),
    QuantityRule("charge", "stored charge", "C", CLOSED_FORM, _stored_charge),
    QuantityRule(
        "times_fibrillation",
        "times 100 mC, which can stop a heart",
        "",
        energy.FIBRILLATION_SOURCE,
        lambda rig: energy.times_fibrillation(_stored_charge(rig)),
    ),
    QuantityRule("charging_time", "charging time (through a resistor to 99 %)", "s", CLOSED_FORM, _charging_time),
    QuantityRule("voltage_rate", "slope of the voltage while charging", "V/s", CLOSED_FORM, _voltage_rate),
    QuantityRule("charger_power", "charger's power at the end", "W", CLOSED_FORM, _charger_power),
    QuantityRule("bleeder_power", "bleeder string's power while charged", "W", CLOSED_FORM, _bleeder_power),
    QuantityRule(
        "largest_bleeder", "largest bleeder string for 50 V in 300 s", "ohm", bleeder.RESIDUAL_LIMITS[3][3], _largest_bleeder_resistance
    ),
    QuantityRule("part_energy", "energy in each bleeder part of one discharge", "J", CLOSED_FORM, _part_energy),
    QuantityRule("misfire_wait", "least wait after a misfire, 5 time constants", "s", COMMON_PRACTICE, _misfire_wait),
    QuantityRule("dump_current", "dump's first current", "A", CLOSED_FORM, _dump_current),
    QuantityRule("dump_time", "dump to 50 V", "s", CLOSED_FORM, _dump_time),
    QuantityRule("dump_rise", "dump warms by, one discharge", "K", COMMON_PRACTICE, _dump_temperature_rise),
    QuantityRule("life_factor", "capacitors' life over the rated one, power laws", "", reversal.LIFE_SOURCE, _life_factor),
    QuantityRule("air_density", "relative air density", "", gap.AIR_SOURCE, _air_density),
    QuantityRule("gap_at_70_percent", "gap for 70 % of its self-break voltage", "m", gap.GAP_SOURCE, _gap_at_70_percent),
    QuantityRule("coil_current", "coil's peak current", "A", HELD_SHOT, lambda rig: require_shot(rig).coil_current),
    QuantityRule("current_rate", "its steepest rise", "A/s", HELD_SHOT, lambda rig: require_shot(rig).current_rate),
    QuantityRule("lead_inductance", "leads' inductance by their layout", "H", LEADS_SOURCE, _lead_inductance),
    QuantityRule("lead_force", "force between the leads, per metre", "N", CLOSED_FORM, _lead_force),
    QuantityRule("hoop_share", "coil's hoop tension over the former's strength", "", HELD_SHOT, _hoop_share),
    QuantityRule("needed_wall", "wall: twice the worst formula, or at twice the speed", "m", penetration.SOURCE, _needed_wall),
    QuantityRule("bound_speed", "speed if all the bank's energy moved the coil", "m/s", CLOSED_FORM, energy_speed_bound),
    QuantityRule(
        "fastest_turn", "fastest turn as computed, no bound", "m/s", MOVING_SHOT, lambda rig: require_moving_shot(rig).largest_speed
    ),
    QuantityRule(
        "fastest_turn_wall",
        "wall by that speed alone, not to build by",
        "m",
        penetration.SOURCE,
        lambda rig: _wall_for_speed(rig, require_moving_shot(rig).largest_speed),
    ),
    QuantityRule("burst_time", "first turn breaks, at the earliest", "s", MOVING_SHOT, lambda rig: require_burst(rig).time),
    QuantityRule("burst_latest", "first turn breaks, at the latest", "s", MOVING_SHOT, _latest_burst_time),
    QuantityRule("burst_energy", "energy of the coil's motion then", "J", MOVING_SHOT, lambda rig: require_burst(rig).kinetic_energy),
    QuantityRule("burst_mass", "mass that moves then, former included", "kg", MOVING_SHOT, lambda rig: require_burst(rig).mass),
    QuantityRule("lid_impulse", "impulse of the whole coil on lid and bolts", "N s", CLOSED_FORM, _lid_impulse),
    QuantityRule(
        "blast_level",
        "peak sound in the open at 5 m, all energy as blast",
        "dB",
        sound.BLAST_SOURCE,
        lambda rig: sound.peak_sound_level(sound.blast_pressure(total_bank_energy(rig), 5.0)),
    ),
    QuantityRule("public_distance", "stray field at the public's level at", "m", exposure.ICNIRP_SOURCE, _public_distance),
    QuantityRule("implant_distance", "stray field at 0.5 mT (static, implants) at", "m", exposure.STATIC_SOURCE, _implant_distance),
    QuantityRule("rogowski_voltage", "Rogowski coil, largest signal", "V", Source("Ray and Hewson, IAS 2000", "read"), _rogowski_voltage),
    QuantityRule(
        "shunt_voltage", "shunt at peak current", "V", Source("Piekielny and Waindok, Sensors 2021, 21, 1835", "read"), _shunt_voltage
    ),
    QuantityRule("shunt_jump", "shunt's inductive jump", "V", Source("Piekielny and Waindok, Sensors 2021, 21, 1835", "read"), _shunt_jump),
    QuantityRule("shunt_heat", "shunt's heat", "J", CLOSED_FORM, _shunt_heat),
    QuantityRule("loop_voltage", "B-dot loop in the gap, largest signal", "V", CLOSED_FORM, _bdot_voltage),
    QuantityRule("divider_voltage", "divider at full charge", "V", CLOSED_FORM, _divider_voltage),
)
