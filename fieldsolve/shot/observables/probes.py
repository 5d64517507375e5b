"""What is read off the field at the end of every step, with all that can be prepared once for metal in one place."""
from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.fem.gradient_recovery import recovered_values, recovery_operators
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import QuadraturePoints, part_quadrature, sample
from fieldsolve.field.quantities import induced_currents
from fieldsolve.field.quantities.bore_peak import (
    BoreBoundary,
    LocatedPoints,
    bore_boundary,
    bores_on,
    concatenate_points,
    locate_points,
    part_bounds,
    sharp_magnetic_parts,
    split_points,
    strength_by_triangles,
)
from fieldsolve.field.quantities.virtual_work import virtual_work_body_forces
from fieldsolve.field.system.coefficients import is_magnetic
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.cross_section import Bore, CrossSection
from geometries.mesh import Mesh
from geometries.parts import Part


@dataclass(frozen=True, eq=False)
class Rims:
    """Where each body's rim is in its own metal: a triangle and the barycentric place in it, which the metal takes along."""

    triangle: np.ndarray
    place: np.ndarray

    def sample_on(self, mesh: Mesh) -> QuadraturePoints:
        """The rims' points on the mesh as it is now, one a body."""
        return sample(mesh, self.triangle, self.place[:, None])


def locate_rims(section: CrossSection, mesh: Mesh, bodies: tuple[str, ...]) -> Rims:
    """The rim circles of bodies, looked up on the mesh of their first places."""
    found = []
    for name in bodies:
        radius, height = _rim(section.part(name))
        regions = tuple(k + 1 for k, (part, _) in enumerate(mesh.regions) if part == name)
        found.append(locate(mesh, np.array([radius * (1 - 1e-9)]), np.array([height]), regions))
    return Rims(np.array([t[0] for t, _ in found], dtype=int), np.array([p[0] for _, p in found]).reshape(-1, 3))


def _rim(part: Part) -> tuple[float, float]:
    """Radius and height of a body's rim in metres: where it is widest, in the middle of that height.

    Where it is widest at a sharp corner, |B| beside it is unbounded, and what is read there depends on the mesh.
    """
    points = np.concatenate([zone.outline.polygon() for zone in part.zones])
    radius = float(points[:, 0].max())
    heights = points[points[:, 0] > radius * (1 - 1e-9), 1]
    return radius, 0.5 * float(heights.min() + heights.max())


