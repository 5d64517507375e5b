"""What is read off the field at the end of every step, with all that can be prepared once for held metal."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.field.cells import quadrature
from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.field.locate import locate
from fieldsolve.field.peak import bore_border
from fieldsolve.field.recovery import operators
from fieldsolve.shot import metal
from geometries.errors import GeometryError
from geometries.mesh import AIR


@dataclass(frozen=True, eq=False)
class Points:
    """Points (q,) where B is read, and the sparse matrices that give u, u_r and u_z there."""

    r: np.ndarray
    z: np.ndarray
    u: object
    u_r: object
    u_z: object

    def strength(self, u: np.ndarray) -> np.ndarray:
        """|B| in tesla at each point."""
        return np.hypot(self.r * (self.u_z @ u), 2 * (self.u @ u) + self.r * (self.u_r @ u))

    def B_z(self, u: np.ndarray) -> np.ndarray:
        """B_z in tesla at each point."""
        return 2 * (self.u @ u) + self.r * (self.u_r @ u)


@dataclass(frozen=True, eq=False)
class Probes:
    """Readings of a cross-section on one mesh: named regions, points and bodies."""

    system: EddySystem
    bodies: tuple[str, ...]
    circuit_coils: tuple[str, ...]

    @cached_property
    def regions(self) -> dict[str, Points]:
        """Border points of each bore, where |B| is largest in air."""
        found = {}
        section, mesh = self.system.section, self.system.mesh
        for name, bore in section.bores.items():
            if any(not part.zones for part in section.parts):
                continue
            places = np.concatenate(bore_border(section, mesh, bore))
            triangle, place = locate(mesh, *places.T, (AIR,))
            inside = triangle >= 0
            r, z = places[inside].T
            found[name] = Points(r, z, *operators(mesh, triangle[inside], place[inside], r, z))
        return found

    @cached_property
    def places(self) -> dict[str, Points]:
        """The points `centre` (on the axis at mid-plane) and `gap` (half-way from the body's rim to the coil at mid-plane)."""
        places = {"centre": (0.0, self.system.section.centre)}
        gap = self._gap()
        if gap is not None:
            places["gap"] = gap
        found = {}
        for name, (r, z) in places.items():
            triangle, place = locate(self.system.mesh, np.array([r]), np.array([z]))
            found[name] = Points(np.array([r]), np.array([z]), *operators(self.system.mesh, triangle, place, np.array([r]), np.array([z])))
        return found

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
            r, z = np.array([radius * (1 - 1e-9)]), np.array([0.5 * (low + high)])
            triangle, place = locate(self.system.mesh, r, z, tuple(self._regions_of(name)))
            rims[name] = radius, Points(r, z, *operators(self.system.mesh, triangle, place, r, z))
        return rims

    def _regions_of(self, name: str) -> list[int]:
        return [k + 1 for k, (part, _) in enumerate(self.system.mesh.regions) if part == name]

    def read(self, system: EddySystem, u: np.ndarray, u_t: np.ndarray, currents: dict[str, float], heat: np.ndarray) -> dict:
        """Readings by (quantity, place) at one instant; `system` carries the conductivities of that instant."""
        voltages = metal.turn_voltages(system, u_t, currents)
        readings = {("field", name): float(points.strength(u).max()) for name, points in self.regions.items()}
        readings |= {("field", name): float(points.B_z(u)[0]) for name, points in self.places.items()}
        for name in (*self.bodies, *self.circuit_coils):
            triangles = system.mesh.part_triangles(name)
            readings["power", name] = float(heat[triangles].sum())
            radial, axial = metal.force(system, self._sections[name], u, u_t, voltages)
            readings["radial_force", name], readings["axial_force", name] = radial, axial
        for name in self.bodies:
            radius, rim = self._rims[name]
            readings["current", name] = -float(system.part_vector(name) @ u_t)
            readings["loop_voltage", name] = float(-2 * math.pi * radius**2 * (rim.u @ u_t)[0])
        for name in self.circuit_coils:
            turns = system.turns_of(name)
            if len(turns):
                readings["turn_voltage", name] = float(np.abs(voltages[turns]).max())
        return readings
