"""The contract of a B-H curve."""
from __future__ import annotations

from typing import Protocol, runtime_checkable

import numpy as np


@runtime_checkable
class BHCurve(Protocol):
    """A single-valued magnetization curve H(B), the same in every direction, without hysteresis.

    A curve is a frozen, hashable dataclass of numbers.  Its methods take flux densities B >= 0 in tesla, a number or an array, and
    return the array's shape:

    1. `field_strength(B)` is H in A/m; it rises, and H(0) = 0.
    2. `differential_reluctivity(B)` is dH/dB in m/H; positive, and that of vacuum for large B.
    3. `energy_density(B)` is the integral of H dB from 0 in J/m^3.
    """

    def field_strength(self, B: np.ndarray) -> np.ndarray: ...

    def differential_reluctivity(self, B: np.ndarray) -> np.ndarray: ...

    def energy_density(self, B: np.ndarray) -> np.ndarray: ...
