"""Time-harmonic fields with eddy currents, to a stated accuracy, at one frequency or many."""
from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.estimate import ComplexEstimate, Estimate
from fieldsolve.field.eddy_system import EddySystem, eddy_system
from fieldsolve.field.harmonic_headline import headline
from fieldsolve.field.harmonic_solution import HarmonicProblem, HarmonicSolution, solve_on
from fieldsolve.field.refinement import MAX_UNKNOWNS, refine, surface_cells
from fieldsolve.field.stated import worse
from fieldsolve.field.system import refuse_curves
from fieldsolve.field.two_meshes import TwoMeshes
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError
from geometries.mesh import Mesh

PROBES = 3                  # frequencies of a list whose figures steer the refinement


@dataclass(frozen=True, eq=False)
class HarmonicField:
    """The field at one frequency as solved on the last two meshes of the refinement, which tell every figure's error.

    Phasors are peak values with exp(+j omega t); powers and forces are time means.
    """

    frequency: float
    solved: TwoMeshes

    @property
    def fine(self) -> HarmonicSolution:
        """The solution on the finer mesh."""
        return self.solved.fine

    @property
    def accuracy(self) -> float:
        """The accuracy asked for."""
        return self.solved.accuracy

    @property
    def accuracy_reached(self) -> bool:
        """Whether every headline figure's error is within the accuracy asked for, at the frequencies that steer the refinement."""
        return self.solved.accuracy_reached

    @property
    def meshes(self) -> int:
        """How many meshes were solved."""
        return self.solved.meshes

    @property
    def section(self) -> CrossSection | AxialStrip:
        """What was solved."""
        return self.fine.problem.section

    @property
    def mesh(self) -> Mesh:
        """The finer mesh."""
        return self.fine.mesh

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the finer mesh."""
        return self.mesh.size

    @property
    def solver(self) -> str:
        """How it was solved."""
        return f"GMRES with {self.fine.operator.factor_name}"

    @property
    def currents(self) -> dict[str, complex]:
        """Current in ampere per turn of every coil, closed ones included."""
        return self.fine.currents

    # ---- field ------------------------------------------------------------------------------------------------------

    def flux_density(self, r, z) -> tuple[np.ndarray, np.ndarray]:
        """Phasors B_r and B_z in tesla at points (r, z) in metres, anywhere in space; arrays of the points' shape."""
        return self.fine.solution.flux_density(r, z)

    def flux_density_error(self, r, z) -> np.ndarray:
        """Estimated error of B in tesla at points, from the length of the difference between the two meshes."""
        return self.solved.flux_density_error(r, z)

    def vector_potential(self, r, z) -> np.ndarray:
        """Phasor A_phi in Wb/m at points in metres."""
        return self.fine.solution.vector_potential(r, z)

    def flux(self, r, z) -> np.ndarray:
        """Phasor of the flux 2 pi r A_phi in weber through the circle through each point."""
        return self.fine.solution.flux(r, z)

    def current_density(self, r, z) -> np.ndarray:
        """Phasor J_phi in A/m^2 at points in metres, zero outside metal."""
        return self.fine.current_density(r, z)

    def magnetic_pressure(self, r, z) -> np.ndarray:
        """Time mean of B^2 / (2 mu_0) in pascal at points in metres."""
        return sum(np.abs(B) ** 2 for B in self.flux_density(r, z)) / (4 * MU_0)

    def peak_field(self, region: str = "bore") -> Estimate:
        """Largest |B| over the cycle in tesla in a bore or a part, with its place; InputError at a line current."""
        return self.solved.peak(region)

    # ---- terminals --------------------------------------------------------------------------------------------------

    def resistance(self, name: str) -> Estimate:
        """Re(V / I) in ohm at a coil's terminals, as solved."""
        self._refuse_line(name, "resistance")
        return self.solved.estimate(lambda solved: solved.impedance(name).real, "ohm", f"resistance {name}")

    def inductance(self, name: str) -> Estimate:
        """Im(V / I) / omega in henry at a coil's terminals, as solved."""
        if self.section.part(name).filament:
            raise InputError(f"the inductance of {name}, a filament, is infinite: ask for inductance_change, or use ring(wire_diameter=)")
        return self.solved.estimate(lambda solved: solved.inductance(self._coil(name)), "H", f"inductance {name}")

    def resistance_change(self, name: str) -> Estimate:
        """Re(V / I) in ohm less that of the same coil alone, both on one mesh; finite for a loop, needs no fill."""
        return self.solved.estimate(lambda solved: solved.impedance_change(self._coil(name)).real, "ohm", f"resistance change {name}")

    def inductance_change(self, name: str) -> Estimate:
        """Im(V / I) / omega in henry less that of the same coil alone, both on one mesh; finite for a loop."""
        self._coil(name)
        return self.solved.estimate(lambda solved: solved.impedance_change(name).imag / solved.omega, "H", f"inductance change {name}")

    def mutual_inductance(self, one: str, other: str) -> ComplexEstimate:
        """Flux linkage of one coil per ampere in another in henry, complex: the metal's currents lag."""
        self._coil(one), self._coil(other)
        return self.solved.estimate(lambda solved: solved.mutual_inductance(one, other), "H")

    def voltage(self, name: str) -> ComplexEstimate:
        """Phasor of the terminal voltage of a coil in volt."""
        self._refuse_line(name, "voltage")
        return self.solved.estimate(lambda solved: solved.voltage(self._coil(name)), "V")

    # ---- metal ------------------------------------------------------------------------------------------------------

    def net_current(self, name: str, zone: str | None = None) -> ComplexEstimate:
        """Phasor of the current in ampere through a body's half section, positive along +phi; of a coil its current per turn."""
        number = self._zone(name, zone)
        return self.solved.estimate(lambda solved: solved.net_current(name, number), "A", f"current {name}" if zone is None else "")

    def loss(self, name: str, zone: str | None = None) -> Estimate:
        """Time mean of the ohmic heat of a part, or of one of its zones, in watt."""
        number = self._zone(name, zone)
        return self.solved.estimate(lambda solved: solved.loss(name, number), "W", f"loss {name}" if zone is None else "")

    def radial_force(self, name: str, route: str = "J x B") -> Estimate:
        """Time mean of the integral of the radial force density in newton, inward negative; route 'J x B' or 'stress'."""
        return self._force(name, route, 0, "radial")

    def axial_force(self, name: str, route: str = "J x B") -> Estimate:
        """Time mean of the axial force on a part in newton; route 'J x B' or 'stress'."""
        return self._force(name, route, 1, "axial")

    def _force(self, name: str, route: str, component: int, word: str) -> Estimate:
        if route not in ("J x B", "stress"):
            raise InputError(f"route = {route!r}: choose 'J x B' or 'stress'")
        part = self.section.part(name)
        if component == 0 and not part.zones:
            raise InputError(f"the radial force on {name}, a line current, is not finite: give the coil a wire")
        if route == "J x B" and any(getattr(zone.material, "relative_permeability", 1.0) != 1 for zone in part.zones):
            raise InputError(f"{name} is permeable: J x B leaves out the force on its magnetization; use route='stress'")
        method = HarmonicSolution.force if route == "J x B" else HarmonicSolution.force_by_stress
        return self.solved.estimate(lambda solved: method(solved, name)[component], "N", f"{word} force {name}")

    def dipole_moment(self) -> ComplexEstimate:
        """Phasor of the magnetic moment along z in A m^2 of all currents and of permeable metal."""
        return self.solved.estimate(lambda solved: solved.dipole_moment(), "A m^2", "dipole moment")

    def mean_flux_density(self, name: str) -> ComplexEstimate:
        """Phasor of the mean of B_z over the volume of a part in tesla."""
        self.section.part(name)
        return self.solved.estimate(lambda solved: solved.mean_flux_density(name), "T", f"mean {name}")

    # ---- checks -----------------------------------------------------------------------------------------------------

    def _coil(self, name: str) -> str:
        part = self.section.part(name)
        if not part.is_coil:
            raise InputError(f"{name} is a {part.shape}, not a coil: it has no terminals")
        return name

    def _refuse_line(self, name: str, word: str) -> None:
        if not self.section.part(self._coil(name)).zones:
            raise InputError(f"the {word} of {name}, a line current without section, is not defined: ask for resistance_change and "
                             "inductance_change, or give the coil a wire")

    def _zone(self, name: str, zone: str | None) -> int | None:
        names = [z.name for z in self.section.part(name).zones]
        if zone is not None and zone not in names:
            raise InputError(f"{name} has no zone {zone!r}: its zones are {', '.join(names)}")
        return None if zone is None else names.index(zone)


