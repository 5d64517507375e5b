"""A B-H curve of measured pairs."""
from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.materials.bh_curve.vacuum_extension import ExtendedCurve
from geometries.keywords import known_keywords


@known_keywords
@dataclass(frozen=True)
class BHTable:
    """A B-H curve of measured pairs, joined by a monotone curve.

    Parameters
    ----------
    field : sequence of float
        H in A/m, rising; the pair (0, 0) is added where it is not there.
    flux_density : sequence of float
        B in T, rising, as many.
    smooth : bool, optional
        H(B) by monotone cubics (F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17, 238 (1980)); False: straight lines between
        the pairs.

    Raises
    ------
    InputError
        For pairs that do not rise, are not finite, or end below vacuum.

    Notes
    -----
    Beyond the last pair the slope is mu_0.

    Examples
    --------
    >>> float(BHTable(field=(100.0, 1000.0), flux_density=(0.8, 1.5), smooth=False).field_strength(0.4))
    50.0
    """

    field: tuple[float, ...]
    flux_density: tuple[float, ...]
    smooth: bool = True

    def __post_init__(self):
        field, flux_density = (_check_numbers(key, getattr(self, key)) for key in ("field", "flux_density"))
        if len(field) != len(flux_density) or not field:
            raise InputError(f"a B-H table needs as many fields as flux densities: {len(field)} and {len(flux_density)} are given")
        if field[0] != 0 or flux_density[0] != 0:
            field, flux_density = (0.0, *field), (0.0, *flux_density)
        for (h, b), (h_next, b_next) in pairwise(zip(field, flux_density, strict=True)):
            if not (h_next > h and b_next > b):
                raise InputError(f"B-H table: from ({h:g} A/m, {b:g} T) to ({h_next:g} A/m, {b_next:g} T) both must rise")
        if flux_density[-1] < MU_0 * field[-1]:
            raise InputError(f"B-H table: ends at {flux_density[-1]:g} T and {field[-1]:g} A/m, below vacuum's {MU_0 * field[-1]:.4g} T; "
                             "flux density in tesla, field in A/m")
        object.__setattr__(self, "field", field)
        object.__setattr__(self, "flux_density", flux_density)

    def field_strength(self, B: np.ndarray) -> np.ndarray:
        """H in A/m."""
        return _table_curve(self).field_strength(B)

    def differential_reluctivity(self, B: np.ndarray) -> np.ndarray:
        """dH/dB in m/H."""
        return _table_curve(self).differential_reluctivity(B)

    def energy_density(self, B: np.ndarray) -> np.ndarray:
        """Integral of H dB in J/m^3."""
        return _table_curve(self).energy_density(B)


@functools.lru_cache(maxsize=16)
def _table_curve(curve: BHTable) -> ExtendedCurve:
    B, H = np.array(curve.flux_density), np.array(curve.field)
    if curve.smooth and len(B) > 2:
        from scipy.interpolate import PchipInterpolator

        law = PchipInterpolator(B, H)
        return ExtendedCurve(law, law.derivative(), law.antiderivative(), B[-1])
    steps = np.diff(H) / np.diff(B)
    area = np.concatenate([[0.0], np.cumsum(np.diff(B) * (H[1:] + H[:-1]) / 2)])

    def piece(x):
        return np.clip(np.searchsorted(B, x, side="right") - 1, 0, len(steps) - 1)

    def energy(x):
        k = piece(x)
        return area[k] + (x - B[k]) * (H[k] + steps[k] * (x - B[k]) / 2)
    return ExtendedCurve(lambda x: np.interp(x, B, H), lambda x: steps[piece(x)], energy, B[-1])


def _check_numbers(key: str, values) -> tuple[float, ...]:
    try:
        numbers_of = tuple(float(value) for value in values)
    except (TypeError, ValueError):
        numbers_of = (math.nan,)
    if not all(math.isfinite(value) and value >= 0 for value in numbers_of):
        raise InputError(f"B-H table: {key} = {values!r}: expected finite numbers, 0 or above")
    return numbers_of
