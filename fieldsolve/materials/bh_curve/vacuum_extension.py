"""A law of magnetization continued with the slope of vacuum."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import NU_0


@dataclass(frozen=True)
class ExtendedCurve:
    """A law up to `end` in tesla, beyond it with the slope of vacuum: functions of an array of B."""

    law: Callable[[np.ndarray], np.ndarray]
    slope: Callable[[np.ndarray], np.ndarray]
    energy: Callable[[np.ndarray], np.ndarray]
    end: float

    def field_strength(self, B: np.ndarray) -> np.ndarray:
        B = np.asarray(B, dtype=float)
        return self.law(np.minimum(B, self.end)) + NU_0 * np.maximum(B - self.end, 0.0)

    def differential_reluctivity(self, B: np.ndarray) -> np.ndarray:
        B = np.asarray(B, dtype=float)
        return np.where(self.end < B, NU_0, self.slope(np.minimum(B, self.end)))

    def energy_density(self, B: np.ndarray) -> np.ndarray:
        B = np.asarray(B, dtype=float)
        beyond = np.maximum(B - self.end, 0.0)
        return self.energy(np.minimum(B, self.end)) + beyond * (float(self.law(self.end)) + NU_0 * beyond / 2)