@dataclass(frozen=True, eq=False)
class HarmonicSweep:
    """Fields at several frequencies on one pair of meshes: a sequence of HarmonicField in the order asked for."""

    fields: tuple[HarmonicField, ...]

    @property
    def frequencies(self) -> np.ndarray:
        """Frequencies in hertz."""
        return np.array([field.frequency for field in self.fields])

    def __len__(self) -> int:
        return len(self.fields)

    def __getitem__(self, k: int) -> HarmonicField:
        return self.fields[k]


def solve_harmonic(section: CrossSection | AxialStrip, frequency: float | Iterable[float], currents: Mapping[str, complex] | None = None, *,
                   voltages: Mapping[str, complex] | None = None, applied_field: complex = 0.0,
                   face_field: complex | tuple[complex, complex] = 0.0, accuracy: float = 1e-3,
                   points: Iterable[tuple[float, float]] = (), open_radius: float | None = None,
                   max_unknowns: int = MAX_UNKNOWNS) -> HarmonicField | HarmonicSweep:
    """Field of coils and conducting bodies at one frequency, or at each of a list on the same mesh.

    frequency      hertz, or several
    currents       phasors in ampere per turn by coil; voltages  phasors in volt at the terminals; every other solid coil is closed
                   on itself, every other stranded winding or line current open
    applied_field  uniform field along z, peak value in tesla
    face_field     for a strip: tangential field H_z in A/m on its outer face, or (inner, outer)
    accuracy       relative bound on every headline figure: resistance, inductance and their change, loss, net current and force of
                   bodies, mean B of the bodies of a strip, peaks in the bores, B on the axis and at `points`, dipole moment
    Returns a HarmonicField, or a HarmonicSweep for a list; warns with AccuracyWarning where the accuracy was not reached.
    Raises InputError, GeometryError, MeshError or SolveError.
    """
    several = isinstance(frequency, Iterable)
    frequencies = [_checked_frequency(f) for f in (frequency if several else [frequency])]
    if not frequencies:
        raise InputError("frequency: the list is empty; give at least one in hertz")
    refuse_curves(section)
    problem = _problem(section, currents, voltages, applied_field, face_field)
    points = tuple((float(r), float(z)) for r, z in points)
    probes = _probes(frequencies)
    refined = refine(section, lambda mesh: _Probed(eddy_system(section, mesh), problem, probes),
                     lambda solved: solved.headline(points), accuracy, open_radius=open_radius, max_unknowns=max_unknowns,
                     part_sizes=surface_cells(section, max(frequencies)))
    fields = tuple(HarmonicField(f, _at(f, refined)) for f in frequencies)
    return HarmonicSweep(fields) if several else fields[0]


