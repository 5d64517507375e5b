"""Magnetization curves H(B) of metals that saturate: Froehlich's law, Brauer's law, or a table; with slope mu_0 at the end."""
from __future__ import annotations

import functools
import math
import numbers
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from fieldsolve.constants import MU_0, NU_0
from fieldsolve.errors import InputError
from fieldsolve.renamed import old_attributes


@dataclass(frozen=True)
class Frohlich:
    """Froehlich's law `B = mu_0 H + J_s H/(H + a)`, with `a = J_s/(mu_0 (mu_i - 1))`.

    saturation            J_s, tesla
    initial_permeability  mu_i, relative, larger than 1
    """

    saturation: float
    initial_permeability: float

    __getattr__ = old_attributes("Frohlich")

    def __post_init__(self):
        _check_positive(self)
        if self.initial_permeability <= 1:
            raise InputError(f"initial_permeability = {self.initial_permeability:g}: must be larger than 1, such as 250")

    @property
    def half_saturation_field(self) -> float:
        """a, the field in A/m at which half of the saturation is reached."""
        return self.saturation / (MU_0 * (self.initial_permeability - 1))


@dataclass(frozen=True)
class Brauer:
    """Brauer's law `H = (k1 exp(k2 B^2) + k3) B` up to where its slope is that of vacuum, and from there with slope mu_0.

    k1, k3   m/H;  k2   1/T^2
    Source: J. R. Brauer, IEEE Trans. Magn. 11, 81 (1975).
    """

    k1: float
    k2: float
    k3: float

    def __post_init__(self):
        _check_positive(self)
        if self.k1 + self.k3 >= NU_0:
            raise InputError(f"k1 + k3 = {self.k1 + self.k3:g} m/H: must be below that of vacuum, {NU_0:g} m/H")


@dataclass(frozen=True)
class BHTable:
    """Pairs of field H (A/m) and flux density B (T), both rising, joined by a monotone curve; beyond the last pair with slope mu_0.

    field, flux_density  numbers; the pair (0, 0) is added where it is not there
    smooth               H(B) by monotone cubics (F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17, 238 (1980)); False: straight
                         lines between the pairs
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


ANGLES = 32                 # of a quarter cycle

BHCurve = Frohlich | Brauer | BHTable
BH_CURVES = (Frohlich, Brauer, BHTable)


def field_strength(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """H in A/m at flux densities B >= 0 in tesla; the array's shape."""
    return _curve_functions(curve)[0](np.asarray(B, dtype=float))


