"""A ring with one freedom, its radius, in a coil that a bank fires into: coupled filaments whose inductances follow the radius.

The ring's cells keep their place in its metal: the section scales with s = sqrt(a_0 / a) about its centre, so that its volume is kept.
With y = (I of the coil, what changes the turns' sections by nothing, currents of the ring's cells) and L(a) their inductances,

    d(L y)/dt + D(a) y = e_I V,   C V' = -I,   m a'' = 1/2 y . L'(a) y - sign(a') Y volume / a,

by the trapezoidal rule for the flux linkages and Heun's for the motion.  L(a) is the cubic spline through some radii.
Inductances: J. C. Maxwell, Treatise (1873), vol. II, arts. 701-706, as in `sections` and `coupling`.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.linalg import lu_factor, lu_solve

from benchmarks.filaments.modes import FilamentRig, scale_unknowns
from benchmarks.filaments.sections import Block, Wire
from benchmarks.filaments.shot import ArcBank

RADII = 14                  # at which L is worked out
SMALLEST = 0.5              # of the first radius
EULER_STEPS = 8              # at the start by the backward Euler rule, which damps what the sudden voltage sets ringing


@dataclass(frozen=True, eq=False)
class Ring:
    """Upper half of a ring of rectangular section: edges of its cells at the first radius, S/m, kg (of the ring), Pa."""

    radial_edges: np.ndarray
    axial_edges: np.ndarray
    conductivity: float
    mass: float
    flow_stress: float

    @property
    def radius(self) -> float:
        """First radius of the section's centre in metres."""
        return float(self.radial_edges[[0, -1]].mean())

    @property
    def volume(self) -> float:
        """Volume of the ring in m^3."""
        return 2 * math.pi * self.radius * float(np.ptp(self.radial_edges)) * 2 * float(np.ptp(self.axial_edges))

    def at(self, radius: float) -> Block:
        """The cells when the section's centre is at `radius`."""
        scale = math.sqrt(self.radius / radius)
        return Block(radius + (self.radial_edges - self.radius) * scale, self.axial_edges * scale, self.conductivity)


@dataclass(frozen=True, eq=False)
class RingHistory:
    """Coil and ring current (A), radius (m) and speed (m/s) over `times` (s)."""

    times: np.ndarray
    coil: np.ndarray
    ring: np.ndarray
    radius: np.ndarray
    speed: np.ndarray


def matrices(turns: tuple[Wire, ...], ring: Ring, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """L and the diagonal D of the unknowns y with the ring at a radius."""
    rig = FilamentRig(turns, {"ring": ring.at(radius)}, mirrored=True)
    L, scale, shares, starts = scale_unknowns(rig)
    firsts, body = starts[:len(turns)], slice(starts[len(turns)], None)
    cell = np.ones(len(L))
    cell[body] = 2 / shares[body]                               # from the current of a cell to its scaled unknown
    L = L * np.outer(cell, cell)
    kept = np.setdiff1d(np.arange(len(L)), firsts)
    joined = np.empty((len(kept) + 1, len(kept) + 1))
    joined[1:, 1:] = L[np.ix_(kept, kept)]
    joined[0, 1:] = joined[1:, 0] = scale @ L[np.ix_(firsts, kept)]
    joined[0, 0] = scale @ L[np.ix_(firsts, firsts)] @ scale
    return joined, np.concatenate([[np.sum(scale**2)], cell[kept] ** 2])


def discharge(turns: tuple[Wire, ...], ring: Ring, bank: ArcBank, end_time: float, steps: int) -> RingHistory:
    """The bank (without an arc) fired at t = 0 into the upper turns and their mirror images, in steps of one length."""
    radii = np.linspace(SMALLEST, 1.01, RADII) * ring.radius
    found = [matrices(turns, ring, radius) for radius in radii]
    L, D = CubicSpline(radii, [inductance for inductance, _ in found]), CubicSpline(radii, [resistance for _, resistance in found])
    cells = (len(ring.radial_edges) - 1) * (len(ring.axial_edges) - 1)
    return _march(L, D, ring, bank, end_time, steps, cells)


def _march(L: CubicSpline, D: CubicSpline, ring: Ring, bank: ArcBank, end_time: float, steps: int, cells: int) -> RingHistory:
    h, a, v, voltage = end_time / steps, ring.radius, 0.0, bank.voltage
    at, resistance_at = _with_bank(L, D, bank)
    y, force, slope, rows = np.zeros(len(resistance_at(a))), 0.0, L.derivative(), []
    for k in range(steps + 1):
        rows.append((k * h, y[0], 2 * y[-cells:].sum(), a, v))
        ahead, _ = _move_ring(ring, a, v, force, force, h)
        new, fallen = _flux_step(at(a), at(ahead), resistance_at(a), resistance_at(ahead), y, voltage, bank.capacitance, h, k < EULER_STEPS)
        voltage -= fallen
        after = 0.5 * float(new @ slope(ahead) @ new)
        a, v = _move_ring(ring, a, v, force, after, h)
        y, force = new, after
    return RingHistory(*np.array(rows).T)


def _with_bank(L: CubicSpline, D: CubicSpline, bank: ArcBank) -> tuple[Callable, Callable]:
    def at(radius):
        matrix = L(radius)
        matrix[0, 0] += bank.inductance
        return matrix

    def resistance_at(radius):
        diagonal = D(radius)
        diagonal[0] += bank.resistance
        return diagonal
    return at, resistance_at


def _flux_step(L: np.ndarray, L_new: np.ndarray, D: np.ndarray, D_new: np.ndarray, y: np.ndarray, voltage: float, capacitance: float,
               h: float, euler: bool) -> tuple[np.ndarray, float]:
    """New y and the fall of the bank's voltage in a step of the trapezoidal rule, or of the backward Euler rule."""
    share = 1.0 if euler else 0.5
    right = L @ y - (1 - share) * h * D * y
    right[0] += h * voltage - (1 - share) * share * h**2 / capacitance * y[0]
    matrix = L_new + share * h * np.diag(D_new)
    matrix[0, 0] += share**2 * h**2 / capacitance
    new = lu_solve(lu_factor(matrix, overwrite_a=True), right)
    return new, h / capacitance * ((1 - share) * y[0] + share * new[0])


def _move_ring(ring: Ring, a: float, v: float, force: float, after: float, h: float) -> tuple[float, float]:
    """Radius and speed after a step with the force linear in it; the ring is rigid below its flow stress and rests where it turns."""
    strength = ring.flow_stress * ring.volume
    way = math.copysign(1.0, v if v else force + after)
    if v == 0 and abs(force + after) / 2 <= strength / a:
        return a, 0.0
    first = (force - way * strength / a) / ring.mass
    second = (after - way * strength / (a + h * v)) / ring.mass
    speed = v + 0.5 * h * (first + second)
    if v and speed * v < 0:
        return a + 0.5 * v * h * v / (v - speed), 0.0
    return a + h * v + h**2 * (2 * first + second) / 6, speed
