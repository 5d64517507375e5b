"""Current sheets and thick coils: inductance of a sheet, fields on the axis, best shape for a given power."""
from __future__ import annotations

import math

import numpy as np
from scipy.optimize import minimize
from scipy.special import ellipe, ellipk

from fieldsolve.constants import MU_0


def nagaoka_coefficient(diameter_over_length) -> np.ndarray:
    """Inductance of a current sheet over that of the same length of an endless one.

        L = mu0 N^2 (pi a^2 / b) K_N,   k = 2 a / sqrt(4 a^2 + b^2),  k' = b / sqrt(4 a^2 + b^2)
        K_N = 4 / (3 pi k') [ (k'^2 / k^2) (K - E) + E - k ]

    diameter_over_length   2 a / b, a pure number.  Returns a pure number.
    Sources: L. Lorenz, Annalen der Physik 243 (1879) 161; H. Nagaoka, J. Coll. Sci. Tokyo 27 (1909) art. 6.
    """
    ratio = np.asarray(diameter_over_length, dtype=float)
    k, k_prime = ratio / np.sqrt(1 + ratio**2), 1 / np.sqrt(1 + ratio**2)
    first, second = ellipk(k**2), ellipe(k**2)
    return 4 / (3 * math.pi * k_prime) * (k_prime**2 / k**2 * (first - second) + second - k)


def sheet_inductance(radius, length, turns) -> np.ndarray:
    """Inductance of a current sheet:  L = mu0 N^2 (pi a^2 / b) K_N(2 a / b).

    radius, length in metres.  Returns henry.  Source: as `nagaoka_coefficient`.
    """
    return MU_0 * turns**2 * math.pi * radius**2 / length * nagaoka_coefficient(2 * radius / length)


def sheet_axis_field(radius, length, ampere_turns, z) -> np.ndarray:
    """B_z on the axis of a current sheet centred at z = 0.

        B_z = mu0 N I / (2 b) [ f(z + b/2) - f(z - b/2) ],   f(x) = x / sqrt(a^2 + x^2)

    radius, length, z in metres, ampere_turns in ampere.  Returns tesla, shape of z.
    Source: W. R. Smythe, Static and Dynamic Electricity, sec. 7.15; integral of the loop's axis field.
    """
    above, below = z + length / 2, z - length / 2
    return MU_0 * ampere_turns / (2 * length) * (above / np.hypot(radius, above) - below / np.hypot(radius, below))


def thick_coil_axis_field(inner_radius, outer_radius, length, current_density, z) -> np.ndarray:
    """B_z on the axis of a coil of rectangular section and uniform current density, centred at z = 0.

        B_z = (mu0 j / 2) [ g(z + b/2) - g(z - b/2) ],   g(x) = x ln( (R2 + sqrt(R2^2 + x^2)) / (R1 + sqrt(R1^2 + x^2)) )

    radii, length, z in metres, current_density in A/m2 of section.  Returns tesla, shape of z.
    Source: D. B. Montgomery, Solenoid Magnet Design (1969), ch. 1.
    """

    def g(x):
        return x * np.log((outer_radius + np.hypot(outer_radius, x)) / (inner_radius + np.hypot(inner_radius, x)))

    return 0.5 * MU_0 * current_density * (g(z + length / 2) - g(z - length / 2))


def field_factor(alpha, beta) -> np.ndarray:
    """Central field of a thick coil,  B0 = mu0 j a1 F.

        F = beta ln( (alpha + sqrt(alpha^2 + beta^2)) / (1 + sqrt(1 + beta^2)) )

    alpha = R2 / R1, beta = length / (2 R1), pure numbers.  Returns a pure number.
    Source: C. Fabry (1898); D. B. Montgomery, Solenoid Magnet Design (1969), ch. 1.
    """
    return beta * np.log((alpha + np.hypot(alpha, beta)) / (1 + np.hypot(1, beta)))


def power_factor(alpha, beta) -> np.ndarray:
    """Central field for a given power,  B0 = mu0 G sqrt(W lambda / (rho a1)).

        G = F(alpha, beta) / sqrt(2 pi beta (alpha^2 - 1))

    alpha, beta as in `field_factor`.  Returns a pure number.
    Source: C. Fabry (1898); J. D. Cockcroft, Phil. Trans. A 227 (1928) 317.
    """
    return field_factor(alpha, beta) / np.sqrt(2 * math.pi * beta * (alpha**2 - 1))


def best_power_shape() -> tuple[float, float, float]:
    """Shape (alpha, beta) of the uniform-current coil with the largest G, and that G.

    Found by the simplex search of Nelder and Mead on `power_factor`; pure numbers.
    Source of the problem: J. D. Cockcroft, Phil. Trans. A 227 (1928) 317.
    """
    found = minimize(lambda shape: -power_factor(*shape), x0=(2.0, 1.0), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-16})
    return float(found.x[0]), float(found.x[1]), float(-found.fun)
