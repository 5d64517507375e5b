"""The field at one instant of a shot or of a driven field, with the same methods as a static field."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import Estimate
from fieldsolve.field import drawings
from fieldsolve.field.fem.nodal_field import NodalField, difference_around
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import gauss_points, sample
from fieldsolve.field.quantities import induced_currents
from fieldsolve.field.quantities.bore_peak import bore_peak
from fieldsolve.field.quantities.force import mean_functional
from fieldsolve.field.quantities.peak_field import Peak, peak_field, refuse_line_currents
from fieldsolve.field.quantities.virtual_work import virtual_work_body_forces
from fieldsolve.field.system.coefficients import is_magnetic
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.magnetic_moment import magnetization_moment
from fieldsolve.renamed import old_attributes
from geometries.cross_section import CrossSection, Section
from geometries.errors import InputError
from geometries.mesh import Mesh


class ErrorBound(Protocol):
    """What bounds the error of a quantity from its value in another run."""

    def bound(self, value: Any, other: Any, unit: str = "", scale: Any = None) -> Any:
        """Error bound of a number or an array in its unit; `scale` is what its kind is measured by, by default its value."""
        ...

    def field_bound(self, difference: Any, size: Any) -> Any:
        """Error bound of |B| in tesla at points, from its size and `difference_around` each, which has a margin already."""
        ...


@dataclass(frozen=True)
class RefinedRun:
    """The other run has a quarter of the error, so that the error is 4/3 of the difference."""

    safety_factor: float = 1.5
    reduction: float = 0.25

    def bound(self, value: Any, other: Any, unit: str = "", scale: Any = None) -> Any:
        """Error bound in the quantity's unit."""
        return self.safety_factor * np.abs(np.subtract(value, other)) / (1 - self.reduction)

    def field_bound(self, difference: Any, size: Any) -> Any:
        """Error bound of |B| in tesla at points."""
        return difference / (1 - self.reduction)


