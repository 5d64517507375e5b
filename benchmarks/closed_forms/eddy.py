"""Eddy currents at one frequency: round wire, long cylinder, spheres, coils over a plate, thin discs.

Phasors are peak values with exp(+j omega t), powers and forces time means, and k^2 = -j omega mu_0 sigma inside metal.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import j1, jve

from benchmarks.closed_forms.loops import mutual_inductance
from benchmarks.closed_forms.sections import rectangle_mean_distance, winding_flux
from fieldsolve.constants import MU_0

# --- wire and cylinder -------------------------------------------------------------------------------------------


def wire_impedance_ratio(x) -> np.ndarray:
    """Internal impedance of a straight round wire over its resistance to direct current, complex.

        Z / R_dc = (k a / 2) J_0(k a) / J_1(k a),   k a = x exp(-j pi / 4),   x = a sqrt(omega mu_0 sigma)

    x a pure number, array or scalar.  Its real part is the ratio of resistances.
    Source: Lord Kelvin (1889); W. R. Smythe, Static and Dynamic Electricity, sec. 10.04.
    """
    ka = np.asarray(x, dtype=float) * np.exp(-0.25j * math.pi)
    return ka / 2 * jve(0, ka) / jve(1, ka)


def wire_inductance_ratio(x) -> np.ndarray:
    """Internal inductance of a straight round wire over mu_0 / (8 pi), that of uniform current: 8 Im(Z / R_dc) / x^2."""
    return 8 * wire_impedance_ratio(x).imag / np.asarray(x, dtype=float) ** 2


def cylinder_effective_permeability(q) -> np.ndarray:
    """Mean axial flux density over the section of a long cylinder in an axial field, over the field applied, complex.

        mu_eff = 2 J_1(k a) / (k a J_0(k a)),   k a = sqrt(q) exp(-j pi / 4),   q = a^2 omega mu_0 sigma

    q a pure number, array or scalar.
    Source: F. Foerster, Z. Metallkunde 43 (1952) 163; W. R. Smythe, sec. 10.
    """
    ka = np.sqrt(np.asarray(q, dtype=float)) * np.exp(-0.25j * math.pi)
    return 2 * jve(1, ka) / (ka * jve(0, ka))


def cylinder_centre_field(q) -> np.ndarray:
    """Axial flux density on the axis of that cylinder over the field applied:  1 / J_0(k a), complex.  Source: the same."""
    ka = np.sqrt(np.asarray(q, dtype=float)) * np.exp(-0.25j * math.pi)
    return np.exp(-np.abs(ka.imag)) / jve(0, ka)


# --- spheres -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ShellField:
    """A hollow sphere of mu_0 in a uniform field along z:  A_phi = f(rho) sin(theta).

        f = cavity rho / 2                                  rho < inner
        f = growing g_+(rho) + falling g_-(rho)             in the metal, `_waves`
        f = applied rho / 2 + outside / rho^2               rho > outer

    inner, outer in metres, conductivity in S/m, applied and `cavity`, the flux density inside, in tesla.
    """

    inner: float
    outer: float
    conductivity: float
    omega: float
    applied: float
    cavity: complex
    growing: complex
    falling: complex
    outside: complex

    def vector_potential(self, rho, theta) -> np.ndarray:
        """A_phi in Wb/m."""
        return self._f(np.asarray(rho, dtype=float))[0] * np.sin(theta)

    def flux_density(self, rho, theta) -> tuple[np.ndarray, np.ndarray]:
        """(B_rho, B_theta) in tesla:  2 f cos(theta) / rho  and  -(f / rho + f') sin(theta)."""
        rho = np.asarray(rho, dtype=float)
        f, slope = self._f(rho)
        return 2 * f / rho * np.cos(theta), -(f / rho + slope) * np.sin(theta)

    def current_density(self, rho, theta) -> np.ndarray:
        """J_phi = -j omega sigma A_phi in A/m^2 for points of the metal, its surfaces included."""
        return -1j * self.omega * self.conductivity * self.vector_potential(rho, theta)

    @property
    def dipole_moment(self) -> complex:
        """Magnetic moment along z in A m^2:  4 pi outside / mu_0."""
        return 4 * math.pi * self.outside / MU_0

    @property
    def loss(self) -> float:
        """Mean heat in watt, the power that the applied field feeds into the dipole:  -omega B_0 Im(m) / 2."""
        return -0.5 * self.omega * self.applied * self.dipole_moment.imag

    def _f(self, rho) -> np.ndarray:
        """f and f' in a stack."""
        waves = _waves(rho, self.inner, self.outer, self.omega * MU_0 * self.conductivity)
        metal = self.growing * waves[0] + self.falling * waves[1]
        inside = 0.5 * self.cavity * np.stack([rho, np.ones_like(rho)])
        outer = 0.5 * self.applied * np.stack([rho, np.ones_like(rho)]) + self.outside * np.stack([rho**-2, -2 * rho**-3])
        return np.where(rho < self.inner, inside, np.where(rho > self.outer, outer, metal))


def shell_field(inner_radius, outer_radius, conductivity, frequency, applied) -> ShellField:
    """Hollow sphere in a uniform alternating field: f and f' are continuous at both surfaces.

    Source: W. R. Smythe, Static and Dynamic Electricity, sec. 10; C. R. I. Emson, COMPEL 7 (1988) 89.
    """
    a, b, omega = inner_radius, outer_radius, 2 * math.pi * frequency
    (grown, fallen), (growing, falling) = (_waves(np.array(rho), a, b, omega * MU_0 * conductivity) for rho in (a, b))
    matrix = np.zeros((4, 4), dtype=complex)
    matrix[:2] = np.stack([np.array([a / 2, 1 / 2]), -grown, -fallen, np.zeros(2)], axis=1)
    matrix[2:] = np.stack([np.zeros(2), growing, falling, np.array([-(b**-2), 2 * b**-3])], axis=1)
    solved = np.linalg.solve(matrix, np.array([0, 0, applied * b / 2, applied / 2]))
    return ShellField(a, b, conductivity, omega, applied, *solved.tolist())


def _waves(rho, inner, outer, omega_mu_sigma) -> tuple[np.ndarray, np.ndarray]:
    """Spherical waves of order 1, growing and falling outward, each with its slope in a stack; 1 and 1/m.

        g_+ = exp(kappa (rho - outer)) (1/x - 1/x^2),   g_- = exp(-kappa (rho - inner)) (1/x + 1/x^2),   x = kappa rho

    kappa^2 = j omega mu_0 sigma.
    """
    kappa = np.sqrt(1j * omega_mu_sigma)
    x = kappa * rho

    def wave(sign, start):
        return np.exp(sign * kappa * (rho - start)) * np.stack([1 / x - sign / x**2, kappa * (sign / x - 2 / x**2 + 2 * sign / x**3)])

    return wave(1, outer), wave(-1, inner)


def sphere_moment(radius, conductivity, frequency) -> complex:
    """Magnetic moment of a solid sphere in a uniform alternating field over 4 pi R^3 B_0 / mu_0, complex.

        -1/2 [ 1 - 3 / (k R)^2 + 3 cot(k R) / (k R) ]

    radius in metres, conductivity in S/m, frequency in hertz.
    Source: L. D. Landau, E. M. Lifshitz, Electrodynamics of Continuous Media, sec. 59, problem 1.
    """
    kR = radius * math.sqrt(2 * math.pi * frequency * MU_0 * conductivity) * np.exp(-0.25j * math.pi)
    rotated = np.exp(-2j * kR)                  # decays, for Im(k) < 0
    cot = 1j * (1 + rotated) / (1 - rotated)
    return complex(-0.5 * (1 - 3 / kR**2 + 3 * cot / kR))


def sphere_loss(radius, conductivity, frequency, applied) -> float:
    """Mean heat of that sphere in watt:  -omega B_0 Im(m) / 2, applied in tesla.  Source: the same."""
    moment = 4 * math.pi * radius**3 * applied / MU_0 * sphere_moment(radius, conductivity, frequency)
    return -0.5 * 2 * math.pi * frequency * applied * moment.imag


def sphere_field(radius, conductivity, frequency, r, z) -> np.ndarray:
    """B_r and B_z, complex, of that sphere in a field of 1 T at points off its centre: A_phi is

        C j_1(k s) sin(theta) inside,  (s / 2 + D / s^2) sin(theta) outside,  D = R^3 times the moment above,  C from A at s = R

    Shape (2, points).  Source: the same.
    """
    k = math.sqrt(2 * math.pi * frequency * MU_0 * conductivity) * np.exp(-0.25j * math.pi)
    s, theta, D = np.hypot(r, z), np.arctan2(r, z), radius**3 * sphere_moment(radius, conductivity, frequency)
    x = k * np.minimum(s, radius)
    j_0, j_1 = np.sin(x) / x, np.sin(x) / x**2 - np.cos(x) / x
    C = (radius / 2 + D / radius**2) / (np.sin(k * radius) / (k * radius) ** 2 - np.cos(k * radius) / (k * radius))
    outward = np.where(s < radius, 2 * C * j_1 / s, 1 + 2 * D / s**3) * np.cos(theta)
    polar = np.where(s < radius, C * (j_1 - x * j_0) / s, D / s**3 - 1) * np.sin(theta)
    return np.stack([outward * np.sin(theta) + polar * np.cos(theta), outward * np.cos(theta) - polar * np.sin(theta)])


# --- coils over a plate ------------------------------------------------------------------------------------------


def plate_reflection(wave_number, conductivity, frequency, thickness=math.inf) -> np.ndarray:
    """What a plate of mu_0 sends back of a field exp(-alpha z) J_1(alpha r), complex.

        Gamma = (alpha^2 - beta^2) (1 - E) / ((alpha + beta)^2 - (alpha - beta)^2 E),   beta^2 = alpha^2 + j omega mu_0 sigma,
        E = exp(-2 beta thickness);  for a half-space (alpha - beta) / (alpha + beta)

    wave_number alpha in 1/m, thickness in metres.  -1 for a perfect conductor.
    Source: C. V. Dodd, W. E. Deeds, J. Appl. Phys. 39 (1968) 2829.
    """
    alpha = np.asarray(wave_number, dtype=float)
    beta = np.sqrt(alpha**2 + 2j * math.pi * frequency * MU_0 * conductivity)
    E = np.exp(-2 * beta * thickness) if math.isfinite(thickness) else 0.0
    return (alpha**2 - beta**2) * (1 - E) / ((alpha + beta) ** 2 - (alpha - beta) ** 2 * E)


@dataclass(frozen=True)
class PlateEffect:
    """What a plate does to a coil over it: change of inductance (H), of resistance (ohm), mean repulsion per squared peak current."""

    inductance_change: float
    resistance_change: float
    repulsion: float


def loop_over_plate(radius, height, conductivity, frequency, thickness=math.inf) -> PlateEffect:
    """One turn without section, `height` above a plate of infinite width; lengths in metres.

        Delta Z = j omega pi mu_0 a^2 integral_0^inf J_1(alpha a)^2 exp(-2 alpha h) Gamma(alpha) d(alpha)

    Source: C. V. Dodd, W. E. Deeds, J. Appl. Phys. 39 (1968) 2829.
    """

    def shape(alpha):
        return radius * j1(alpha * radius) * np.exp(-alpha * height)

    return _over_plate(shape, radius, height, conductivity, frequency, thickness)


def coil_over_plate(inner_radius, outer_radius, length, turns, lift_off, conductivity, frequency, thickness=math.inf) -> PlateEffect:
    """A winding of rectangular section and uniform current density, `lift_off` above a plate of infinite width; metres.

        Delta Z = j omega pi mu_0 (N / (w b))^2 integral_0^inf [ P(alpha) exp(-alpha l) (1 - exp(-alpha b)) / alpha ]^2 Gamma d(alpha)

    P = integral of r J_1(alpha r) dr over the winding.  Source: C. V. Dodd, W. E. Deeds, J. Appl. Phys. 39 (1968) 2829.
    """
    density = turns / ((outer_radius - inner_radius) * length)

    def shape(alpha):
        return density * winding_flux(inner_radius, outer_radius, alpha) * np.exp(-alpha * lift_off) * -np.expm1(-alpha * length) / alpha

    return _over_plate(shape, outer_radius, lift_off, conductivity, frequency, thickness)


def _over_plate(shape: Callable[[np.ndarray], np.ndarray], radius, height, conductivity, frequency, thickness) -> PlateEffect:
    """Integrals over wave numbers of shape^2 Gamma, in panels of half a unit of alpha radius, until exp(-2 alpha height) is gone."""
    x, w = np.polynomial.legendre.leggauss(8)
    panel = 0.5 / radius
    starts = panel * np.arange(math.ceil(20 / height / panel))
    alpha = (starts[:, None] + panel * (x + 1) / 2).ravel()
    weight = np.tile(panel / 2 * w, len(starts)) * math.pi * MU_0 * shape(alpha) ** 2
    reflected = weight * plate_reflection(alpha, conductivity, frequency, thickness)
    inductance = complex(reflected.sum())
    return PlateEffect(inductance.real, -2 * math.pi * frequency * inductance.imag, float(-0.5 * (alpha * reflected).sum().real))


def loop_over_perfect_conductor(radius, height) -> float:
    """Change of a loop's inductance in henry: minus the mutual inductance with its image.  Source: method of images."""
    return -float(mutual_inductance(radius, radius, 2 * height))


# --- discs in a uniform field ------------------------------------------------------------------------------------


def disc_low_frequency_loss(radius, thickness, conductivity, frequency, applied) -> np.ndarray:
    """Mean heat of a disc whose currents do not yet change the field, or of one layer of a clad disc.

        P = pi sigma omega^2 B_0^2 R^4 t / 16

    metres, S/m, hertz, tesla (peak).  Returns watt.  Source: E = omega B_0 r / 2 over the volume.
    """
    omega = 2 * math.pi * np.asarray(frequency, dtype=float)
    return math.pi * np.asarray(conductivity) * omega**2 * applied**2 * radius**4 * np.asarray(thickness) / 16


def disc_loss_by_rings(radius, thickness, conductivity, frequency, applied, rings=100, layers=2) -> float:
    """Mean heat of a disc in watt, its own field included: coaxial rings of rectangular section as coupled circuits.

        sum over k' of (R_k delta_kk' + j omega M_kk') I_k' = -j omega pi r_k^2 B_0

    metres, S/m, hertz, tesla (peak); good to three or four digits with 100 x 2 rings.
    Source: coupled circuits, with the rings' self inductance mu_0 r (ln(8 r / g) - 2), g their mean distance (Maxwell).
    """
    width, height = radius / rings, thickness / layers
    r, z = (axis.ravel() for axis in np.meshgrid(width * (np.arange(rings) + 0.5), height * np.arange(layers)))
    own = MU_0 * r * (np.log(8 * r / rectangle_mean_distance(width, height)) - 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        M = mutual_inductance(r[:, None], r, z[:, None] - z)
    np.fill_diagonal(M, own)
    resistance, omega = 2 * math.pi * r / (conductivity * width * height), 2 * math.pi * frequency
    current = np.linalg.solve(np.diag(resistance) + 1j * omega * M, -1j * omega * math.pi * r**2 * applied)
    return float(0.5 * (resistance * np.abs(current) ** 2).sum())
