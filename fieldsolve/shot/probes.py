"""What is read off the field at the end of every step, with all that can be prepared once for metal in one place."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.cells import Sampling, quadrature, sample
from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.field.locate import locate
from fieldsolve.shot import metal
from fieldsolve.shot.largest import Border, Points, border_of, points_at
from geometries.cross_section import Bore, CrossSection
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Rims:
    """Where each body's rim is in its own metal: a triangle and the barycentric place in it, which the metal takes along."""

    triangle: np.ndarray
    place: np.ndarray

    def on(self, mesh: Mesh) -> Sampling:
        """The rims' points on the mesh as it is now, one a body."""
        return sample(mesh, self.triangle, self.place[:, None])


def rims(section: CrossSection, mesh: Mesh, bodies: tuple[str, ...]) -> Rims:
    """The rim circles at mid thickness of bodies, looked up on the mesh of their first places."""
    found = []
    for name in bodies:
        _, radius, low, high = section.part(name).bounds
        regions = tuple(k + 1 for k, (part, _) in enumerate(mesh.regions) if part == name)
        found.append(locate(mesh, np.array([radius * (1 - 1e-9)]), np.array([0.5 * (low + high)]), regions))
    return Rims(np.array([t[0] for t, _ in found], dtype=int), np.array([p[0] for _, p in found]).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class Probes:
    """Readings of a cross-section on one mesh: named regions, points and bodies.

    once   whether they are used for one instant only, for the metal moves: then nothing is prepared that one field does not need
    """

    system: EddySystem
    bodies: tuple[str, ...]
    circuit_coils: tuple[str, ...]
    rims: Rims
    once: bool = False

    @cached_property
    def _borders(self) -> dict[str, Border]:
        """The border of each bore, where |B| is largest in air."""
        return {name: border_of(self.system.mesh, bore) for name, bore in self._bores.items()}

    @cached_property
    def _bores(self) -> dict[str, Bore]:
        """The bores as the turns are now; none where a line current makes the field infinite."""
        section = self.system.section
        if any(not part.zones for part in section.parts):
            return {}
        bounds = {name: self._bounds(section.coil_of_bore(name)) for name in section.bores}
        return {name: Bore(r_min, z_min, z_max) for name, (r_min, _, z_min, z_max) in bounds.items()}

    @cached_property
    def places(self) -> dict[str, Points]:
        """The points `centre` (on the axis at mid-plane) and `gap` (half-way from the body's rim to the coil at mid-plane)."""
        places = {"centre": (0.0, self.system.section.centre)}
        gap = self._gap()
        if gap is not None:
            places["gap"] = gap
        return {name: points_at(self.system.mesh, np.array([place])) for name, place in places.items()}

    def _gap(self) -> tuple[float, float] | None:
        if not self.bodies or not self._bores:
            return None
        _, rim, low, high = self._bounds(self.bodies[0])
        bore = next(iter(self._bores.values()))
        return None if rim >= bore.radius else (0.5 * (rim + bore.radius), 0.5 * (low + high))

    def _bounds(self, name: str) -> tuple[float, float, float, float]:
        """Smallest and largest r, smallest and largest z of a part as it is now."""
        nodes = self.system.mesh.nodes[self.system.mesh.triangles[self.system.mesh.part_triangles(name)]].reshape(-1, 2)
        (r_min, z_min), (r_max, z_max) = nodes.min(axis=0), nodes.max(axis=0)
        return float(r_min), float(r_max), float(z_min), float(z_max)

    @cached_property
    def _sections(self) -> dict[str, Sampling]:
        return {name: quadrature(self.system.mesh, self.system.mesh.part_triangles(name)) for name in (*self.bodies, *self.circuit_coils)}

    @cached_property
    def _rims(self) -> Sampling:
        return self.rims.on(self.system.mesh)

    @cached_property
    def _outside(self) -> dict[str, Points]:
        """A point just outside each body's rim at mid thickness, where B is better than within; |B| is the same on both sides."""
        return {name: points_at(self.system.mesh, np.array([[r * (1 + 1e-6), z]]))
                for name, r, z in zip(self.bodies, self._rims.r[:, 0], self._rims.z[:, 0], strict=True)}

    def read(self, system: EddySystem, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float], heat: np.ndarray) -> dict:
        """Readings by (quantity, place) at one instant; `system` carries the conductivities of that instant, u is of the whole field."""
        readings = {("field", name): value for name, value in self._largest(u).items()}
        readings |= {("field", name): float(points.B_z(u)[0]) for name, points in self.places.items()}
        for name, points in self._sections.items():
            readings["power", name] = float(heat[system.mesh.part_triangles(name)].sum())
            radial, axial = metal.force(system, points, u, u_t, currents)
            readings["radial_force", name], readings["axial_force", name] = radial, axial
        around = -2 * math.pi * (self._rims.r**2 * self._rims.of(u_t)[0])[:, 0] if self.bodies else ()
        for name, voltage in zip(self.bodies, around, strict=True):
            readings["current", name] = -float(system.part_vector(name) @ u_t)
            readings["loop_voltage", name] = float(voltage)
            readings["rim_pressure", name] = float(self._outside[name].strength(u)[0]) ** 2 / (2 * MU_0)
        return readings

    def _largest(self, u: np.ndarray) -> dict[str, float]:
        if self.once:
            return {name: border_of(self.system.mesh, bore, u).largest(u) for name, bore in self._bores.items()}
        return {name: border.largest(u) for name, border in self._borders.items()}
