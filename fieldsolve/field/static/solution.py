"""One static field on one mesh: a solve for each coil, and what is read off it."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.linear_algebra.elimination_order import factorize_on_mesh
from fieldsolve.field.linear_algebra.solvers import Factor, LinearSolver
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from fieldsolve.field.nonlinear.newton import NonlinearSolution, solve_nonlinear
from fieldsolve.field.quantities import force
from fieldsolve.field.quantities.peak_field import Peak, peak_field
from fieldsolve.field.system import coefficients, magnetostatic
from fieldsolve.field.system.bh_curve_zone import BHCurveZone, bh_curve_zones
from fieldsolve.field.system.conductors import unit_current_load
from fieldsolve.field.system.magnetic_moment import magnetization_moment
from fieldsolve.materials.bh_curve import chord_reluctivity
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import Mesh
from geometries.parts import Part
from geometries.pickling import fields_only


@dataclass(frozen=True)
class StaticProblem:
    """A section and what drives the field in it: currents in ampere per turn, applied field in tesla, strip face field in A/m."""

    section: CrossSection | AxialStrip
    currents: dict[str, float]
    applied_field: float = 0.0
    face_field: float = 0.0


@dataclass(frozen=True, eq=False, repr=False)
class StaticSolution:
    """One static field on one mesh (a `SolvedField`).

    nu           (m,) reluctivity of each triangle in m/H
    factor       of the stiffness matrix K; where metal saturates of the tangent matrix, which the dual fields need
    unit_loads   load (n,) of one ampere per turn in each coil
    unit_fields  field (n,) of one ampere per turn in each coil
    body_field   field (n,) of magnets, and of permeable bodies in the applied field
    nonlinear    the iteration's result where metal saturates

    Where metal saturates, the fields of one ampere are those at the secant reluctivity of the whole field.  They still add up to it,
    and an inductance is flux linkage over current.
    """

    problem: StaticProblem
    mesh: Mesh
    nu: np.ndarray
    factor: Factor
    unit_loads: dict[str, np.ndarray]
    unit_fields: dict[str, np.ndarray]
    body_field: np.ndarray
    nonlinear: NonlinearSolution | None = None

    __getstate__ = fields_only

    def __repr__(self) -> str:
        return f"StaticSolution({self.mesh.size} unknowns, {len(self.unit_fields)} coils, {self.factor.name})"

    @cached_property
    def solution(self) -> NodalField:
        """The field of all currents, magnets and the applied field at the nodes."""
        u = self.body_field + sum(current * self.unit_fields[name] for name, current in self.problem.currents.items())
        return NodalField(self.mesh, u, self.problem.applied_field)

    def inductance(self, one: str, other: str) -> float:
        """L_ij = 2 pi s_i . u_j in henry; for i = j twice the energy at one ampere."""
        return 2 * math.pi * float(self.unit_loads[one] @ self.unit_fields[other])

    def flux_linkage(self, name: str) -> float:
        """Flux through all turns of a coil, 2 pi s . u, in weber."""
        return 2 * math.pi * float(self.unit_loads[name] @ self.solution.total)

    def energy(self) -> float:
        """Energy of the solved field in joule: pi u . K u, where metal saturates the integral of H dB."""
        return self._half_of_field_times_flux() + (self.nonlinear.excess_energy()[0] if self.nonlinear else 0.0)

    def coenergy(self) -> float:
        """Co-energy of the solved field in joule, the integral of B dH; without saturation the energy."""
        return self._half_of_field_times_flux() + (self.nonlinear.excess_energy()[1] if self.nonlinear else 0.0)

    def _half_of_field_times_flux(self) -> float:
        u = self.solution.u
        return math.pi * float(u @ multiply_symmetric(self.nonlinear.secant if self.nonlinear else self.factor.lower, u))

    def axial_force(self, name: str) -> float:
        """Integral of J x B along z over a coil, in newton."""
        part = self.problem.section.part(name)
        return self.problem.currents.get(name, 0.0) * float(force.axial_force_functional(self.mesh, part) @ self.external_field(part))

    def external_field(self, part: Part) -> np.ndarray:
        """Nodal field that pushes a coil; of a filament without its own, which is infinite at its place."""
        own = self.problem.currents.get(part.name, 0.0) if part.filament else 0.0
        return self.solution.u - own * self.unit_fields[part.name] if own else self.solution.u

    def axial_force_by_stress(self, name: str) -> float:
        """Axial force on a part from Maxwell's stress in the air around it, in newton."""
        section = self.problem.section
        return force.force_by_stress(section, self.mesh, self.solution.total, section.part(name))[1]

    def peak(self, region: str, tie: float = 0.0) -> Peak:
        """Largest |B| in a region and its place."""
        return peak_field(self.problem.section, self.solution, region, tie)

    def field_strength(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """H_r and H_z in A/m at points in metres: nu B - nu B_rem along z, where metal saturates along its curve."""
        B_r, B_z = self.solution.flux_density(r, z)
        triangle, _ = locate(self.mesh, *(np.ravel(x).astype(float) for x in np.broadcast_arrays(r, z)), slack=0.01)
        triangle = triangle.reshape(np.shape(B_r))
        section = self.problem.section
        inside = triangle >= 0
        nu = np.where(inside, coefficients.linear_reluctivity(section, self.mesh)[triangle], NU_0)
        for zone in self.nonlinear.zones if self.nonlinear else ():
            at = np.isin(triangle, zone.points.triangles)
            nu[at] = chord_reluctivity(zone.curve, np.hypot(B_r, B_z)[at])
        return nu * B_r, nu * (B_z - np.where(inside, coefficients.remanence(section, self.mesh)[triangle], 0.0))

    def dipole_moment(self) -> float:
        """Magnetic moment along z in A m^2; a coil's is pi times the sum of its load, integral of pi r^2 J."""
        coils = sum(math.pi * current * self.unit_loads[name].sum() for name, current in self.problem.currents.items())
        section, mesh = self.problem.section, self.mesh
        nonlinear = self.nonlinear.moment() if self.nonlinear else 0.0
        nu, remanence = coefficients.linear_reluctivity(section, mesh), coefficients.remanence(section, mesh)
        linear = magnetization_moment(mesh, nu, remanence, self.solution.total)
        return float(coils + nonlinear + linear)

    def mean_flux_density(self, name: str) -> float:
        """Mean of B_z over the volume of a part, in tesla."""
        return float(force.mean_functional(self.mesh, name) @ self.solution.total)


def solve_on_mesh(problem: StaticProblem, mesh: Mesh, linear_solver: str | LinearSolver | None = None) -> StaticSolution:
    """Assemble, factor once and solve for every coil and the bodies; where metal saturates, by Newton's method."""
    nu = coefficients.linear_reluctivity(problem.section, mesh)
    coils = [part for part in problem.section.parts if part.is_coil]
    unit_loads = {part.name: unit_current_load(mesh, part) for part in coils}
    body = magnetostatic.magnetization_load(problem.section, mesh, nu, problem.applied_field)
    if problem.face_field:
        body = body + magnetostatic.face_load(mesh, "outer", problem.face_field)
    if zones := bh_curve_zones(problem.section, mesh):
        return _solve_nonlinear_on_mesh(problem, mesh, nu, zones, unit_loads, body, linear_solver)
    factor = factorize_on_mesh(magnetostatic.stiffness(mesh, nu), mesh, solver=linear_solver)
    fields = factor.solve(np.stack([*unit_loads.values(), body], axis=1)).T.copy()
    return StaticSolution(problem=problem, mesh=mesh, nu=nu, factor=factor, unit_loads=unit_loads,
                          unit_fields=dict(zip(unit_loads, fields, strict=False)), body_field=fields[-1])


def _solve_nonlinear_on_mesh(problem: StaticProblem, mesh: Mesh, nu: np.ndarray, zones: list[BHCurveZone],
                             unit_loads: dict[str, np.ndarray], body: np.ndarray,
                             linear_solver: str | LinearSolver | None) -> StaticSolution:
    load = body + sum(problem.currents.get(name, 0.0) * unit for name, unit in unit_loads.items())
    nonlinear = solve_nonlinear(mesh, nu, zones, load, problem.applied_field, linear_solver)
    unit_fields = {}
    if unit_loads:
        secant = factorize_on_mesh(nonlinear.secant, mesh, solver=linear_solver)
        fields = secant.solve(np.stack(list(unit_loads.values()), axis=1)).T.copy()
        unit_fields = dict(zip(unit_loads, fields, strict=True))
    of_coils = sum(problem.currents.get(name, 0.0) * unit for name, unit in unit_fields.items())
    return StaticSolution(problem=problem, mesh=mesh, nu=nonlinear.nu(nu), factor=nonlinear.factor, unit_loads=unit_loads,
                          unit_fields=unit_fields, body_field=nonlinear.u - of_coils, nonlinear=nonlinear)
