"""Static fields to a stated accuracy, and all that can be asked of them."""
from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import Estimate
from fieldsolve.field.adaptivity.goals import goal_names
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.adaptivity.refinement import MAX_UNKNOWNS, refine
from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.static.goals import static_goals
from fieldsolve.field.static.solution import StaticProblem, StaticSolution, solve_on_mesh
from fieldsolve.renamed import refuse_old_keywords
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError


@dataclass(frozen=True, eq=False)
class StaticField:
    """A static field as solved on the last two meshes of the refinement, which tell every figure's error."""

    solved: MeshPair

    @property
    def fine(self) -> StaticSolution:
        """The solution on the finer mesh."""
        return self.solved.fine

    @property
    def accuracy(self) -> float:
        """The accuracy asked for."""
        return self.solved.accuracy

    @property
    def accuracy_reached(self) -> bool:
        """Whether every headline figure's error is within the accuracy asked for."""
        return self.solved.accuracy_reached

    @property
    def meshes(self) -> int:
        """How many meshes were solved."""
        return self.solved.meshes

    @property
    def errors(self) -> dict[str, float]:
        """Stated error of each headline figure."""
        return self.solved.errors

    @property
    def section(self) -> CrossSection | AxialStrip:
        """What was solved."""
        return self.fine.problem.section

    @property
    def currents(self) -> dict[str, float]:
        """Ampere per turn of each driven coil."""
        return self.fine.problem.currents

    @property
    def mesh(self):
        """The finer mesh."""
        return self.fine.mesh

    @property
    def solution(self) -> NodalField:
        """u on the finer mesh, and what follows from it at any point."""
        return self.fine.solution

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the finer mesh."""
        return self.fine.mesh.size

    @property
    def solver(self) -> str:
        """Which factorization solved it."""
        return self.fine.factor.name

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points (r, z) in metres, inside, outside and beyond the mesh; arrays of the points' shape."""
        return self.solution.flux_density(r, z)

    def flux_density_error(self, r, z) -> np.ndarray:
        """Estimated error of B in tesla at points, from the length of the difference between the two meshes."""
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

        Where metal saturates it is flux linkage over current at the field there is.
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
            raise InputError(f"the energy with {cause} is infinite: ask for inductances or the field instead")
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
        if route not in ("J x B", "stress"):
            raise InputError(f"route = {route!r}: choose 'J x B' or 'stress'")
        if route == "J x B" and not part.is_coil:
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

    def _coil(self, name: str):
        part = self.section.part(name)
        if not part.is_coil:
            coils = ", ".join(p.name for p in self.section.parts if p.is_coil)
            raise InputError(f"{name} is a {part.shape}, not a coil: name one of {coils}")
        return part


@refuse_old_keywords
def solve_static(section: CrossSection | AxialStrip, currents: Mapping[str, float] | None = None, *, applied_field: float = 0.0,
                 face_field: float = 0.0, accuracy: float = 1e-3, points: Iterable[tuple[float, float]] = (),
                 goals: Iterable[str] = (), open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS) -> StaticField:
    """Static field of coils, magnets and permeable bodies; where metal saturates, by Newton's method with a line search.

    section        CrossSection in open space, or AxialStrip
    currents       ampere per turn by part name; a coil not named carries none
    applied_field  uniform field along z in tesla
    face_field     for a strip: tangential field H_z on its outer face in A/m
    accuracy       relative bound on every headline figure: self and mutual inductances, axial forces, the bores' peaks, mean B in
                   permeable and magnetized bodies, B on the axis over the section's height and at `points`
    points         places (r, z) in metres where B is wanted to that accuracy
    goals          of the goals those alone that begin with these words, such as "inductance" or "peak bore"; default all
    open_radius    radius of the meshed air in metres, default 1.6 times the extent of the parts; open space beyond is exact
    max_unknowns   where refinement stops
    Returns a StaticField; warns with AccuracyWarning and marks it where the accuracy was not reached.
    Raises InputError, GeometryError, MeshError or SolveError.
    """
    problem = _checked(section, currents, applied_field, face_field)
    points, goals = tuple((float(r), float(z)) for r, z in points), goal_names(goals)
    return StaticField(refine(section, lambda mesh: solve_on_mesh(problem, mesh), lambda solved: static_goals(solved, points, goals),
                              accuracy, open_radius=open_radius, max_unknowns=max_unknowns))


def _checked(section, currents, applied_field, face_field) -> StaticProblem:
    currents = dict(currents or {})
    for name, current in currents.items():
        part = section.part(name)
        if not part.is_coil:
            raise InputError(f"currents: {name} is a {part.shape}, not a coil; a body carries no given current")
        if not math.isfinite(current):
            raise InputError(f"currents: {name} = {current} is not a finite number of amperes")
    strip = isinstance(section, AxialStrip)
    if face_field and not strip:
        raise InputError("face_field belongs to an AxialStrip; in open space give applied_field in tesla")
    if strip and applied_field:
        raise InputError("a strip has no open space: give face_field in A/m instead of applied_field")
    if strip and section.inner_radius > 0:
        raise InputError(f"inner_radius = {section.inner_radius:g} m: at rest the flux within is not determined; begin the strip at r = 0")
    return StaticProblem(section, currents, float(applied_field), float(face_field))
