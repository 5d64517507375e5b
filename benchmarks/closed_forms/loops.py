"""Circular line currents: field, mutual inductance and force, free of cancellation on the axis.

Everything is written with the longest and shortest distance between point and loop,

    r1 = sqrt((a + r)^2 + z^2),  r2 = sqrt((a - r)^2 + z^2),  s = r1 + r2,  k'^2 = 4 r1 r2 / s^2,

that is after one descending Landen step (k = (r1 - r2)/s), where K - E = k^2 R_D(0, k'^2, 1)/3 is
Carlson's symmetric integral and stays exact as r goes to 0.
Sources: J. C. Maxwell, A Treatise on Electricity and Magnetism (1873), vol. II, arts. 701-702;
NIST Digital Library of Mathematical Functions, 19.8.12 (Landen), 19.25.1 (R_D), 19.34.5 (loops).
"""
from __future__ import annotations

import math

import numpy as np
from scipy.special import ellipe, ellipkm1, elliprd

from fieldsolve.constants import MU_0


def mutual_inductance(radius_1, radius_2, distance) -> np.ndarray:
    """Mutual inductance of two coaxial circles.

        M = (16/3) mu0 (A a)^2 / s^3  R_D(0, k'^2, 1)

    radius_1, radius_2, distance   metres, arrays of one shape or scalars
    Returns henry, the broadcast shape.  Infinite where the circles coincide.
    Source: Maxwell (1873) art. 701; DLMF 19.34.5.
    """
    r1, r2, s = _distances(radius_1, radius_2, distance)
    return 16 / 3 * MU_0 * (radius_1 * radius_2) ** 2 / s**3 * elliprd(0.0, 4 * r1 * r2 / s**2, 1.0)


def mutual_inductance_gradient(radius_1, radius_2, distance) -> np.ndarray:
    """Change of the mutual inductance with the distance; times I1 I2 it is the axial force on circle 2.

        dM/dd = -32 mu0 d (A a)^2 / (s^3 r1 r2)  [ E(k) / k'^2 - R_D(0, k'^2, 1) / 6 ]

    radius_1, radius_2, distance   metres
    Returns H/m (newton for a square ampere); negative for d > 0: like currents attract.
    Source: derivative of DLMF 19.34.5 by 19.4.1-2; the force is Maxwell (1873) art. 706.
    """
    r1, r2, s = _distances(radius_1, radius_2, distance)
    complement = 4 * r1 * r2 / s**2
    bracket = ellipe(((r1 - r2) / s) ** 2) / complement - elliprd(0.0, complement, 1.0) / 6
    return -32 * MU_0 * distance * (radius_1 * radius_2) ** 2 / (s**3 * r1 * r2) * bracket


def loop_vector_potential(radius, current, r, z) -> np.ndarray:
    """Vector potential of a circular loop about the axis, centred at z = 0.

        A_phi = M(a, r, z) I / (2 pi r) = (8 / (3 pi)) mu0 I a^2 r / s^3  R_D(0, k'^2, 1)

    radius, r, z in metres, current in ampere.  Returns Wb/m; zero on the axis.
    Source: W. R. Smythe, Static and Dynamic Electricity, sec. 7.10.
    """
    r1, r2, s = _distances(radius, r, z)
    return 8 / (3 * math.pi) * MU_0 * current * radius**2 * r / s**3 * elliprd(0.0, 4 * r1 * r2 / s**2, 1.0)


def loop_flux_density(radius, current, r, z) -> tuple[np.ndarray, np.ndarray]:
    """Flux density (B_r, B_z) of a circular loop about the axis, centred at z = 0.

        B_z = mu0 I / (2 pi r1) [ K(m) + (a^2 - r^2 - z^2) / r2^2  E(m) ],   m = 4 a r / r1^2
        B_r = -(1 / (2 pi r)) I dM/dz,  M the mutual inductance with the circle through the point

    radius, r, z in metres, current in ampere.  Returns tesla.
    Source: W. R. Smythe, Static and Dynamic Electricity, sec. 7.10.
    """
    r1, r2, s = _distances(radius, r, z)
    k_integral, e_integral = ellipkm1((r2 / r1) ** 2), ellipe(1 - (r2 / r1) ** 2)
    b_z = MU_0 * current / (2 * math.pi * r1) * (k_integral + (radius**2 - r**2 - z**2) / r2**2 * e_integral)
    complement = 4 * r1 * r2 / s**2
    bracket = ellipe(((r1 - r2) / s) ** 2) / complement - elliprd(0.0, complement, 1.0) / 6
    b_r = 16 / math.pi * MU_0 * current * z * radius**2 * r / (s**3 * r1 * r2) * bracket
    return b_r, b_z


def pair_distance(radius, modular_angle_deg) -> np.ndarray:
    """Distance of two equal circles whose modulus is k = sin(gamma):  d = 2 a / tan(gamma).

    radius in metres, modular_angle_deg in degrees.  Returns metres.
    Source: k^2 = 4 A a / ((A + a)^2 + d^2), Maxwell (1873) art. 701.
    """
    return 2 * radius / np.tan(np.radians(modular_angle_deg))


def _distances(radius, r, z):
    """Longest and shortest distance between circle and point, and their sum; metres."""
    longest, shortest = np.hypot(radius + r, z), np.hypot(radius - r, z)
    return longest, shortest, longest + shortest
