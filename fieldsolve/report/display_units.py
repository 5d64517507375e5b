"""Factors from SI units to those of axes and labels."""
from __future__ import annotations

import math

from fieldsolve.units import PREFIXES

MM = 1e3                # millimetres in a metre
US = 1e6                # microseconds in a second
KILO = 1e-3             # kiloampere, kilovolt, kilonewton, kilojoule in one of the unit
MICROHENRIES = 1e6      # microhenries in a henry
MEGA = 1e-6             # megawatts in a watt
MEGAPASCALS = 1e-6      # megapascals in a pascal
PER_MM2 = 1e-6          # A/mm^2 in an A/m^2


def prefix_of(largest: float) -> tuple[int, str]:
    """Power of ten and prefix of the unit in which a number is from 1 to 1000.

    >>> prefix_of(44.9e3), prefix_of(1.6e-6)
    ((3, 'k'), (-6, 'µ'))
    """
    power = 3 * math.floor(math.log10(largest) / 3 + 1e-9) if largest > 0 else 0
    power = min(max(power, min(PREFIXES)), max(PREFIXES))
    return power, PREFIXES[power].replace("u", "µ")
