"""Voltage between turns, between layers, and from coil to disc and ground, against what insulation bears."""
from __future__ import annotations


def turn_voltage(voltage: float, turns: float) -> float:
    """Volt from turn to turn of a coil with even steps:  V / N.

    Source: common practice, no source.  Caution: at the first instant the steps are uneven; the turns at the ends see more.
    """
    return voltage / turns


def layer_voltage(voltage: float, layers: int) -> float:
    """Volt between the far ends of two neighbouring layers wound to and fro:  2 V / layers.  Source: common practice, no source."""
    return 2 * voltage / layers


def ground_voltage(voltage: float) -> float:
    """Volt from the coil to the disc and to ground: all of it.

    Source: common practice, no source.  Caution: a disc's sharp edge, a pinhole or a bend in the wire takes most of a film's strength.
    """
    return voltage