@dataclass(frozen=True, eq=False)
class Probes:
    """Readings of a cross-section on one mesh: named regions, points and bodies.

    held   quadrature points of parts that are held still while others move, prepared before
    once   whether they are used for one instant only, for the metal moves: then nothing is prepared that one field does not need
    """

    system: EddySystem
    bodies: tuple[str, ...]
    circuit_coils: tuple[str, ...]
    rims: Rims
    fixed_points: dict[str, QuadraturePoints] = field(default_factory=dict)
    single_use: bool = False

    @cached_property
    def _bores(self) -> dict[str, Bore]:
        """The bores as the turns are now; none where a line current makes the field infinite."""
        return bores_on(self.system.section, self.system.mesh)

    @cached_property
    def _unbounded(self) -> tuple[str, ...]:
        return sharp_magnetic_parts(self.system.section)

    def _observation_points(self, u: np.ndarray | None = None) -> dict[str | tuple[str, str], BoreBoundary | LocatedPoints]:
        """Borders of the bores, where |B| is largest in air, and points by name; ('outside', body) is a point just outside its rim.

        With a field u only where that is strong on the borders: for metal that moves.
        At mid thickness there B is better than within, and |B| is the same on both sides.
        """
        mesh = self.system.mesh
        found: dict = {name: bore_boundary(mesh, bore, self._unbounded) for name, bore in self._bores.items()}
        if u is not None:
            found = {name: each.where_strong(strength_by_triangles(mesh, each.points, u))[0] for name, each in found.items()}
        places = {"centre": (0.0, self.system.section.centre)}
        gap = self._gap()
        if gap is not None:
            places["gap"] = gap
        for name, r, z in zip(self.bodies, self.rim_points.r[:, 0], self.rim_points.z[:, 0], strict=True):
            places["outside", name] = r * (1 + 1e-6), z
        return found | dict(zip(places, split_points(locate_points(mesh, np.array(list(places.values())))), strict=True))

    @cached_property
    def _prepared(self) -> tuple[dict, LocatedPoints, tuple]:
        """The spots, all of them in a row, and the sparse matrices that give u, u_r and u_z there: for metal that stays."""
        points_by_name = self._observation_points()
        all_points = _concatenated(points_by_name)
        return (
            points_by_name,
            all_points,
            recovery_operators(self.system.mesh, all_points.triangle, all_points.place, all_points.r, all_points.z),
        )

    @property
    def observation_operators(self) -> tuple[dict, tuple]:
        """The spots by name, and the sparse matrices that give u, u_r and u_z at all of them in a row: for metal that stays."""
        points_by_name, _, matrices = self._prepared
        return points_by_name, matrices

    def _fields(self, u: np.ndarray) -> tuple[dict, dict[str | tuple[str, str], np.ndarray]]:
        """The spots and B (2, q) at each."""
        if self.single_use:
            points_by_name = self._observation_points(u)
            all_points = _concatenated(points_by_name)
            value, u_r, u_z = recovered_values(self.system.mesh, u, all_points.triangle, all_points.place, all_points.r, all_points.z)
        else:
            points_by_name, all_points, matrices = self._prepared
            value, u_r, u_z = (matrix @ u for matrix in matrices)
        B = np.stack([-all_points.r * u_z, 2 * value + all_points.r * u_r])
        ends = np.cumsum([len(_points_of(target).r) for target in points_by_name.values()])
        return points_by_name, dict(zip(points_by_name, np.split(B, ends[:-1], axis=1), strict=True))

    @cached_property
    def _samples(self) -> dict[str, QuadraturePoints]:
        """Points on the borders of the bores, where the triangles' own slopes are read: for metal that stays."""
        targets = {name: target.points for name, target in self._prepared[0].items() if isinstance(target, BoreBoundary)}
        return {name: sample(self.system.mesh, points.triangle, points.place[:, None]) for name, points in targets.items()}

    def _peak(self, name: str, boundary: BoreBoundary, strength: np.ndarray, u: np.ndarray) -> float:
        """Largest |B| of a bore in tesla, from its strength at the points of its border."""
        if self.single_use:
            return boundary.peak(strength).value
        strong, points = boundary.where_strong(np.hypot(*self._samples[name].flux_density(u))[:, 0])
        return strong.peak(strength[points]).value

    def _gap(self) -> tuple[float, float] | None:
        if not self.bodies or not self._bores:
            return None
        _, rim, low, high = part_bounds(self.system.mesh, self.bodies[0])
        bore = next(iter(self._bores.values()))
        return None if rim >= bore.radius else (0.5 * (rim + bore.radius), 0.5 * (low + high))

    @cached_property
    def sections(self) -> dict[str, QuadraturePoints]:
        """Quadrature points of each body and coil."""
        mesh, parts = self.system.mesh, (*self.bodies, *self.circuit_coils)
        return {name: self.fixed_points.get(name) or part_quadrature(mesh, name) for name in parts}

    @cached_property
    def rim_points(self) -> QuadraturePoints:
        """A point of each body's rim circle."""
        return self.rims.sample_on(self.system.mesh)

    def observe(self, system: EddySystem, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float], heat: np.ndarray,
                applied_field: float = 0.0) -> dict:
        """Readings by (quantity, place) at one instant; `system` carries the conductivities of that instant.

        u is of the whole field, a steady applied one in tesla included.
        """
        points_by_name, B = self._fields(u)
        observables = {
            ("field", name): self._peak(name, target, np.hypot(*B[name]), u)
            for name, target in points_by_name.items()
            if isinstance(target, BoreBoundary)
        }
        observables |= {("field", name): float(B[name][1, 0]) for name in ("centre", "gap") if name in B}
        for name, points in self.sections.items():
            observables["power", name] = float(heat[system.mesh.part_triangles(name)].sum())
            if is_magnetic(system.section, name):
                radial, axial = virtual_work_body_forces(system, name, u - 0.5 * applied_field, applied_field).sum(axis=0).tolist()
            else:
                radial, axial = induced_currents.lorentz_force(system, points, u, u_t, currents)
            observables["radial_force", name], observables["axial_force", name] = radial, axial
        loop_voltages = -2 * math.pi * (self.rim_points.r**2 * self.rim_points.values_of(u_t))[:, 0] if self.bodies else ()
        for name, voltage in zip(self.bodies, loop_voltages, strict=True):
            observables["current", name] = -float(system.part_vector(name) @ u_t)
            observables["loop_voltage", name] = float(voltage)
            observables["rim_pressure", name] = float(np.square(B["outside", name]).sum()) / (2 * MU_0)
        return observables


def _points_of(target: BoreBoundary | LocatedPoints) -> LocatedPoints:
    return target.points if isinstance(target, BoreBoundary) else target


def _concatenated(points_by_name: dict) -> LocatedPoints:
    return concatenate_points([_points_of(target) for target in points_by_name.values()])
