"""The prescribed field u = U(r, z) T(t), what it induces in metal at rest or moving, and the current density that it needs."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchmarks.manufactured.rectangle import SIDE

Coefficient = Callable[[np.ndarray, np.ndarray], np.ndarray]            # of r and z in m


@dataclass(frozen=True)
class Reluctivity:
    """nu in m/H as a function of r and z, with its slopes by r and z."""

    value: Coefficient
    by_r: Coefficient = lambda r, z: np.zeros_like(r)
    by_z: Coefficient = lambda r, z: np.zeros_like(r)


def smooth_reluctivity(scale: float) -> Reluctivity:
    """nu = scale (2 + sin(r / SIDE + 2 z / SIDE))."""
    def phase(r, z):
        return (r + 2 * z) / SIDE
    return Reluctivity(lambda r, z: scale * (2 + np.sin(phase(r, z))), lambda r, z: scale / SIDE * np.cos(phase(r, z)),
                       lambda r, z: 2 * scale / SIDE * np.cos(phase(r, z)))


def shape(r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """U = B cos(r^2 / SIDE^2 + 2 z / SIDE) in tesla, even in r as a field at the axis is, and its slopes U_r and U_z."""
    phase = (r / SIDE) ** 2 + 2 * z / SIDE
    return AMPLITUDE * np.cos(phase), -2 * r / SIDE**2 * AMPLITUDE * np.sin(phase), -2 / SIDE * AMPLITUDE * np.sin(phase)


def flux_density(r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """B_r = -r U_z and B_z = 2U + r U_r in tesla."""
    U, U_r, U_z = shape(r, z)
    return -r * U_z, 2 * U + r * U_r


def curl_of_field(nu: Reluctivity, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """d H_r / dz - d H_z / dr of H = nu B, in A/m^2."""
    phase = (r / SIDE) ** 2 + 2 * z / SIDE
    U, U_r, U_z = shape(r, z)
    U_rr = -2 / SIDE**2 * AMPLITUDE * np.sin(phase) - (2 * r / SIDE**2) ** 2 * U
    U_zz = -((2 / SIDE) ** 2) * U
    of_nu = nu.by_z(r, z) * r * U_z + nu.by_r(r, z) * (2 * U + r * U_r)
    return -nu.value(r, z) * (r * U_zz + 3 * U_r + r * U_rr) - of_nu


AMPLITUDE = 10.0                    # tesla
END_TIME = 5e-3                     # s, a fifth of the time in which the field goes through SIDE of copper
OMEGA = 2.0 / END_TIME              # 1/s


def growth(time: float) -> float:
    """T = 1 - cos(omega t): field and rate are zero at t = 0."""
    return 1 - math.cos(OMEGA * time)


def growth_rate(time: float) -> float:
    """T' in 1/s."""
    return OMEGA * math.sin(OMEGA * time)


def action(time: float) -> float:
    """The integral of T'^2 from 0 on, in 1/s."""
    return OMEGA**2 * (0.5 * time - math.sin(2 * OMEGA * time) / (4 * OMEGA))


SHRINKING = 0.1


def stretch(time: float) -> float:
    """s of a body that moves by r = s R, z = Z / s^2, which keeps its volume."""
    return 1 - SHRINKING * (1 - math.cos(OMEGA * time))


def stretch_rate(time: float) -> float:
    """s' in 1/s."""
    return -SHRINKING * OMEGA * math.sin(OMEGA * time)


def electric_field(r: np.ndarray, z: np.ndarray, time: float, moves: bool) -> np.ndarray:
    """E = -(1/r) D(r^2 u)/Dt in V/m, the derivative following the metal: -r U T' - T (v_r (2U + r U_r) + v_z r U_z)."""
    U, U_r, U_z = shape(r, z)
    rate = stretch_rate(time) / stretch(time) if moves else 0.0
    v_r, v_z = rate * r, -2 * rate * z
    return -r * U * growth_rate(time) - growth(time) * (v_r * (2 * U + r * U_r) + v_z * r * U_z)


@dataclass(frozen=True)
class HeatedMetal:
    """Metal whose resistivity rises with its heat h in J/m^3, rho = rho_0 (1 + beta h), at rest in the prescribed field.

    dh/dt = E^2 / rho with E = -r U T' gives  h + beta h^2 / 2 = sigma_0 (r U)^2 integral of T'^2.
    """

    conductivity: float
    beta: float

    def enthalpy(self, r: np.ndarray, z: np.ndarray, time: float) -> np.ndarray:
        """h in J/m^3."""
        cold = self._cold_heat(r, z, time)
        return 2 * cold / (1 + np.sqrt(1 + 2 * self.beta * cold))

    def hot_conductivity(self, r: np.ndarray, z: np.ndarray, time: float) -> np.ndarray:
        """sigma in S/m."""
        return self.conductivity / np.sqrt(1 + 2 * self.beta * self._cold_heat(r, z, time))

    def _cold_heat(self, r: np.ndarray, z: np.ndarray, time: float) -> np.ndarray:
        return self.conductivity * (r * shape(r, z)[0]) ** 2 * action(time)
