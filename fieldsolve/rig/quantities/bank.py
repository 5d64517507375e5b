"""Quantities of what holds the charge: bank, charger, bleeder and dump."""
from __future__ import annotations

from fieldsolve.rig.card_inputs import CardInputs, require_settled_banks
from fieldsolve.rig.formulas import bleeder, charger, energy, reversal
from fieldsolve.rig.quantities.rule import QuantityRule
from fieldsolve.rig.rig import highest_charge_voltage, require_banks, require_rating, total_bank_energy
from fieldsolve.rig.source import CLOSED_FORM, COMMON_PRACTICE
from fieldsolve.rig.tables import MissingInput, require


def _stored_charge(inputs: CardInputs) -> float:
    return sum(energy.stored_charge(bank.capacitance, bank.voltage) for bank in require_banks(inputs.rig))


def _charging_time(inputs: CardInputs) -> float:
    bank, table = require_banks(inputs.rig)[0], inputs.rig.charger
    if table.current is None and table.resistance is not None:
        return charger.resistor_time(bank.capacitance, table.resistance)
    return charger.constant_current_time(bank.capacitance, bank.voltage, require(table, "current"))


def _voltage_rate(inputs: CardInputs) -> float:
    return charger.voltage_rate(require_banks(inputs.rig)[0].capacitance, require(inputs.rig.charger, "current"))


def _charger_power(inputs: CardInputs) -> float:
    return charger.peak_power(require_banks(inputs.rig)[0].voltage, require(inputs.rig.charger, "current"))


def _bleeder_power(inputs: CardInputs) -> float:
    parts, part = require(inputs.rig.bleeder, "parts", "part_resistance")
    return bleeder.power(highest_charge_voltage(inputs.rig), parts * part)


def _largest_bleeder_resistance(inputs: CardInputs) -> float:
    charged = [bank for bank in require_banks(inputs.rig) if bank.voltage > bleeder.SAFE_VOLTAGE]
    if not charged:
        raise MissingInput("a bank above 50 V")
    return min(bleeder.resistance_for_time(bleeder.SAFE_VOLTAGE, 300.0, bank.capacitance, bank.voltage) for bank in charged)


def _part_energy(inputs: CardInputs) -> float:
    return bleeder.part_energy(max(bank.energy for bank in require_banks(inputs.rig)), require(inputs.rig.bleeder, "parts"))


def _misfire_wait(inputs: CardInputs) -> float:
    parts, part = require(inputs.rig.bleeder, "parts", "part_resistance")
    return 5 * parts * part * max(bank.capacitance for bank in require_banks(inputs.rig))


def _dump_current(inputs: CardInputs) -> float:
    return highest_charge_voltage(inputs.rig) / require(inputs.rig.bleeder, "dump_resistance")


def _dump_time(inputs: CardInputs) -> float:
    ohm = require(inputs.rig.bleeder, "dump_resistance")
    return max(bleeder.time_to_voltage(bleeder.SAFE_VOLTAGE, bank.capacitance, ohm, bank.voltage) for bank in require_banks(inputs.rig))


def _dump_temperature_rise(inputs: CardInputs) -> float:
    return bleeder.temperature_rise(max(bank.energy for bank in require_banks(inputs.rig)), require(inputs.rig.bleeder, "dump_mass"))


def _life_factor(inputs: CardInputs) -> float:
    factors = []
    for bank, found in zip(require_banks(inputs.rig), require_settled_banks(inputs), strict=True):
        volts, back = require_rating(bank, "rated_voltage"), require_rating(bank, "rated_reversal")
        known = 0 < found.reversal < 1 and 0 < back < 1
        share = reversal.quality(found.reversal) / reversal.quality(back) if known else 1.0
        factors.append(reversal.life_factor(bank.voltage / volts, share))
    return min(factors)


QUANTITIES = (
    QuantityRule("energy", "stored energy", "J", CLOSED_FORM, lambda inputs: total_bank_energy(inputs.rig)),
    QuantityRule("times_lethal", "times 10 J, which can be lethal", "",
                 energy.LETHAL_SOURCE, lambda inputs: energy.times_lethal(total_bank_energy(inputs.rig))),
    QuantityRule("charge", "stored charge", "C", CLOSED_FORM, _stored_charge),
    QuantityRule("times_fibrillation", "times 100 mC, which can stop a heart", "",
                 energy.FIBRILLATION_SOURCE, lambda inputs: energy.times_fibrillation(_stored_charge(inputs))),
    QuantityRule("charging_time", "charging time (through a resistor to 99 %)", "s", CLOSED_FORM, _charging_time),
    QuantityRule("voltage_rate", "slope of the voltage while charging", "V/s", CLOSED_FORM, _voltage_rate),
    QuantityRule("charger_power", "charger's power at the end", "W", CLOSED_FORM, _charger_power),
    QuantityRule("bleeder_power", "bleeder string's power while charged", "W", CLOSED_FORM, _bleeder_power),
    QuantityRule("largest_bleeder", "largest bleeder string for 50 V in 300 s", "ohm",
                 bleeder.RESIDUAL_LIMITS[3][3], _largest_bleeder_resistance),
    QuantityRule("part_energy", "energy in each bleeder part of one discharge", "J", CLOSED_FORM, _part_energy),
    QuantityRule("misfire_wait", "least wait after a misfire, 5 time constants", "s", COMMON_PRACTICE, _misfire_wait),
    QuantityRule("dump_current", "dump's first current", "A", CLOSED_FORM, _dump_current),
    QuantityRule("dump_time", "dump to 50 V", "s", CLOSED_FORM, _dump_time),
    QuantityRule("dump_rise", "dump warms by, one discharge", "K", COMMON_PRACTICE, _dump_temperature_rise),
    QuantityRule("life_factor", "capacitors' life over the rated one, power laws", "",
                 reversal.LIFE_SOURCE, _life_factor, reads="shot"),
)
