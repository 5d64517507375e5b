"""The whole field at one instant of a shot: answers what a static solution answers."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import Estimate
from fieldsolve.field.cells import quadrature, sample
from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.field.locate import locate
from fieldsolve.field.peak import peak_field
from fieldsolve.field.solution import Solution
from fieldsolve.shot import metal
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class ShotField:
    """Field, its rate and the coils' currents (A per turn) at `time` in seconds."""

    time: float
    section: CrossSection
    solution: Solution
    u_t: np.ndarray
    system: EddySystem
    currents: dict[str, float]

    @property
    def mesh(self) -> Mesh:
        """The mesh of the shot."""
        return self.solution.mesh

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the field."""
        return self.mesh.size

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points in metres, anywhere in space."""
        return self.solution.flux_density(r, z)

    def vector_potential(self, r, z) -> np.ndarray:
        """A_phi in Wb/m at points in metres."""
        return self.solution.vector_potential(r, z)

    def flux(self, r, z) -> np.ndarray:
        """Flux 2 pi r A_phi in weber through the circle through each point."""
        return self.solution.flux(r, z)

    def magnetic_pressure(self, r, z) -> np.ndarray:
        """B^2 / (2 mu_0) in pascal at points in metres."""
        return np.sum(np.square(self.flux_density(r, z)), axis=0) / (2 * MU_0)

    def peak_field(self, region: str = "bore") -> Estimate:
        """Largest |B| in tesla in a bore or a part, with its place; its error is that of the shot's series."""
        peak = peak_field(self.section, self.solution, region)
        return Estimate(peak.value, 0.0, "T", r=peak.r, z=peak.z, time=self.time)

    def current_density(self, r, z) -> np.ndarray:
        """J_phi in A/m^2 at points in metres, zero outside solid metal."""
        r, z = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
        triangle, place = locate(self.mesh, r.ravel(), z.ravel())
        density = np.zeros(r.size)
        solid = np.flatnonzero((triangle >= 0) & (self.system.sigma[triangle] > 0))
        if len(solid):
            points = sample(self.mesh, triangle[solid], place[solid][:, None])
            density[solid] = metal.current_density(self.system, points, self.u_t, self._voltages)[:, 0]
        return density.reshape(r.shape)

    @property
    def _voltages(self) -> np.ndarray:
        return metal.turn_voltages(self.system, self.u_t, self.currents)

    def net_current(self, name: str) -> float:
        """Current of a body through its half section, of a coil per turn, in ampere along +phi."""
        return self.currents[name] if name in self.currents else -float(self.system.part_vector(name) @ self.u_t)

    def energy(self) -> float:
        """Energy of the field, pi u . K u, in joule."""
        return math.pi * float(self.solution.u @ (self.system.whole_stiffness @ self.solution.u))

    def force(self, name: str) -> tuple[float, float]:
        """Radial and axial force on a part of solid metal in newton."""
        points = quadrature(self.mesh, self.mesh.part_triangles(name))
        return metal.force(self.system, points, self.solution.total, self.u_t, self._voltages)
