"""Brauer's law of magnetization."""
from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.errors import InputError
from fieldsolve.materials.bh_curve.vacuum_extension import ExtendedCurve
from fieldsolve.materials.number_checks import check_fields
from geometries.keywords import known_keywords


@known_keywords
@dataclass(frozen=True)
class Brauer:
    """Brauer's law, a B-H curve of three numbers.

    Parameters
    ----------
    k1, k3 : float
        m/H.
    k2 : float
        1/T^2.

    Raises
    ------
    InputError
        For a number that is not finite and positive, and for k1 + k3 not below the reluctivity of vacuum.

    Notes
    -----
    ``H = (k1 exp(k2 B^2) + k3) B`` up to where its slope is that of vacuum, and from there with slope mu_0.
    Source: J. R. Brauer, IEEE Trans. Magn. 11, 81 (1975).

    Examples
    --------
    >>> print(f"{Brauer(k1=3.8, k2=2.17, k3=396.2).field_strength(1.0):.0f} A/m")
    429 A/m
    """

    k1: float
    k2: float
    k3: float

    def __post_init__(self):
        check_fields(self)
        if self.k1 + self.k3 >= NU_0:
            raise InputError(f"k1 + k3 = {self.k1 + self.k3:g} m/H: must be below that of vacuum, {NU_0:g} m/H")

    def field_strength(self, B: np.ndarray) -> np.ndarray:
        """H in A/m."""
        return _brauer_curve(self).field_strength(B)

    def differential_reluctivity(self, B: np.ndarray) -> np.ndarray:
        """dH/dB in m/H."""
        return _brauer_curve(self).differential_reluctivity(B)

    def energy_density(self, B: np.ndarray) -> np.ndarray:
        """Integral of H dB in J/m^3."""
        return _brauer_curve(self).energy_density(B)


@functools.lru_cache(maxsize=16)
def _brauer_curve(curve: Brauer) -> ExtendedCurve:
    k1, k2, k3 = curve.k1, curve.k2, curve.k3

    def law(B):
        return (k1 * np.exp(k2 * B**2) + k3) * B

    def slope(B):
        return k1 * (1 + 2 * k2 * B**2) * np.exp(k2 * B**2) + k3

    def energy(B):
        return k1 / (2 * k2) * np.expm1(k2 * B**2) + k3 * B**2 / 2
    return ExtendedCurve(law, slope, energy, _bisect(lambda B: slope(B) - NU_0, math.sqrt(math.log(NU_0 / k1) / k2)))


def _bisect(rising, high: float) -> float:
    """Where a rising function, below zero at 0 and not at `high`, is zero."""
    low = 0.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) >= 0 else (middle, high)
    return low
