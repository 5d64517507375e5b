"""What the instruments around a shot give: signals to set scales by."""
from __future__ import annotations

from fieldsolve.constants import MU_0


def rogowski_mutual(turns_per_metre: float, area: float) -> float:
    """Mutual inductance in henry of a Rogowski coil:  M = mu_0 n A;  1/m, m^2.

    Source: Ray and Hewson, IAS 2000 (read).  Caution: without a return wire it also sees stray flux; calibrate it in place.
    """
    return MU_0 * turns_per_metre * area


def rogowski_voltage(mutual: float, current_rate: float) -> float:
    """Volt before the integrator:  v = M dI/dt;  henry, A/s.  Source: Ray and Hewson, IAS 2000 (read)."""
    return mutual * current_rate


def shunt_voltage(resistance: float, current: float, inductance: float = 0.0, current_rate: float = 0.0) -> float:
    """Volt of a coaxial shunt:  v = I R + L dI/dt;  ohm, ampere, henry, A/s.

    Source: Piekielny and Waindok, Sensors 2021, 21, 1835 (read).  Caution: its inductance looks like a lead in phase, and it earths the
    circuit.
    """
    return resistance * current + inductance * current_rate


def shunt_heat(resistance: float, action: float) -> float:
    """Heat of a shunt in joule:  R integral of I^2 dt;  ohm, A^2 s.  Source: closed form (computed)."""
    return resistance * action


def loop_voltage(turns: float, area: float, field_rate: float) -> float:
    """Volt of a B-dot loop:  v = n A dB/dt;  m^2, T/s.  Source: Faraday's law (computed).  Caution: the loop is lost in the shot."""
    return turns * area * field_rate


def divider_voltage(voltage: float, ratio: float) -> float:
    """Volt behind a divider of `ratio` to 1.  Source: closed form (computed).

    Caution: it must bear the reversal too, and jumps with its ground at the trigger.
    """
    return voltage / ratio
