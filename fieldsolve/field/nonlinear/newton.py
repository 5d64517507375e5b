"""The field of metal with B-H curves by Newton's method with a line search.

The residual of the weak form is  integral of r [H . curl(v) - nu_0 B_0 curl_z(v)] over this metal, and as everywhere else without it.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.linear_algebra.elimination_order import factorize_on_mesh
from fieldsolve.field.linear_algebra.solvers import Factor, LinearSolver
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from fieldsolve.field.system import magnetostatic
from fieldsolve.field.system.bh_curve_zone import BHCurveZone
from geometries.errors import SolveError
from geometries.mesh import Mesh

STEPS = 40                  # of Newton's method, at most
CONVERGED = 1e-10           # residual over the largest it could be, at which it ends
GOOD_DROP = 0.5             # of the residual along a step, with which its length is good
SEARCHES = 20               # lengths tried a step, at most


@dataclass(frozen=True, eq=False)
class NonlinearSolution:
    """The field of metal with curves, as Newton's method left it.

    u          unknown at the nodes; factor  of the tangent matrix there; secant  K with the secant reluctivity there
    residuals  after each step, relative to the largest it could be, that of the start first
    """

    zones: list[BHCurveZone]
    u: np.ndarray
    applied_field: float
    factor: Factor
    secant: csc_array
    residuals: list[float]

    @property
    def steps(self) -> int:
        """Number of steps taken."""
        return len(self.residuals) - 1

    @property
    def total(self) -> np.ndarray:
        """u with the applied field included, at the nodes of the inner domain."""
        return self.u + 0.5 * self.applied_field

    def nu(self, elsewhere: np.ndarray) -> np.ndarray:
        """Reluctivity of each triangle, in this metal its mean, elsewhere as given; (m,)."""
        nu = elsewhere.copy()
        for zone in self.zones:
            nu[zone.points.triangles] = zone.mean_reluctivity(self.total)
        return nu

    def excess_energy(self) -> tuple[float, float]:
        """What the energy and the co-energy in J of this metal are more than `half of H B`, which the secant matrix counts."""
        energy = sum(float(zone.energy(self.total).sum()) for zone in self.zones)
        coenergy = sum(float(zone.coenergy(self.total).sum()) for zone in self.zones)
        return (energy - coenergy) / 2, (coenergy - energy) / 2

    def moment(self) -> float:
        """Magnetic moment of this metal along z in A m^2."""
        return sum(zone.moment(self.total) for zone in self.zones)


@dataclass(frozen=True, eq=False)
class NonlinearStiffness:
    """K of a mesh with metal that saturates: a linear part that stays, and the zones with curves at any field.

    linear_local  local matrices of all but the zones; linear_stiffness  the same assembled
    """

    mesh: Mesh
    zones: list[BHCurveZone]
    applied_field: float
    linear_local: np.ndarray
    linear_stiffness: csc_array

    def matrix(self, u: np.ndarray, tangent: bool) -> csc_array:
        """Lower triangle of K with the secant or the tangent reluctivity at a field."""
        local = self.linear_local.copy()
        for zone in self.zones:
            local[zone.points.triangles] = zone.matrices(u + 0.5 * self.applied_field, tangent)
        return magnetostatic.assemble_stiffness(self.mesh, local)

    def forces(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """K(u) u less what the applied field does to the zones, and the sum of the magnitudes it is made of; each (n,)."""
        total = u + 0.5 * self.applied_field
        terms = [multiply_symmetric(self.linear_stiffness, u)]
        terms += [vector(self.mesh, zone.points.triangles, zone.forces(total, self.applied_field)) for zone in self.zones]
        return sum(terms), np.abs(terms).sum(axis=0)


def nonlinear_stiffness(mesh: Mesh, nu: np.ndarray, zones: list[BHCurveZone], applied_field: float) -> NonlinearStiffness:
    """The matrix of a mesh; nu is the reluctivity of each triangle, what it is in the zones plays no part."""
    nu = nu.copy()
    for zone in zones:
        nu[zone.points.triangles] = 0.0
    linear_local = magnetostatic.stiffness_local(mesh, nu)
    return NonlinearStiffness(mesh, zones, applied_field, linear_local, magnetostatic.assemble_stiffness(mesh, linear_local))


def solve_nonlinear(mesh: Mesh, nu: np.ndarray, zones: list[BHCurveZone], load: np.ndarray, applied_field: float,
                    linear_solver: str | LinearSolver | None = None) -> NonlinearSolution:
    """Solve K(u) u = load by Newton's method.

    nu    reluctivity of each triangle; what it is in the zones plays no part
    load  of currents, faces and the other metal; that of the zones is added here
    Raises SolveError where it does not converge.
    """
    stiffness = nonlinear_stiffness(mesh, nu, zones, applied_field)
    factor = None

    def residual(u: np.ndarray) -> tuple[np.ndarray, float]:
        forces, magnitude = stiffness.forces(u)
        return load - forces, float(np.linalg.norm(magnitude + np.abs(load)))

    def direction(u: np.ndarray, force: np.ndarray) -> np.ndarray:
        nonlocal factor
        factor = factorize_on_mesh(stiffness.matrix(u, tangent=True), mesh, factor, linear_solver)
        return factor.solve(force)
    u, residuals = solve_newton(residual, direction, np.zeros(mesh.size))
    factor = factorize_on_mesh(stiffness.matrix(u, tangent=True), mesh, factor, linear_solver)
    return NonlinearSolution(zones, u, applied_field, factor, stiffness.matrix(u, tangent=False), residuals)


def solve_newton(residual: Callable[[np.ndarray], tuple[np.ndarray, float]], direction: Callable[[np.ndarray, np.ndarray], np.ndarray],
                 start: np.ndarray) -> tuple[np.ndarray, list[float]]:
    """Where the slope of a convex energy is zero, and the residuals on the way, relative to the largest they could be.

    residual   of u: minus the energy's slope (n,), and the largest its length could be
    direction  of u and its residual: the step that would make a quadratic energy's residual zero
    Raises SolveError where it does not get there.
    """
    u, residuals = start, []
    for _ in range(STEPS + 1):
        force, scale = residual(u)
        residuals.append(float(np.linalg.norm(force)) / max(scale, 1e-300))
        if residuals[-1] <= CONVERGED:
            return u, residuals
        if not math.isfinite(residuals[-1]):
            break
        step = direction(u, force)
        u = u + line_search(lambda t, u=u, d=step: float(residual(u + t * d)[0] @ d), float(force @ step)) * step
    raise SolveError(f"saturation: {len(residuals) - 1} steps of Newton's method leave a residual of {residuals[-1]:.1e} "
                     f"(limit {CONVERGED:g}): check the B-H curve")


def line_search(along, at_start: float) -> float:
    """Length of a step, 1 where that is good: the energy's slope `along(t)` falls from `at_start` through zero; found by false position."""
    low, high = (0.0, at_start), (1.0, along(1.0))
    for _ in range(SEARCHES):
        if abs(high[1]) <= GOOD_DROP * abs(at_start) or high[1] > 0:
            return high[0]
        t = low[0] + (high[0] - low[0]) * min(max(low[1] / (low[1] - high[1]), 0.1), 0.9)
        slope_there = along(t)
        if abs(slope_there) <= GOOD_DROP * abs(at_start):
            return t
        low, high = ((t, slope_there), high) if slope_there > 0 else (low, (t, slope_there))
    return low[0] or high[0]