def differential_reluctivity(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """dH/dB in m/H at flux densities B >= 0 in tesla; the array's shape."""
    return _curve_functions(curve)[1](np.asarray(B, dtype=float))


def energy_density(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """Integral of H dB from 0 in J/m^3 at flux densities B >= 0 in tesla; the array's shape."""
    return _curve_functions(curve)[2](np.asarray(B, dtype=float))


def coenergy_density(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """Integral of B dH from 0 in J/m^3, `H B` less the energy density, at flux densities B >= 0 in tesla; the array's shape."""
    return field_strength(curve, B) * B - energy_density(curve, B)


def reluctivity(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """nu = H/B in m/H at flux densities B >= 0 in tesla, at B = 0 the slope there; the array's shape."""
    B = np.asarray(B, dtype=float)
    safe = np.where(B > 0, B, 1.0)
    return np.where(B > 0, field_strength(curve, safe) / safe, differential_reluctivity(curve, np.zeros(1))[0])


def effective_reluctivity(curve: BHCurve, H: np.ndarray) -> np.ndarray:
    """H over the first harmonic of B in m/H where H cos(omega t) has its peak at values H >= 0 in A/m; the array's shape.

    1/nu = 4/(pi H) times the integral of B(H cos x) cos x from 0 to pi/2, by a fine table of H.
    """
    log_H, log_B = _first_harmonic_table(curve)
    H = np.maximum(H, math.exp(log_H[0]))
    return H / np.exp(np.interp(np.log(H), log_H, log_B))


@functools.lru_cache(maxsize=16)
def _first_harmonic_table(curve: BHCurve) -> tuple[np.ndarray, np.ndarray]:
    """log H, from far below any magnetization to far beyond, and log of the first harmonic of B."""
    B = np.geomspace(1e-9, 1e3, 12_001)
    H = field_strength(curve, B)
    peaks = np.geomspace(1e3 * H[0], H[-1], 6_001)
    cosine = np.cos((np.arange(ANGLES) + 0.5) * math.pi / (2 * ANGLES))
    at_angles = np.exp(np.interp(np.log(np.multiply.outer(peaks, cosine)), np.log(H), np.log(B)))
    return np.log(peaks), np.log(2 / ANGLES * (at_angles * cosine).sum(axis=1))


@functools.lru_cache(maxsize=64)
def _curve_functions(curve: BHCurve):
    """H(B), dH/dB and integral of H dB as functions of an array."""
    return {Frohlich: _frohlich, Brauer: _brauer, BHTable: _table}[type(curve)](curve)


def _frohlich(curve: Frohlich):
    a, saturation = curve.half_saturation_field, curve.saturation

    def field(B):
        p = MU_0 * a + saturation - B                        # mu_0 H^2 + p H - a B = 0, its positive root without cancellation
        root = np.sqrt(p * p + 4 * MU_0 * a * B)
        return np.where(p > 0, 2 * a * B / np.where(p > 0, p + root, 1.0), (root - p) / (2 * MU_0))

    def gradient(B):
        return 1 / (MU_0 + saturation * a / (field(B) + a) ** 2)

    def energy(B):
        H = field(B)
        return H * B - (MU_0 * H**2 / 2 + saturation * (H - a * np.log1p(H / a)))
    return field, gradient, energy


def _brauer(curve: Brauer):
    k1, k2, k3 = curve.k1, curve.k2, curve.k3

    def law(B):
        return (k1 * np.exp(k2 * B**2) + k3) * B

    def law_slope(B):
        return k1 * (1 + 2 * k2 * B**2) * np.exp(k2 * B**2) + k3

    def law_energy(B):
        return k1 / (2 * k2) * np.expm1(k2 * B**2) + k3 * B**2 / 2
    end = _bisect(lambda B: law_slope(B) - NU_0, math.sqrt(math.log(NU_0 / k1) / k2))
    return _extend_with_vacuum_slope(law, law_slope, law_energy, end)


def _bisect(rising, high: float) -> float:
    """Where a rising function, below zero at 0 and not at `high`, is zero."""
    low = 0.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) >= 0 else (middle, high)
    return low


def _table(curve: BHTable):
    B, H = np.array(curve.flux_density), np.array(curve.field)
    if curve.smooth and len(B) > 2:
        from scipy.interpolate import PchipInterpolator

        law = PchipInterpolator(B, H)
        return _extend_with_vacuum_slope(law, law.derivative(), law.antiderivative(), B[-1])
    steps = np.diff(H) / np.diff(B)
    area = np.concatenate([[0.0], np.cumsum(np.diff(B) * (H[1:] + H[:-1]) / 2)])

    def piece(x):
        return np.clip(np.searchsorted(B, x, side="right") - 1, 0, len(steps) - 1)

    def energy(x):
        k = piece(x)
        return area[k] + (x - B[k]) * (H[k] + steps[k] * (x - B[k]) / 2)
    return _extend_with_vacuum_slope(lambda x: np.interp(x, B, H), lambda x: steps[piece(x)], energy, B[-1])


def _extend_with_vacuum_slope(law, law_slope, law_energy, end: float):
    """The three functions, beyond `end` with the slope of vacuum."""
    last_field = float(law(end))

    def field(B):
        return law(np.minimum(B, end)) + NU_0 * np.maximum(B - end, 0.0)

    def gradient(B):
        return np.where(end < B, NU_0, law_slope(np.minimum(B, end)))

    def energy(B):
        beyond = np.maximum(B - end, 0.0)
        return law_energy(np.minimum(B, end)) + beyond * (last_field + NU_0 * beyond / 2)
    return field, gradient, energy


def _check_positive(curve) -> None:
    for entry in fields(curve):
        value = getattr(curve, entry.name)
        if isinstance(value, bool) or not isinstance(value, numbers.Real) or not 0 < value < math.inf:
            raise InputError(f"{type(curve).__name__}: {entry.name} = {value!r}: expected a finite number larger than 0")
        object.__setattr__(curve, entry.name, float(value))


def _check_numbers(key: str, values) -> tuple[float, ...]:
    try:
        numbers_of = tuple(float(value) for value in values)
    except (TypeError, ValueError):
        numbers_of = (math.nan,)
    if not all(math.isfinite(value) and value >= 0 for value in numbers_of):
        raise InputError(f"B-H table: {key} = {values!r}: expected finite numbers, 0 or above")
    return numbers_of
