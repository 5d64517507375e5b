"""What is read off the field at the end of every step, with all that can be prepared once for metal in one place."""
from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.fem.gradient_recovery import recovery_operators
from fieldsolve.field.fem.mesh_stack import MeshStack, as_stack
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

    def places_in(self, stack: MeshStack) -> np.ndarray:
        """Where they are on each mesh of a stack; (t, bodies, 2) in metres."""
        count = len(stack.meshes)
        triangles = (stack.count * np.arange(count)[:, None] + self.triangle).ravel()
        points = sample(stack, triangles, np.tile(self.place, (count, 1))[:, None])
        return np.column_stack([points.r, points.z]).reshape(count, -1, 2)


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


def observation_places(section: CrossSection, mesh: Mesh, bodies: tuple[str, ...], rims: np.ndarray,
                       bores: dict[str, Bore]) -> dict[str | tuple[str, str], tuple[float, float]]:
    """Points at which the field is read, by name; ('outside', body) is just outside its rim, of `rims` (bodies, 2).

    At mid thickness there B is better than within, and |B| is the same on both sides.
    """
    places: dict = {"centre": (0.0, section.centre)}
    gap = _gap(mesh, bodies, bores)
    if gap is not None:
        places["gap"] = gap
    return places | {("outside", name): (r * (1 + 1e-6), z) for name, (r, z) in zip(bodies, rims.tolist(), strict=True)}


def _gap(mesh: Mesh, bodies: tuple[str, ...], bores: dict[str, Bore]) -> tuple[float, float] | None:
    if not bodies or not bores:
        return None
    _, rim, low, high = part_bounds(mesh, bodies[0])
    bore = next(iter(bores.values()))
    return None if rim >= bore.radius else (0.5 * (rim + bore.radius), 0.5 * (low + high))


def readings_at_points(B: dict[str | tuple[str, str], np.ndarray]) -> dict[tuple[str, str], float]:
    """Readings of B (2,) at the places of `observation_places`: B_z in tesla, and at rims the pressure in pascal."""
    rims = {name: of_place for name, of_place in B.items() if isinstance(name, tuple)}
    return {("field", name): float(of_place[1]) for name, of_place in B.items() if name not in rims} | {
        ("rim_pressure", body): float(np.square(of_place).sum()) / (2 * MU_0) for (_, body), of_place in rims.items()
    }


@dataclass(frozen=True, eq=False)
class Probes:
    """Readings of a cross-section on one mesh: named regions, points and bodies.

    fixed_points  quadrature points of parts that are held still while others move, prepared before
    known_forces  radial and axial force in N on parts of which they are known
    moves         whether the metal moves: then the field in bores and at points is not read here, but of many instants at once
    """

    system: EddySystem
    bodies: tuple[str, ...]
    circuit_coils: tuple[str, ...]
    rims: Rims
    fixed_points: dict[str, QuadraturePoints] = field(default_factory=dict)
    known_forces: dict[str, tuple[float, float]] = field(default_factory=dict)
    moves: bool = False

    def _observation_points(self) -> dict[str | tuple[str, str], BoreBoundary | LocatedPoints]:
        """Borders of the bores, where |B| is largest in air, and points by name."""
        section, mesh = self.system.section, self.system.mesh
        unbounded, bores = sharp_magnetic_parts(section), bores_on(section, mesh)
        found: dict = {name: bore_boundary(as_stack(mesh), [bore], unbounded) for name, bore in bores.items()}
        places = observation_places(section, mesh, self.bodies, np.column_stack([self.rim_points.r, self.rim_points.z]), bores)
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

    def _fields(self, u: np.ndarray) -> dict[tuple[str, str], float]:
        """The largest |B| of each bore, B_z at points and the pressures at rims."""
        points_by_name, all_points, matrices = self._prepared
        value, u_r, u_z = (matrix @ u for matrix in matrices)
        B = np.stack([-all_points.r * u_z, 2 * value + all_points.r * u_r])
        ends = np.cumsum([len(_points_of(target).r) for target in points_by_name.values()])
        by_name = dict(zip(points_by_name, np.split(B, ends[:-1], axis=1), strict=True))
        bores = [name for name, target in points_by_name.items() if isinstance(target, BoreBoundary)]
        peaks = {("field", name): self._peak(name, points_by_name[name], np.hypot(*by_name.pop(name)), u) for name in bores}
        return peaks | readings_at_points({name: of_point[:, 0] for name, of_point in by_name.items()})

    @cached_property
    def _samples(self) -> dict[str, QuadraturePoints]:
        """Points on the borders of the bores, where the triangles' own slopes are read: for metal that stays."""
        targets = {name: target.points for name, target in self._prepared[0].items() if isinstance(target, BoreBoundary)}
        return {name: sample(self.system.mesh, points.triangle, points.place[:, None]) for name, points in targets.items()}

    def _peak(self, name: str, boundary: BoreBoundary, strength: np.ndarray, u: np.ndarray) -> float:
        """Largest |B| of a bore in tesla, from its strength at the points of its border."""
        strong, points = boundary.where_strong(np.hypot(*self._samples[name].flux_density(u))[:, 0])
        return strong.peak(strength[points]).value

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
        observables = {} if self.moves else self._fields(u)
        for name in (*self.bodies, *self.circuit_coils):
            observables["power", name] = float(heat[system.mesh.part_triangles(name)].sum())
            if name in self.known_forces:
                radial, axial = self.known_forces[name]
            elif is_magnetic(system.section, name):
                radial, axial = virtual_work_body_forces(system, name, u - 0.5 * applied_field, applied_field).sum(axis=0).tolist()
            else:
                radial, axial = induced_currents.lorentz_force(system, self.sections[name], u, u_t, currents)
            observables["radial_force", name], observables["axial_force", name] = radial, axial
        loop_voltages = -2 * math.pi * (self.rim_points.r**2 * self.rim_points.values_of(u_t))[:, 0] if self.bodies else ()
        for name, voltage in zip(self.bodies, loop_voltages, strict=True):
            observables["current", name] = -float(system.part_vector(name) @ u_t)
            observables["loop_voltage", name] = float(voltage)
        return observables


def _points_of(target: BoreBoundary | LocatedPoints) -> LocatedPoints:
    return target.points if isinstance(target, BoreBoundary) else target


def _concatenated(points_by_name: dict) -> LocatedPoints:
    return concatenate_points([_points_of(target) for target in points_by_name.values()])
