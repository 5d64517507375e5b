"""What follows from every B-H curve: chord and effective reluctivity, coenergy."""
from __future__ import annotations

import functools
import math

import numpy as np

from fieldsolve.materials.bh_curve.contract import BHCurve

ANGLES = 32                 # of a quarter cycle


def coenergy_density(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """Integral of B dH from 0 in J/m^3, `H B` less the energy density, at flux densities B >= 0 in tesla; the array's shape."""
    return curve.field_strength(B) * B - curve.energy_density(B)


def chord_reluctivity(curve: BHCurve, B: np.ndarray) -> np.ndarray:
    """nu = H/B in m/H at flux densities B >= 0 in tesla, at B = 0 the slope there; the array's shape."""
    B = np.asarray(B, dtype=float)
    safe = np.where(B > 0, B, 1.0)
    return np.where(B > 0, curve.field_strength(safe) / safe, curve.differential_reluctivity(np.zeros(1))[0])


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
    H = curve.field_strength(B)
    peaks = np.geomspace(1e3 * H[0], H[-1], 6_001)
    cosine = np.cos((np.arange(ANGLES) + 0.5) * math.pi / (2 * ANGLES))
    at_angles = np.exp(np.interp(np.log(np.multiply.outer(peaks, cosine)), np.log(H), np.log(B)))
    return np.log(peaks), np.log(2 / ANGLES * (at_angles * cosine).sum(axis=1))
