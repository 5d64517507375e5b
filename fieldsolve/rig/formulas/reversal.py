"""How far a bank rings to the other side, and what that and the voltage make of a capacitor's life."""
from __future__ import annotations

import math

from fieldsolve.rig.source import Source

VOLTAGE_EXPONENTS = (7.0, 8.0)           # of life; the range that is quoted
QUALITY_EXPONENT = 2.2
LIFE_SOURCE = Source("Sarjeant et al., film capacitors", "from-memory")


def ringing_reversal(decay_rate: float, angular_frequency: float) -> float:
    """Reverse over charge voltage of a ringing bank:  V_r = exp(-pi alpha / omega);  1/s, rad/s.

    Source: textbook, damped discharge (computed).  Caution: a disc that heats and moves changes L and R on the way.
    """
    return math.exp(-math.pi * decay_rate / angular_frequency)


def quality(reversal: float) -> float:
    """Q of a circuit of a given reversal, above 0 and below 1:  Q = pi / (2 ln(1 / V_r)).  Source: textbook (computed)."""
    return math.pi / (2 * math.log(1 / reversal))


def life_factor(voltage_share: float, quality_share: float = 1.0) -> float:
    """Shots a film capacitor lives over those it is rated for:  (V / V_rated)^-n  (Q / Q_rated)^-2.2.

    n is 7 below the rated voltage and 8 above it, each the less favourable end of what is quoted.
    Source: Sarjeant et al. (from memory).  Caution: makers' curves differ; ask yours.
    """
    exponent = VOLTAGE_EXPONENTS[0] if voltage_share <= 1 else VOLTAGE_EXPONENTS[1]
    return voltage_share**-exponent * quality_share**-QUALITY_EXPONENT
