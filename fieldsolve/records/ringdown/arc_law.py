"""Another law of the arc as a check: a voltage that falls as the current rises, in place of a constant one.

    V_arc = A + B / abs(i),   so that   a_(k+1) = a_k exp(-pi alpha / omega) - b - c / a_k,   c = pi B / (omega L)

to first order in the arc's share of the energy.  Source: H. Ayrton, The Electric Arc (1902), for an arc of fixed length (from memory).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.records.ringdown.half_waves import HalfWaves

FEWEST_HALF_WAVES = 5


@dataclass(frozen=True)
class ArcLawCheck:
    """Resistance in ohm, constant part in volt and B in watt with the falling arc, and how much better it fits.

    gain  fall of the sum of squares, for one more parameter: 4 is two standard deviations
    """

    resistance: float
    arc_voltage: float
    power: float
    gain: float


def check_arc_law(half_waves: HalfWaves, inductance: float, omega: float, alpha: float, drop: float) -> ArcLawCheck | None:
    """The amplitudes of the half-waves by the falling arc; None where there are too few.

    inductance  henry;  omega, alpha  rad/s, 1/s;  drop  b of the constant arc in ampere
    """
    from scipy.optimize import least_squares

    measured, spread = half_waves.amplitudes, half_waves.deviations
    if len(measured) < FEWEST_HALF_WAVES or np.any(np.diff(half_waves.numbers) != 1):
        return None
    first = float(measured[0])

    def scores(vector: np.ndarray) -> np.ndarray:
        return (_sequence(vector * first, len(measured), omega, vector[1] * omega, first) - measured) / spread

    start = np.array([1.0, alpha / omega, drop / first, 0.0])
    constant = least_squares(lambda three: scores(np.append(three, 0.0)), start[:3], x_scale=0.01)
    falling = least_squares(scores, np.append(constant.x, 0.0), x_scale=0.01)
    reactance = omega * inductance * first
    return ArcLawCheck(2 * float(falling.x[1]) * omega * inductance, 0.5 * float(falling.x[2]) * reactance,
                       float(falling.x[3]) * first * reactance / np.pi, 2 * float(constant.cost - falling.cost))


def _sequence(scaled: np.ndarray, count: int, omega: float, alpha: float, first: float) -> np.ndarray:
    """Amplitudes in ampere of `count` half-waves; `scaled` holds a_0, -, b in ampere and c in ampere times `first`."""
    decay, values = np.exp(-np.pi * alpha / omega), [scaled[0]]
    for _ in range(count - 1):
        last = max(values[-1], 1e-3 * first)
        values.append(last * decay - scaled[2] - scaled[3] * first / last)
    return np.array(values)
