"""Eddy currents that die away: decay times of a sphere, of spherical shells and of a long cylinder, all with mu = mu_0."""
from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq
from scipy.special import jn_zeros, spherical_jn, spherical_yn

from fieldsolve.constants import MU_0

SCAN = 400              # points between neighbouring zeros of the fastest of the functions, by which none is missed


def sphere_decay_times(conductivity: float, radius: float, count: int) -> list[float]:
    """Longest decay times of a solid sphere in seconds: mu_0 sigma a^2 / x^2 with j_(l-1)(x) = 0, l = 1, 2, ...; x = pi for the dipole.

    Source: H. Lamb, Phil. Trans. R. Soc. 174 (1883) 519; H. K. Moffatt, Magnetic Field Generation in Electrically Conducting Fluids
    (1978), sec. 2.7 (both from memory; the condition follows from a field that goes on outside as r^-(l+1)).
    """
    highest = np.pi * (count + 1)
    zeros = [x for order in range(1, count + 1) for x in _zeros(lambda x, order=order: spherical_jn(order - 1, x), highest)]
    return [MU_0 * conductivity * radius**2 / x**2 for x in sorted(zeros)[:count]]


def shell_decay_times(conductivity: float, inner_radius: float, outer_radius: float, count: int) -> list[float]:
    """Longest decay times of a spherical shell in seconds: mu_0 sigma / k^2 with j_(l-1)(k a) y_(l+1)(k b) = y_(l-1)(k a) j_(l+1)(k b).

    a, b the outer and the inner radius.  Inside the field goes on as r^l, outside as r^-(l+1).  Source: H. Lamb, as above.
    """
    def condition(x: np.ndarray, order: int) -> np.ndarray:
        y = x * inner_radius / outer_radius
        return (spherical_jn(order - 1, x) * spherical_yn(order + 1, y) - spherical_yn(order - 1, x) * spherical_jn(order + 1, y)) * y**2
    lowest = 0.5 * np.sqrt(3 / (1 - inner_radius / outer_radius))           # below the dipole's k a, which is sqrt(3 a / d) at least
    zeros = [x for order in range(1, count + 1)
             for x in _zeros(lambda x, order=order: condition(x, order), 4 * lowest * np.sqrt(count), lowest)]
    return [MU_0 * conductivity * outer_radius**2 / x**2 for x in sorted(zeros)[:count]]


def thin_shell_decay_time(conductivity: float, inner_radius: float, thickness: float) -> float:
    """Decay time of the dipole of a thin spherical shell in seconds: mu_0 sigma a d / 3.

    With a the inner radius what is left out is of the order (d / a)^2, as the condition of `shell_decay_times` shows.  Source: as above.
    """
    return MU_0 * conductivity * inner_radius * thickness / 3


def cylinder_decay_times(conductivity: float, radius: float, count: int) -> list[float]:
    """Longest decay times of a long cylinder in seconds, H = 0 on its surface: mu_0 sigma a^2 / x^2 with J_0(x) = 0.

    Source: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), sec. 7.6, B_z in place of the temperature.
    """
    return [float(MU_0 * conductivity * radius**2 / x**2) for x in jn_zeros(0, count)]


def _zeros(function: Callable[[np.ndarray], np.ndarray], highest: float, lowest: float = 1.0) -> list[float]:
    x = np.linspace(lowest, highest, int(SCAN * max(2.0, highest / np.pi)))
    values = function(x)
    return [float(brentq(function, x[k], x[k + 1], xtol=1e-14)) for k in np.flatnonzero(values[:-1] * values[1:] < 0)]
