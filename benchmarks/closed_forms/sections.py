"""Conductors with a section: mean distances, thick coils and rings by Neumann's integral over the section.

The inductance for one turn that fills the section S with the current share w (integral of w over S = 1) is

    L = integral over S and S of  w(x) w(x') M(x, x')  dS dS',   M the mutual inductance of two circles,

the magnetic-energy inductance.  Source: F. E. Neumann (1845); Maxwell (1873), vol. II, art. 704.
"""
from __future__ import annotations

import math

import numpy as np
from scipy.special import j0, j1, struve

from benchmarks.closed_forms.loops import mutual_inductance
from fieldsolve.constants import MU_0


def rectangle_mean_distance(width, height) -> float:
    """Geometric mean distance of a rectangle from itself.

        ln g = ln(d) - (p^2 ln(1 + 1/p^2) + ln(1 + p^2)/p^2) / 12 + (2/3) (p atan(1/p) + atan(p)/p) - 25/12

    with d the diagonal, p = width / height; lengths in any one unit, as the result.
    Source: J. C. Maxwell, Trans. R. Soc. Edinburgh 26 (1872) 729; Treatise, vol. II, art. 692.
    """
    p = width / height
    logarithms = p**2 * math.log1p(1 / p**2) + math.log1p(p**2) / p**2
    angles = p * math.atan(1 / p) + math.atan(p) / p
    return math.exp(math.log(math.hypot(width, height)) - logarithms / 12 + 2 / 3 * angles - 25 / 12)


def line_mean_distance(length) -> float:
    """Geometric mean distance of a straight line from itself:  g = length exp(-3/2).  Source: Maxwell, art. 692."""
    return length * math.exp(-1.5)


def disc_mean_distance(radius) -> float:
    """Geometric mean distance of a circular disc from itself:  g = radius exp(-1/4).  Source: Maxwell, art. 692."""
    return radius * math.exp(-0.25)


def thick_coil_inductance(inner_radius, outer_radius, length, nodes=40) -> float:
    """Self inductance, for one turn squared, of a coil of rectangular section with uniform current density.

        L = 4 / (w b)^2  integral_0^w d(delta) integral_0^b dd (b - d) integral_R1^(R2 - delta) M(r, r + delta, d) dr

    lengths in metres; `nodes` Gauss points in each of delta and d.  Returns henry.
    The logarithm at delta = d = 0 is taken away by two triangles that shrink onto that corner (Duffy's
    substitution), with t = s^3 along them.
    Source: Neumann's integral; M. G. Duffy, SIAM J. Numer. Anal. 19 (1982) 1260.
    """
    width = outer_radius - inner_radius
    s, w_s = _unit_rule(nodes)
    t, w_t = s**3, 3 * s**2 * w_s
    near, far = t[:, None] * np.ones(nodes), t[:, None] * s
    weight = width * length * (w_t * t)[:, None] * w_s
    total = sum(
        np.sum(weight * (length - length * y) * _radial_integral(inner_radius, outer_radius, width * x, length * y))
        for x, y in ((near, far), (far, near))
    )
    return float(4 * total / (width * length) ** 2)


def _radial_integral(inner_radius, outer_radius, delta, distance, nodes=24) -> np.ndarray:
    """Integral of M(r, r + delta, distance) over r from inner_radius to outer_radius - delta; H m, shape of delta."""
    x, w = _unit_rule(nodes)
    reach = outer_radius - inner_radius - delta
    r = inner_radius + reach[..., None] * x
    return reach * (mutual_inductance(r, r + delta[..., None], distance[..., None]) @ w)


def thick_coil_inductance_by_bessel(inner_radius, outer_radius, length, reach=4000.0, step=0.5) -> float:
    """The same inductance by a second road, over wave numbers; good to about 1e-9.

        L = (2 pi mu0 / (w b)^2)  integral_0^inf  P(k)^2 (k b - 1 + exp(-k b)) / k^2  dk
    P is `winding_flux`; lengths in metres; k R2 runs to `reach` in panels of `step` with eight Gauss points.  Returns henry.
    Source: the Bessel integral of the coaxial loops.
    """
    x, w = _unit_rule(8)
    k = (step * (np.arange(round(reach / step))[:, None] + x)).ravel() / outer_radius
    weight = np.tile(step * w, round(reach / step)) / outer_radius
    flux = winding_flux(inner_radius, outer_radius, k)
    axial = (k * length + np.expm1(-k * length)) / k**2
    return float(2 * math.pi * MU_0 * np.sum(weight * flux**2 * axial) / ((outer_radius - inner_radius) * length) ** 2)


