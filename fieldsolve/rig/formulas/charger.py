"""How long a charger takes, and what it must deliver."""
from __future__ import annotations

import math


def constant_current_time(capacitance: float, voltage: float, current: float) -> float:
    """Seconds to charge at a constant current:  t = C V / I;  farad, volt, ampere.  Source: closed form (computed)."""
    return capacitance * voltage / current


def voltage_rate(capacitance: float, current: float) -> float:
    """Slope of the bank's voltage in V/s at a constant current:  dV/dt = I / C.  Source: closed form (computed).

    Caution: a slope that changes means leakage or a failing capacitor: stop charging.
    """
    return current / capacitance


def peak_power(voltage: float, current: float) -> float:
    """Power in watt at the end of charging at a constant current:  P = V I.  Source: closed form (computed)."""
    return voltage * current


def resistor_time(capacitance: float, resistance: float, share: float = 0.99) -> float:
    """Seconds through a resistor to a `share` of the supply's voltage:  t = R C ln(1 / (1 - share));  ohm, farad.

    Source: closed form (computed).
    """
    return resistance * capacitance * math.log(1 / (1 - share))


def resistor_heat(capacitance: float, voltage: float) -> float:
    """Heat in joule of the resistor that charges a bank from a fixed supply, as much as is stored:  C V^2 / 2.

    Source: closed form (computed).
    """
    return 0.5 * capacitance * voltage**2
