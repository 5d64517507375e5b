"""Quantities of the instruments: the signals to expect of the shot."""
from __future__ import annotations

from fieldsolve.rig.card_inputs import CardInputs, require_shot
from fieldsolve.rig.formulas import instruments
from fieldsolve.rig.quantities.rule import QuantityRule
from fieldsolve.rig.rig import highest_charge_voltage
from fieldsolve.rig.source import CLOSED_FORM, Source
from fieldsolve.rig.tables import MissingInput, require

SHUNT_SOURCE = Source("Piekielny and Waindok, Sensors 2021, 21, 1835", "read")


def _rogowski_voltage(inputs: CardInputs) -> float:
    mutual = instruments.rogowski_mutual(*require(inputs.rig.instruments, "rogowski_turns_per_metre", "rogowski_area"))
    return instruments.rogowski_voltage(mutual, require_shot(inputs).current_rate)


def _shunt_voltage(inputs: CardInputs) -> float:
    return instruments.shunt_voltage(require(inputs.rig.instruments, "shunt_resistance"), require_shot(inputs).coil_current)


def _shunt_jump(inputs: CardInputs) -> float:
    return instruments.shunt_voltage(0.0, 0.0, require(inputs.rig.instruments, "shunt_inductance"), require_shot(inputs).current_rate)


def _shunt_heat(inputs: CardInputs) -> float:
    return instruments.shunt_heat(require(inputs.rig.instruments, "shunt_resistance"), require_shot(inputs).action)


def _bdot_voltage(inputs: CardInputs) -> float:
    rate = require_shot(inputs).field_rate
    if rate is None:
        raise MissingInput("a disc in the bore, with a gap to the coil")
    return instruments.loop_voltage(*require(inputs.rig.instruments, "loop_turns", "loop_area"), rate)


def _divider_voltage(inputs: CardInputs) -> float:
    return instruments.divider_voltage(highest_charge_voltage(inputs.rig), require(inputs.rig.instruments, "divider_ratio"))


QUANTITIES = (
    QuantityRule("rogowski_voltage", "Rogowski coil, largest signal", "V",
                 Source("Ray and Hewson, IAS 2000", "read"), _rogowski_voltage, reads="shot"),
    QuantityRule("shunt_voltage", "shunt at peak current", "V", SHUNT_SOURCE, _shunt_voltage, reads="shot"),
    QuantityRule("shunt_jump", "shunt's inductive jump", "V", SHUNT_SOURCE, _shunt_jump, reads="shot"),
    QuantityRule("shunt_heat", "shunt's heat", "J", CLOSED_FORM, _shunt_heat, reads="shot"),
    QuantityRule("loop_voltage", "B-dot loop in the gap, largest signal", "V",
                 CLOSED_FORM, _bdot_voltage, reads="shot"),
    QuantityRule("divider_voltage", "divider at full charge", "V", CLOSED_FORM, _divider_voltage),
)
