"""Time-harmonic fields with eddy currents, to a stated accuracy, at one frequency or many."""
from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from fieldsolve.field.adaptivity.error_bounds import worst_reduction
from fieldsolve.field.adaptivity.goals import goal_names
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.adaptivity.refinement import MAX_UNKNOWNS, refine, surface_cell_sizes
from fieldsolve.field.harmonic.effective_reluctivity import solve_self_consistent
from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep
from fieldsolve.field.harmonic.goals import harmonic_goals
from fieldsolve.field.harmonic.solution import HarmonicProblem, HarmonicSolution
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.renamed import refuse_old_keywords
from geometries.cross_section import AxialStrip, CrossSection
from geometries.errors import InputError

MAX_CONTROL_FREQUENCIES = 3                  # frequencies of a list whose figures steer the refinement


@refuse_old_keywords
def solve_harmonic(section: CrossSection | AxialStrip, frequency: float | Iterable[float], currents: Mapping[str, complex] | None = None, *,
                   voltages: Mapping[str, complex] | None = None, applied_field: complex = 0.0,
                   face_field: complex | tuple[complex, complex] = 0.0, accuracy: float = 1e-3,
                   points: Iterable[tuple[float, float]] = (), goals: Iterable[str] = (),
                   open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS) -> HarmonicField | HarmonicSweep:
    """Field of coils and conducting bodies at one frequency, or at each of a list on the same mesh.

    frequency      hertz, or several
    currents       phasors in ampere per turn by coil; voltages  phasors in volt at the terminals; every other solid coil is closed
                   on itself, every other stranded winding or line current open
    applied_field  uniform field along z, peak value in tesla
    face_field     for a strip: tangential field H_z in A/m on its outer face, or (inner, outer)
    accuracy       relative bound on every headline figure: resistance, inductance and their change, loss, net current and force of
                   bodies, mean B of the bodies of a strip, peaks in the bores, B on the axis and at `points`, dipole moment
    goals          of the goals those alone that begin with these words, such as "loss" or "resistance coil"; default all
    Metal with a magnetization curve has an effective reluctivity, see `HarmonicField.approximations` and `field/effective.py`.
    Returns a HarmonicField, or a HarmonicSweep for a list; warns with AccuracyWarning where the accuracy was not reached.
    Raises InputError, GeometryError, MeshError or SolveError.
    """
    several = isinstance(frequency, Iterable)
    frequencies = [_checked_frequency(f) for f in (frequency if several else [frequency])]
    if not frequencies:
        raise InputError("frequency: the list is empty; give at least one in hertz")
    problem = _problem(section, currents, voltages, applied_field, face_field)
    points, goals = tuple((float(r), float(z)) for r, z in points), goal_names(goals)
    control_frequencies = _control_frequencies(frequencies)
    refined = refine(section, lambda mesh: _FrequencySolutions(eddy_system(section, mesh), problem, control_frequencies),
                     lambda solved: solved.goals(points, goals), accuracy, open_radius=open_radius, max_unknowns=max_unknowns,
                     part_sizes=surface_cell_sizes(section, max(frequencies)))
    fields = tuple(HarmonicField(f, _pair_at(f, refined)) for f in frequencies)
    return HarmonicSweep(fields) if several else fields[0]


def _pair_at(frequency: float, refined: MeshPair) -> MeshPair:
    """Both meshes' solutions at one frequency, with the falls of estimated errors there or, where it was no probe, on both sides of it."""
    ordered = sorted(refined.fine.control_frequencies)
    place = bisect_left(ordered, frequency)
    here, *others = (_at_one_frequency(refined.reductions, f) for f in ordered[max(place - (ordered[place] != frequency), 0): place + 1])
    reductions = {name: worst_reduction(reduction, *(other[name] for other in others if name in other)) for name, reduction in here.items()}
    return replace(refined, fine=refined.fine.at(frequency), coarse=refined.coarse.at(frequency), reductions=reductions,
                   errors=_at_one_frequency(refined.errors, frequency))


def _at_one_frequency(goals: dict[str, Any], frequency: float) -> dict[str, Any]:
    """What belongs to one frequency, by the name of the figure alone."""
    start = _prefix(frequency)
    return {name.removeprefix(start): value for name, value in goals.items() if name.startswith(start)}


def _prefix(frequency: float) -> str:
    return f"{frequency:.12g} Hz: "


class _FrequencySolutions:
    """Solutions on one mesh at the frequencies that steer the refinement, and at others when they are asked for."""

    def __init__(self, system: EddySystem, problem: HarmonicProblem, control_frequencies: list[float]):
        self.system, self.problem, self.control_frequencies = system, problem, control_frequencies
        self.solved = {f: solve_self_consistent(problem, system, 2 * math.pi * f) for f in control_frequencies}

    def at(self, frequency: float) -> HarmonicSolution:
        if frequency not in self.solved:
            self.solved[frequency] = solve_self_consistent(self.problem, self.system, 2 * math.pi * frequency)
        return self.solved[frequency]

    @property
    def nu(self) -> np.ndarray:
        """Reluctivity of each triangle, m/H, with curves that at the lowest frequency; (m,)."""
        return self.solved[self.control_frequencies[0]].system.nu

    def goals(self, points, requested):
        return {_prefix(f) + name: replace(goal, family=goal.family and _prefix(f) + goal.family)
                for f in self.control_frequencies for name, goal in harmonic_goals(self.solved[f], points, requested).items()}


def _control_frequencies(frequencies: list[float]) -> list[float]:
    """Lowest, highest and middle frequency."""
    ordered = sorted(set(frequencies))
    places = np.unique(np.linspace(0, len(ordered) - 1, min(MAX_CONTROL_FREQUENCIES, len(ordered))).round().astype(int))
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