@dataclass(frozen=True, eq=False)
class ShotField:
    """The field at one instant; made by `Shot.field_at` and `Transient.field_at`.

    The error bound of a quantity follows from its difference from another run's field at the same time; without one it is infinite.

    time           seconds
    section        the parts
    solution       u at the nodes of the mesh, and what follows from it
    u_t            (n,) rate of u in T/s
    system         matrices and conductivities at this instant
    currents       ampere per turn by coil
    compared       what bounds errors, and the field of another run at the same time; None: no error bounds are known
    """

    time: float
    section: Section
    solution: NodalField
    u_t: np.ndarray
    system: EddySystem
    currents: dict[str, float]
    compared: tuple[ErrorBound, ShotField] | None = None

    plot = plot_map = drawings.plot_map
    plot_axis, plot_radius = drawings.plot_axis, drawings.plot_radius
    plot_line, plot_mesh, plot_currents = drawings.plot_line, drawings.plot_mesh, drawings.plot_currents

    def __repr__(self) -> str:
        return (f"ShotField({self.time:.6g} s, {self.unknowns} unknowns, {len(self.currents)} coils, "
                f"{'error bounds' if self.compared else 'no error bounds'})")

    __getattr__ = old_attributes("ShotField")

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

    def flux_density_error(self, r, z) -> np.ndarray:
        """Error bound of B in tesla at points, from the difference to the other run around each.

        Raises InputError where no error bound is known.
        """
        if self.compared is None:
            raise InputError("flux_density_error: no error bound is known without another run: call refined() on the shot or "
                             "transient and take the field from what it returns")
        errors, other = self.compared
        size = np.hypot(*self.flux_density(r, z))
        return np.asarray(errors.field_bound(difference_around(self.solution, other.solution, r, z), size))

    def along(self, start: tuple[float, float], end: tuple[float, float], count: int = 201) -> dict[str, np.ndarray]:
        """Distance, r, z, B_r, B_z, A_phi and J_phi, each (count,) in SI units, on the straight line between two points (r, z)."""
        share = np.linspace(0, 1, count)
        r, z = (a + share * (b - a) for a, b in zip(start, end, strict=True))
        B_r, B_z = self.flux_density(r, z)
        return {"distance": share * math.dist(start, end), "r": r, "z": z, "B_r": B_r, "B_z": B_z,
                "A_phi": self.vector_potential(r, z), "J_phi": self.current_density(r, z)}

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
        """Largest |B| in tesla in a bore or a part, with its position.

        That of a bore is the shot's series at this instant.  It follows turns that move, and it is not read next to the sharp edges of
        magnetic metal, where |B| has no bound: nearer than `EDGE_CLEARANCE` of the bore's radius.
        """
        peak = self._peak(region)
        error = self._error(peak.value, lambda field: field.peak_field(region), "T")
        return Estimate(peak.value, error, "T", r=peak.r, z=peak.z, time=self.time)

    def _peak(self, region: str) -> Peak:
        if isinstance(self.section, CrossSection) and region in self.section.bores:
            refuse_line_currents(self.section, region)
            return bore_peak(self.section, self.mesh, region, self.solution.total)
        return peak_field(self.section, self.solution, region)

    def current_density(self, r, z) -> np.ndarray:
        """J_phi in A/m^2 at points in metres, over the whole section of stranded windings, zero outside metal."""
        r, z = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
        triangle, place = locate(self.mesh, r.ravel(), z.ravel())
        density = np.zeros(r.size)
        solid = np.flatnonzero((triangle >= 0) & ((self.system.sigma + self.system.windings.density)[triangle] > 0))
        if len(solid):
            points = sample(self.mesh, triangle[solid], place[solid][:, None])
            density[solid] = induced_currents.current_density(self.system, points, self.u_t, self.currents)[:, 0]
        return density.reshape(r.shape)

    def net_current(self, name: str) -> Estimate:
        """Current of a body through its half section, of a coil per turn, in ampere along +phi."""
        def current(field: ShotField) -> float:
            return field.currents[name] if name in field.currents else -float(field.system.part_vector(name) @ field.u_t)
        self.section.part(name)
        return self._estimate(current, "A")

    def flux_linkage(self, name: str) -> Estimate:
        """Flux in weber through all turns of a coil, 2 pi s . u with its current spread as direct current is."""
        if name not in self.system.unit_loads:
            raise InputError(f"{name} is not a coil: its flux is that through a circle, flux(r, z)")
        return self._estimate(lambda field: 2 * math.pi * float(field.system.load_of(name) @ field.solution.total), "Wb")

    def energy(self) -> Estimate:
        """Energy of the field, pi u . K u, in joule; in metal with a B-H curve the integral of H dB."""
        return self._estimate(lambda field: field.system.energy(field.solution.u, field.solution.applied_field), "J")

    def force(self, name: str) -> tuple[Estimate, Estimate]:
        """Radial and axial force on a body or a coil in newton over the full circumference, inward negative.

        The integral of J x B; of magnetic metal the change of the field's energy with its position (virtual work).
        """
        return self._estimate(lambda field: field._force(name)[0], "N"), self.axial_force(name)

    def axial_force(self, name: str) -> Estimate:
        """Axial force on a body or a coil in newton, positive along +z."""
        return self._estimate(lambda field: field._force(name)[1], "N")

    def _force(self, name: str) -> tuple[float, float]:
        if is_magnetic(self.section, name):
            return tuple(virtual_work_body_forces(self.system, name, self.solution.u, self.solution.applied_field).sum(axis=0).tolist())
        points = gauss_points(self.mesh, self.mesh.part_triangles(name))
        return induced_currents.lorentz_force(self.system, points, self.solution.total, self.u_t, self.currents)

    def dipole_moment(self) -> Estimate:
        """Magnetic moment along z in A m^2 of the currents in metal, integral of pi r^2 J over the section, and of magnetized metal."""
        return self._estimate(ShotField._moment, "A m^2")

    def _moment(self) -> float:
        conducting = np.flatnonzero(self.system.sigma + self.system.windings.density > 0)
        points = gauss_points(self.mesh, conducting)
        density = induced_currents.current_density(self.system, points, self.u_t, self.currents)
        remanence = np.zeros(len(self.system.nu))               # a shot is computed without magnets
        magnetized = magnetization_moment(self.mesh, self.system.nu, remanence, self.solution.total)
        magnetized += sum(zone.moment(self.solution.total) for zone in self.system.zones)
        return float(math.pi * (density * points.r**2 * points.dA).sum() + magnetized)

    def mean_flux_density(self, name: str) -> Estimate:
        """Mean of B_z over the volume of a part in tesla."""
        self.section.part(name)
        return self._estimate(lambda field: float(mean_functional(field.mesh, name) @ field.solution.total), "T")

    def _estimate(self, evaluate: Callable[[ShotField], float], unit: str) -> Estimate:
        value = evaluate(self)
        return Estimate(value, self._error(value, evaluate, unit), unit, time=self.time)

    def _error(self, value: float, evaluate: Callable[[ShotField], float], unit: str) -> float:
        if self.compared is None:
            return math.inf
        errors, other = self.compared
        return errors.bound(value, float(evaluate(other)), unit)