def _at(frequency: float, refined: TwoMeshes) -> TwoMeshes:
    """Both meshes' solutions at one frequency, with the falls of estimated errors there or, where it was no probe, on both sides of it."""
    ordered = sorted(refined.fine.probes)
    place = bisect_left(ordered, frequency)
    here, *others = (_named(refined.falls, f) for f in ordered[max(place - (ordered[place] != frequency), 0): place + 1])
    falls = {name: worse(fall, *(other[name] for other in others if name in other)) for name, fall in here.items()}
    return replace(refined, fine=refined.fine.at(frequency), coarse=refined.coarse.at(frequency), falls=falls,
                   errors=_named(refined.errors, frequency))


def _named(figures: dict[str, Any], frequency: float) -> dict[str, Any]:
    """What belongs to one frequency, by the name of the figure alone."""
    start = _prefix(frequency)
    return {name.removeprefix(start): value for name, value in figures.items() if name.startswith(start)}


def _prefix(frequency: float) -> str:
    return f"{frequency:.12g} Hz: "


class _Probed:
    """Solutions on one mesh at the frequencies that steer the refinement, and at others when they are asked for."""

    def __init__(self, system: EddySystem, problem: HarmonicProblem, probes: list[float]):
        self.system, self.problem, self.probes = system, problem, probes
        self.solved = {f: solve_on(problem, system, 2 * math.pi * f) for f in probes}

    def at(self, frequency: float) -> HarmonicSolution:
        if frequency not in self.solved:
            self.solved[frequency] = solve_on(self.problem, self.system, 2 * math.pi * frequency)
        return self.solved[frequency]

    def headline(self, points):
        return {_prefix(f) + name: replace(figure, family=figure.family and _prefix(f) + figure.family)
                for f in self.probes for name, figure in headline(self.solved[f], points).items()}


def _probes(frequencies: list[float]) -> list[float]:
    """Lowest, highest and middle frequency."""
    ordered = sorted(set(frequencies))
    places = np.unique(np.linspace(0, len(ordered) - 1, min(PROBES, len(ordered))).round().astype(int))
    return [ordered[k] for k in places]


def _checked_frequency(frequency: float) -> float:
    if not (math.isfinite(frequency) and frequency > 0):
        raise InputError(f"frequency = {frequency:g} Hz: give a positive number of hertz; for a field at rest use solve_static")
    return float(frequency)


def _problem(section, currents, voltages, applied_field, face_field) -> HarmonicProblem:
    currents, voltages = dict(currents or {}), dict(voltages or {})
    for kind, given in (("currents", currents), ("voltages", voltages)):
        for name, value in given.items():
            if not section.part(name).is_coil:
                raise InputError(f"{kind}: {name} is a {section.part(name).shape}, not a coil")
            if not np.isfinite(value):
                raise InputError(f"{kind}: {name} = {value} is not a finite number")
    both = currents.keys() & voltages.keys()
    if both:
        raise InputError(f"{min(both)} has both a current and a voltage: give one of them")
    for name in voltages:
        part = section.part(name)
        if not part.zones or (part.stranded and (part.fill is None or part.zones[0].material is None)):
            raise InputError(f"voltages: the resistance of {name} is not known; give fill= and material=, or drive it by a current")
    strip = isinstance(section, AxialStrip)
    faces = dict(zip(("inner", "outer"), face_field if isinstance(face_field, tuple) else (0.0, face_field), strict=True))
    if any(faces.values()) and not strip:
        raise InputError("face_field belongs to an AxialStrip; in open space give applied_field in tesla")
    if strip and applied_field:
        raise InputError("a strip has no open space: give face_field in A/m instead of applied_field")
    if not (currents or voltages or applied_field or any(faces.values())):
        raise InputError("nothing drives the field: give currents= or voltages= for a coil, or applied_field=")
    return HarmonicProblem(section, currents, voltages, applied_field, {k: v for k, v in faces.items() if v})
