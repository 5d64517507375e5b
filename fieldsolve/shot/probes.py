"""What is read off the field at the end of every step, with all that can be prepared once for held metal."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.field.cells import quadrature
from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.shot import metal
from fieldsolve.shot.largest import Border, Points, border_of, points_at
from geometries.errors import GeometryError


@dataclass(frozen=True, eq=False)
class Probes:
    """Readings of a cross-section on one mesh: named regions, points and bodies."""

    system: EddySystem
    bodies: tuple[str, ...]
    circuit_coils: tuple[str, ...]

    @cached_property
    def regions(self) -> dict[str, Border]:
        """The border of each bore, where |B| is largest in air."""
        section, mesh = self.system.section, self.system.mesh
        if any(not part.zones for part in section.parts):
            return {}
        return {name: border_of(section, mesh, bore) for name, bore in section.bores.items()}

    @cached_property
    def places(self) -> dict[str, Points]:
        """The points `centre` (on the axis at mid-plane) and `gap` (half-way from the body's rim to the coil at mid-plane)."""
        places = {"centre": (0.0, self.system.section.centre)}
        gap = self._gap()
        if gap is not None:
            places["gap"] = gap
        return {name: points_at(self.system.mesh, np.array([place])) for name, place in places.items()}

    def _gap(self) -> tuple[float, float] | None:
        section = self.system.section
        if not self.bodies:
            return None
        body = section.part(self.bodies[0])
        try:
            bore = section.bore()
        except GeometryError:
            bore = next(iter(section.bores.values()), None)
        if bore is None or body.bounds[1] >= bore.radius:
            return None
        return 0.5 * (body.bounds[1] + bore.radius), 0.5 * (body.bounds[2] + body.bounds[3])

    @cached_property
    def _sections(self):
        return {name: quadrature(self.system.mesh, self.system.mesh.part_triangles(name)) for name in (*self.bodies, *self.circuit_coils)}

    @cached_property
    def _rims(self) -> dict[str, tuple[float, Points]]:
        rims = {}
        for name in self.bodies:
            _, radius, low, high = self.system.section.part(name).bounds
            rims[name] = radius, points_at(self.system.mesh, np.array([[radius * (1 - 1e-9), 0.5 * (low + high)]]), self._regions_of(name))
        return rims

    @cached_property
    def _outside(self) -> dict[str, Points]:
        """A point just outside each body's rim at mid thickness, where B is better than within; |B| is the same on both sides."""
        bounds = {name: self.system.section.part(name).bounds for name in self.bodies}
        return {name: points_at(self.system.mesh, np.array([[radius * (1 + 1e-6), 0.5 * (low + high)]]))
                for name, (_, radius, low, high) in bounds.items()}

    def _regions_of(self, name: str) -> tuple[int, ...]:
        return tuple(k + 1 for k, (part, _) in enumerate(self.system.mesh.regions) if part == name)

    def read(self, system: EddySystem, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float], heat: np.ndarray) -> dict:
        """Readings by (quantity, place) at one instant; `system` carries the conductivities of that instant."""
        readings = {("field", name): border.largest(u) for name, border in self.regions.items()}
        readings |= {("field", name): float(points.B_z(u)[0]) for name, points in self.places.items()}
        for name in (*self.bodies, *self.circuit_coils):
            triangles = system.mesh.part_triangles(name)
            readings["power", name] = float(heat[triangles].sum())
            radial, axial = metal.force(system, self._sections[name], u, u_t, currents)
            readings["radial_force", name], readings["axial_force", name] = radial, axial
        for name in self.bodies:
            radius, rim = self._rims[name]
            readings["current", name] = -float(system.part_vector(name) @ u_t)
            readings["loop_voltage", name] = float(-2 * math.pi * radius**2 * (rim.u @ u_t)[0])
            readings["rim_pressure", name] = float(self._outside[name].strength(u)[0]) ** 2 / (2 * MU_0)
        return readings