def winding_flux(inner_radius, outer_radius, k) -> np.ndarray:
    """Weight of the wave number k (1/m) in the field of a winding; m^2, shape of k.

        P(k) = integral_R1^R2 r J_1(k r) dr = (pi / 2k) [ r (J_1 H_0 - J_0 H_1)(k r) ]_R1^R2,   H Struve's functions

    radii in metres.  Source: DLMF 10.22.2.
    """
    return math.pi / (2 * k) * (_struve_term(outer_radius, k) - _struve_term(inner_radius, k))


def _struve_term(r, k) -> np.ndarray:
    """r (J_1 H_0 - J_0 H_1) at k r; metres."""
    return r * (j1(k * r) * struve(0, k * r) - j0(k * r) * struve(1, k * r))


def thick_pair_inductance(mean_radii, width, height, centre_distance, nodes=12) -> float:
    """Mutual inductance, for one turn in each, of two coaxial coils of equal rectangular section that do not touch.

        M = 1 / (w^2 h^2)  integral over both sections of M(r, r', z - z')

    lengths in metres; `nodes` Gauss points along each of four edges.  Returns henry.  Source: Neumann's integral.
    """
    x, w = _unit_rule(nodes)
    r = mean_radii[0] + width * (x - 0.5)[:, None, None, None]
    r_other = mean_radii[1] + width * (x - 0.5)[:, None, None]
    distance = centre_distance + height * (x[:, None] - x)
    return float(np.einsum("abcd,a,b,c,d->", mutual_inductance(r, r_other, distance), w, w, w, w))


def thin_ring_inductance(ring_radius, wire_radius) -> float:
    """Ring of round wire with uniform current density, to second order in the wire radius.

        L = mu0 R [ (1 + a^2 / (8 R^2)) ln(8 R / a) - 7/4 + a^2 / (24 R^2) ]

    lengths in metres.  Returns henry.
    Source: Lord Rayleigh and W. D. Niven, Proc. R. Soc. 32 (1881) 104.
    """
    squared = (wire_radius / ring_radius) ** 2
    return MU_0 * ring_radius * ((1 + squared / 8) * math.log(8 * ring_radius / wire_radius) - 1.75 + squared / 24)


def ring_inductance(ring_radius, wire_radius, resistive=False, nodes=24) -> float:
    """Ring of round wire by direct integration; current density uniform, or `resistive`: as 1/r.

        w = 1 / (pi a^2)   or   w = 1 / (2 pi r (R - sqrt(R^2 - a^2)))

    lengths in metres.  Returns henry; good to about 1e-9 of it.
    The outer integral runs over polar coordinates (q, theta) of the wire, the inner over the fan of triangles from the
    point to the wire's edge, where area = t b (b - q cos psi) dt dpsi; both are graded to the logarithm.
    Source: Neumann's integral.
    """
    x, w = _unit_rule(nodes)
    theta = 2 * math.pi * np.arange(nodes) / nodes
    q = wire_radius * x[:, None]
    potential = _section_flux(ring_radius, wire_radius, q, theta, resistive, nodes)
    r = ring_radius + q * np.cos(theta)
    area = (wire_radius**2 * w * x)[:, None] * (2 * math.pi / nodes)
    return float(np.sum(area * _share(r, ring_radius, wire_radius, resistive) * potential))


def _section_flux(ring_radius, wire_radius, q, theta, resistive, nodes) -> np.ndarray:
    """Flux (Wb for 1 A in the ring) through the circles at wire-polar points (q, theta); shape (n_q, n_theta)."""
    s, w_s = _unit_rule(nodes)
    t, w_t = s**3, 3 * s**2 * w_s
    psi = np.concatenate([-math.pi * t[::-1], math.pi * t])
    w_psi = math.pi * np.concatenate([w_t[::-1], w_t])
    r, z = ring_radius + q * np.cos(theta), q * np.sin(theta)
    angle = theta[:, None] + psi
    to_r = (ring_radius + wire_radius * np.cos(angle))[None] - r[..., None]
    to_z = (wire_radius * np.sin(angle))[None] - z[..., None]
    fan = wire_radius * (wire_radius - q[..., None] * np.cos(psi)) * w_psi
    total = np.zeros(r.shape)
    for share, weight in zip(t, w_t * t, strict=True):
        r_source = r[..., None] + share * to_r
        mutual = mutual_inductance(r[..., None], r_source, share * to_z)
        total += weight * np.sum(fan * mutual * _share(r_source, ring_radius, wire_radius, resistive), axis=-1)
    return total


def _share(r, ring_radius, wire_radius, resistive) -> np.ndarray:
    """Current density for 1 A at radius r, in A/m2."""
    if resistive:
        return 1 / (2 * math.pi * r * (ring_radius - math.sqrt(ring_radius**2 - wire_radius**2)))
    return np.full_like(r, 1 / (math.pi * wire_radius**2))


def _unit_rule(nodes) -> tuple[np.ndarray, np.ndarray]:
    """Gauss-Legendre nodes and weights on [0, 1]."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    return (x + 1) / 2, w / 2
