"""Quantities of gap, leads and coil."""
from __future__ import annotations

import math

from fieldsolve.circuit.bank import plate_inductance, wire_inductance
from fieldsolve.rig.card_inputs import CardInputs, require_shot
from fieldsolve.rig.formulas import gap, leads
from fieldsolve.rig.quantities.rule import QuantityRule
from fieldsolve.rig.rig import air_state, require_banks
from fieldsolve.rig.source import CLOSED_FORM, SHOT, Source
from fieldsolve.rig.tables import MissingInput, require

LEADS_SOURCE = Source("F. W. Grover, Inductance Calculations (1946), chapter 5", "from-memory")


def _air_density(inputs: CardInputs) -> float:
    return air_state(inputs.rig)[0]


def _gap_at_70_percent(inputs: CardInputs) -> float:
    density, water = air_state(inputs.rig)
    return gap.self_break_distance(require_banks(inputs.rig)[0].voltage / 0.7, density, water)


def _lead_force(inputs: CardInputs) -> float:
    current, layout = require_shot(inputs).coil_current, inputs.rig.leads
    if layout.width is not None:
        return leads.plate_force(current, layout.width)
    return leads.wire_force(current, require(layout, "spacing"))


def _lead_inductance(inputs: CardInputs) -> float:
    layout = inputs.rig.leads
    length, spacing = require(layout, "length", "spacing")
    if layout.width is not None:
        return plate_inductance(length, layout.width, spacing)
    diameter = require(layout, "wire_diameter")
    if spacing <= diameter:
        raise MissingInput(f"[leads] spacing between centres above wire_diameter, {diameter:g} m")
    return wire_inductance(length, spacing, diameter)


def _hoop_share(inputs: CardInputs) -> float:
    return require_shot(inputs).outward_force / (2 * math.pi) / require(inputs.rig.former, "strength")


QUANTITIES = (
    QuantityRule("air_density", "relative air density", "", gap.AIR_SOURCE, _air_density),
    QuantityRule("gap_at_70_percent", "gap for 70 % of its self-break voltage", "m",
                 gap.GAP_SOURCE, _gap_at_70_percent),
    QuantityRule("coil_current", "coil's peak current", "A",
                 SHOT, lambda inputs: require_shot(inputs).coil_current, reads="shot"),
    QuantityRule("current_rate", "its steepest rise", "A/s",
                 SHOT, lambda inputs: require_shot(inputs).current_rate, reads="shot"),
    QuantityRule("lead_inductance", "leads' inductance by their layout", "H", LEADS_SOURCE, _lead_inductance),
    QuantityRule("lead_force", "force between the leads, per metre", "N", CLOSED_FORM, _lead_force, reads="shot"),
    QuantityRule("hoop_share", "coil's hoop tension over the former's strength", "", SHOT, _hoop_share, reads="shot"),
)
