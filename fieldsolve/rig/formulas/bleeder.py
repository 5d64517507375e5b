"""How long until a bleeder or a dump has made a bank harmless, and what its parts must bear."""
from __future__ import annotations

import math

from fieldsolve.rig.source import Source

CERAMIC_HEAT = 900.0                     # J/(kg K), of a dump resistor's ceramic; common practice, no source
SAFE_VOLTAGE = 50.0                      # V; see RESIDUAL_LIMITS
RESIDUAL_LIMITS = (                      # volt, seconds, for what, source
    (60.0, 5.0, "machines", Source("IEC 60204-1, in the summary of sdev.dk", "read")),
    (60.0, 1.0, "parts that are plugged", Source("IEC 60204-1, in the summary of sdev.dk", "read")),
    (50.0, 60.0, "capacitors up to 600 V (later 1000 V)", Source("NEC 460.6, in a quiz of ecmweb", "read")),
    (50.0, 300.0, "capacitors above that", Source("NEC 460.28", "from-memory")),
    (75.0, 180.0, "capacitors above 1 kV, the stricter type", Source("IEC 61071, IEC 60871", "from-memory")),
    (75.0, 600.0, "capacitors above 1 kV, the other type", Source("IEC 61071, IEC 60871", "from-memory")),
)


def time_to_voltage(voltage: float, capacitance: float, resistance: float, initial_voltage: float) -> float:
    """Seconds until a bank of `charged` volt has fallen to `voltage`:  t = R C ln(V0 / V);  0 where it is below from the start.

    farad, ohm.  Source: closed form (computed).  Caution: capacitors recover charge by themselves; prove dead, short, and leave shorted.
    """
    return resistance * capacitance * math.log(initial_voltage / voltage) if initial_voltage > voltage else 0.0


def resistance_for_time(voltage: float, seconds: float, capacitance: float, initial_voltage: float) -> float:
    """Largest resistance in ohm that brings a bank from `charged` to `voltage` in `seconds`:  R = t / (C ln(V0 / V)).

    Source: closed form (computed).
    """
    return seconds / (capacitance * math.log(initial_voltage / voltage))


def power(voltage: float, resistance: float) -> float:
    """Power in watt while the bank is held at `voltage`:  P = V^2 / R.  Source: closed form (computed)."""
    return voltage**2 / resistance


def part_voltage(voltage: float, parts: int) -> float:
    """Volt on each of `parts` equal resistors in series:  V / k.  Source: closed form (computed).

    Caution: unequal or aged parts share unequally; small types allow only 350 to 750 V (common practice, no source).
    """
    return voltage / parts


def part_power(voltage: float, parts: int, part_resistance: float) -> float:
    """Watt in each of `parts` equal resistors in series while the bank is held at `voltage`:  (V / k)^2 / R.

    Source: closed form (computed).
    """
    return part_voltage(voltage, parts) ** 2 / part_resistance


def part_energy(energy: float, parts: int) -> float:
    """Joule that each of `parts` equal resistors in series takes of one discharge:  E / k.  Source: closed form (computed)."""
    return energy / parts


def temperature_rise(energy: float, mass: float) -> float:
    """Kelvin by which `energy` in joule warms `mass` in kg of resistor ceramic:  E / (m c),  c = 900 J/(kg K).

    Source: closed form (computed), c common practice, no source.
    """
    return energy / (mass * CERAMIC_HEAT)
