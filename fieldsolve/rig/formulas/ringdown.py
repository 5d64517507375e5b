"""A damped discharge: its frequency, peak and reversal, and the circuit read back from a ring-down.

    i = V / (omega L) exp(-alpha t) sin(omega t),   alpha = R / (2 L),   omega^2 = 1 / (L C) - alpha^2

Source: any text on circuits, such as E. A. Guillemin, Introductory Circuit Theory (1953), ch. 6 (from memory).
"""
from __future__ import annotations

import math


def decay_rate(inductance: float, resistance: float) -> float:
    """alpha in 1/s:  R / (2 L);  henry, ohm."""
    return resistance / (2 * inductance)


def angular_frequency(inductance: float, capacitance: float, resistance: float) -> float:
    """omega in rad/s:  sqrt(1 / (L C) - alpha^2), 0 where nothing rings;  henry, farad, ohm."""
    return math.sqrt(max(1 / (inductance * capacitance) - decay_rate(inductance, resistance) ** 2, 0.0))


def peak_current(voltage: float, inductance: float, capacitance: float, resistance: float) -> tuple[float, float]:
    """(ampere, seconds) of the first peak where the circuit rings:  omega t = atan(omega / alpha).

    Caution: a disc in the coil lowers L by a third or more; take the loaded inductance.
    """
    alpha, omega = decay_rate(inductance, resistance), angular_frequency(inductance, capacitance, resistance)
    time = math.atan2(omega, alpha) / omega
    return voltage / (omega * inductance) * math.exp(-alpha * time) * math.sin(omega * time), time


def circuit_from_peaks(first: float, later: float, periods: int, time_between: float, capacitance: float) -> tuple[float, float]:
    """(henry, ohm) from two peaks of the same sign, `periods` whole periods and `apart` seconds from each other.

        alpha = ln(i_1 / i_2) / T,   omega = 2 pi n / T,   L = 1 / (C (omega^2 + alpha^2)),   R = 2 alpha L

    first, later  ampere;  capacitance  farad, from a bridge
    Caution: the spark gap's voltage makes R look larger, the more the lower the charge; with a disc in the coil only the record up to
    the first peak is of use.
    """
    alpha, omega = math.log(first / later) / time_between, 2 * math.pi * periods / time_between
    inductance = 1 / (capacitance * (omega**2 + alpha**2))
    return inductance, 2 * alpha * inductance


def arc_voltage_loss(arc_voltage: float) -> float:
    """Volt by which a constant arc voltage lowers the envelope of the bank's voltage in each half-wave:  2 V_a."""
    return 2 * arc_voltage
