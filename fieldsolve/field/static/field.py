"""A static field as a result: every quantity with its error bound."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import Estimate
from fieldsolve.field import drawings
from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.quantities.force import checked_route
from fieldsolve.field.static.solution import StaticSolution
from geometries.cross_section import Section
from geometries.errors import InputError
from geometries.mesh import Mesh
from geometries.parts import Part


@dataclass(frozen=True, eq=False, repr=False)
class StaticField:
    """A static field, solved on the last two meshes of the refinement (a `PlottableField`).

    The difference between the two meshes bounds the error of every reading.  The field is data: it pickles and copies, and no
    reading solves anything.

    solved  the solutions on both meshes
    """

    solved: MeshPair[StaticSolution]

    plot = plot_map = drawings.plot_map
    plot_axis, plot_radius = drawings.plot_axis, drawings.plot_radius
    plot_line, plot_mesh = drawings.plot_line, drawings.plot_mesh

    def __repr__(self) -> str:
        reached = "reached" if self.accuracy_reached else "NOT reached"
        return f"StaticField({self.unknowns} unknowns, {self.meshes} meshes, accuracy {self.accuracy:g} {reached}, {self.solver})"

    @property
    def fine(self) -> StaticSolution:
        """The solution on the finer mesh."""
        return self.solved.fine

    @property
    def accuracy(self) -> float:
        """The requested accuracy."""
        return self.solved.accuracy

    @property
    def accuracy_reached(self) -> bool:
        """Whether the error bound of every goal is within the accuracy."""
        return self.solved.accuracy_reached

    @property
    def meshes(self) -> int:
        """How many meshes were solved."""
        return self.solved.meshes

    @property
    def errors(self) -> dict[str, float]:
        """Error bound of each goal, by its name and in its unit."""
        return self.solved.errors

    @property
    def convergence(self) -> tuple[RefinementStep, ...]:
        """Unknowns, goal values and error bounds of every mesh, the first one first."""
        return self.solved.convergence

    def plot_convergence(self, ax=None):
        """Draw the error bounds of the goals over the unknowns of the meshes; returns the axes.

        ax   matplotlib axes to draw on; None: new ones
        """
        from fieldsolve.report.plots.convergence import plot_convergence
        return plot_convergence(self, ax)

    @property
    def section(self) -> Section:
        """What was solved."""
        return self.fine.problem.section

    @property
    def currents(self) -> dict[str, float]:
        """Ampere per turn of each driven coil."""
        return self.fine.problem.currents

    @property
    def mesh(self) -> Mesh:
        """The finer mesh."""
        return self.fine.mesh

    @property
    def solution(self) -> NodalField:
        """The field at the nodes of the finer mesh."""
        return self.fine.solution

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the finer mesh."""
        return self.fine.mesh.size

    @property
    def solver(self) -> str:
        """Name of the linear solver."""
        return self.fine.factor.name

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points (r, z) in metres, anywhere in space; arrays of the points' shape."""
        return self.solution.flux_density(r, z)

    def flux_density_error(self, r, z) -> np.ndarray:
        """Error bound of B in tesla at points, from the length of the difference between the two meshes."""
        return self.solved.flux_density_error(r, z)

    def field_strength(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """H_r and H_z in A/m at points (r, z) in metres; arrays of the points' shape."""
        return self.fine.field_strength(r, z)

    def vector_potential(self, r, z) -> np.ndarray:
        """A_phi in Wb/m at points in metres; array of the points' shape."""
        return self.solution.vector_potential(r, z)

    def flux(self, r, z) -> np.ndarray:
        """Flux 2 pi r A_phi in weber through the circle through each point."""
        return self.solution.flux(r, z)

    def magnetic_pressure(self, r, z) -> np.ndarray:
        """B^2 / (2 mu_0) in pascal at points in metres."""
        return np.sum(np.square(self.flux_density(r, z)), axis=0) / (2 * MU_0)

    def along(self, start: tuple[float, float], end: tuple[float, float], count: int = 201) -> dict[str, np.ndarray]:
        """Distance, r, z, B_r, B_z and A_phi at `count` points of the straight line between two points (r, z)."""
        share = np.linspace(0, 1, count)
        r, z = (a + share * (b - a) for a, b in zip(start, end, strict=True))
        B_r, B_z = self.flux_density(r, z)
        return {"distance": share * math.dist(start, end), "r": r, "z": z, "B_r": B_r, "B_z": B_z, "A_phi": self.vector_potential(r, z)}

    def peak_field(self, region: str = "bore") -> Estimate:
        """Largest |B| in tesla in a bore ('bore', or 'bore of NAME' where several coils have one) or in a part, with its place.

        Raises InputError where a line current makes it infinite.
        """
        return self.solved.peak(region)

    def inductance(self, name: str) -> Estimate:
        """Self inductance of a coil in henry, from the field's energy at one ampere; InputError for a filament.

        Where metal saturates it is flux linkage over current at the solved field.
        """
        if self._coil(name).filament:
            raise InputError(f"the self inductance of {name}, a filament without section, is infinite: use ring(radius=, wire_diameter=)")
        return self.solved.estimate(lambda solved: solved.inductance(name, name), "H", f"inductance {name} {name}")

    def mutual_inductance(self, one: str, other: str) -> Estimate:
        """Mutual inductance of two coils in henry."""
        if one == other:
            return self.inductance(one)
        self._coil(one), self._coil(other)
        names = (f"inductance {one} {other}", f"inductance {other} {one}")
        return self.solved.estimate(lambda solved: solved.inductance(one, other), "H", *names)

    def inductance_matrix(self) -> tuple[tuple[str, ...], list[list[Estimate]]]:
        """Names of the coils and their inductance matrix in henry; coils that are filaments are left out."""
        names = tuple(part.name for part in self.section.parts if part.is_coil and not part.filament)
        return names, [[self.mutual_inductance(one, other) for other in names] for one in names]

    def flux_linkage(self, name: str) -> Estimate:
        """Flux through all turns of a coil in weber, with the currents as they are."""
        if self._coil(name).filament and self.currents.get(name):
            raise InputError(f"the flux of {name}, a filament, through itself is infinite: give it no current, or a wire")
        return self.solved.estimate(lambda solved: solved.flux_linkage(name), "Wb")

    def energy(self) -> Estimate:
        """Energy of the field of currents and magnets in joule; InputError where an applied field or a filament makes it infinite."""
        driven = [name for name, current in self.currents.items() if current and self.section.part(name).filament]
        if driven or self.fine.problem.applied_field:
            cause = f"{driven[0]}, a filament," if driven else "an applied uniform field"
            raise InputError(f"the energy with {cause} is infinite: read inductances or the field instead")
        return self.solved.estimate(lambda solved: solved.energy(), "J")

    def coenergy(self) -> Estimate:
        """Co-energy in joule, the integral of B dH; equals the energy where no metal saturates and none is a magnet.

        Raises InputError where the energy does.
        """
        self.energy()
        return self.solved.estimate(lambda solved: solved.coenergy(), "J")

    def axial_force(self, name: str, route: str | None = None) -> Estimate:
        """Axial force on a part in newton over the full circumference, positive along +z.

        route  'J x B' (default for coils) or 'stress': Maxwell's stress over the air around (default for bodies)
        """
        part = self.section.part(name)
        route = route or ("J x B" if part.is_coil else "stress")
        if checked_route(route) == "J x B" and not part.is_coil:
            raise InputError(f"{name} carries no current at rest; use route='stress'")
        method = StaticSolution.axial_force if route == "J x B" else StaticSolution.axial_force_by_stress
        return self.solved.estimate(lambda solved: method(solved, name), "N", f"force {name}")

    def dipole_moment(self) -> Estimate:
        """Magnetic moment along z in A m^2 of currents and magnetized metal."""
        return self.solved.estimate(lambda solved: solved.dipole_moment(), "A m^2")

    def mean_flux_density(self, name: str) -> Estimate:
        """Mean of B_z over the volume of a part in tesla."""
        self.section.part(name)
        return self.solved.estimate(lambda solved: solved.mean_flux_density(name), "T", f"mean {name}")

    def _coil(self, name: str) -> Part:
        part = self.section.part(name)
        if not part.is_coil:
            coils = ", ".join(p.name for p in self.section.parts if p.is_coil)
            raise InputError(f"{name} is a {part.shape}, not a coil: name one of {coils}")
        return part
