"""Field steps: how a field switched on at the surface of metal diffuses into it, and how a sphere's moment decays.

Time is T = t / (mu sigma l^2) with l the radius or half the thickness; fields are over the one applied, B_0; mu is
the same inside and out.  The series are summed to where their terms have vanished for T >= 1e-3.
Source: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids (1959), chs. 2, 3, 7, 9 (the same equation).
"""
from __future__ import annotations

import math

import numpy as np
from scipy.special import erfc, j0, j1, jn_zeros

from fieldsolve.constants import MU_0

TERMS = 60


def diffusion_time(conductivity, length) -> float:
    """mu_0 sigma l^2 in seconds, for S/m and metres."""
    return MU_0 * conductivity * length**2


def cylinder_step_field(T, radius_ratio) -> np.ndarray:
    """Axial field at r = radius_ratio a in a long cylinder.

        B / B_0 = 1 - 2 sum J_0(j_n r/a) / (j_n J_1(j_n)) exp(-j_n^2 T),   j_n the zeros of J_0

    Source: Carslaw and Jaeger, sec. 7.6.
    """
    zeros = jn_zeros(0, TERMS)
    return 1 - 2 * _decay(T, zeros) @ (j0(zeros * radius_ratio) / (zeros * j1(zeros)))


def cylinder_step_mean(T) -> np.ndarray:
    """Mean of that field over the section:  1 - 4 sum exp(-j_n^2 T) / j_n^2.  Source: the same."""
    zeros = jn_zeros(0, TERMS)
    return 1 - 4 * _decay(T, zeros) @ zeros**-2.0


def slab_step_field(T, depth_ratio=0.0) -> np.ndarray:
    """Field at x = depth_ratio L from the middle of a slab of thickness 2 L, both faces stepped.

        B / B_0 = 1 - 2 sum (-1)^n / k_n cos(k_n x/L) exp(-k_n^2 T),   k_n = (n + 1/2) pi

    Source: Carslaw and Jaeger, sec. 3.3.
    """
    k, sign = _slab_numbers()
    return 1 - 2 * _decay(T, k) @ (sign * np.cos(k * depth_ratio) / k)


def slab_step_mean(T) -> np.ndarray:
    """Mean of that field over the thickness:  1 - 2 sum exp(-k_n^2 T) / k_n^2.  Source: the same."""
    k, _ = _slab_numbers()
    return 1 - 2 * _decay(T, k) @ k**-2.0


def half_space_step_field(u) -> np.ndarray:
    """Field at depth x below a plane face:  B / B_0 = erfc(u),  u = x / (2 sqrt(t / (mu sigma))).  Source: sec. 2.4."""
    return erfc(u)


def sphere_step_moment(T) -> np.ndarray:
    """Moment of the current induced in a sphere by a step of uniform field, over its first value -2 pi R^3 B_0 / mu_0.

        m / m(0+) = (6 / pi^2) sum exp(-n^2 pi^2 T) / n^2

    Source: W. R. Smythe, Static and Dynamic Electricity, ch. 10; the series is Carslaw and Jaeger, sec. 9.3.
    """
    n = np.arange(1, TERMS + 1)
    return 6 / math.pi**2 * _decay(T, n * math.pi) @ n**-2.0


def _slab_numbers() -> tuple[np.ndarray, np.ndarray]:
    """k_n and (-1)^n."""
    n = np.arange(TERMS)
    return (n + 0.5) * math.pi, (-1.0) ** n


def _decay(T, numbers) -> np.ndarray:
    """exp(-k^2 T), the last axis running over the numbers k."""
    return np.exp(-np.square(numbers) * np.asarray(T, dtype=float)[..., None])
