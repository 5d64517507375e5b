"""Time-harmonic fields with eddy currents to a requested accuracy, at one frequency or many: `solve_harmonic`."""
from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, overload

import numpy as np

from fieldsolve.bounds import check_bounds, check_by_name, is_finite_number
from fieldsolve.field.adaptivity.error_bounds import worst_reduction
from fieldsolve.field.adaptivity.error_indicators import Goal
from fieldsolve.field.adaptivity.goals import checked_points, goal_names
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.adaptivity.refinement import MAX_UNKNOWNS, order_for, refine, surface_cell_sizes
from fieldsolve.field.harmonic.effective_reluctivity import solve_self_consistent
from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep
from fieldsolve.field.harmonic.goals import coils_compared_alone, harmonic_goals
from fieldsolve.field.harmonic.isolated_coil import solve_isolated_coil
from fieldsolve.field.harmonic.neighbouring_frequencies import solve_between
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.solution import HarmonicSolution
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.renamed import refuse_old_keywords
from geometries.cross_section import AxialStrip, CrossSection, check_cross_section
from geometries.errors import InputError
from geometries.keywords import known_keywords

MAX_CONTROL_FREQUENCIES = 3     # frequencies of a list whose goals steer the refinement
PROJECTION_ERROR = 1e-6         # of the accuracy: relative error of a field between those frequencies beside that on its mesh,
LEAST_PROJECTION_ERROR = 1e-10  # and the least that is asked for


@overload
def solve_harmonic(section: CrossSection | AxialStrip, frequency: float, currents: Mapping[str, complex] | None = None, *,
                   voltages: Mapping[str, complex] | None = None, applied_field: complex = 0.0,
                   face_field: complex | tuple[complex, complex] = 0.0, accuracy: float = 1e-3,
                   points: Iterable[tuple[float, float]] = (), goals: Iterable[str] = (),
                   open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
                   linear_solver: str | LinearSolver | None = None) -> HarmonicField: ...


@overload
def solve_harmonic(section: CrossSection | AxialStrip, frequency: Iterable[float], currents: Mapping[str, complex] | None = None, *,
                   voltages: Mapping[str, complex] | None = None, applied_field: complex = 0.0,
                   face_field: complex | tuple[complex, complex] = 0.0, accuracy: float = 1e-3,
                   points: Iterable[tuple[float, float]] = (), goals: Iterable[str] = (),
                   open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
                   linear_solver: str | LinearSolver | None = None) -> HarmonicSweep: ...


@refuse_old_keywords
@known_keywords
def solve_harmonic(section: CrossSection | AxialStrip, frequency: float | Iterable[float], currents: Mapping[str, complex] | None = None, *,
                   voltages: Mapping[str, complex] | None = None, applied_field: complex = 0.0,
                   face_field: complex | tuple[complex, complex] = 0.0, accuracy: float = 1e-3,
                   points: Iterable[tuple[float, float]] = (), goals: Iterable[str] = (),
                   open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
                   linear_solver: str | LinearSolver | None = None) -> HarmonicField | HarmonicSweep:
    """Field of coils and conducting bodies at one frequency, or at each of a list on the same meshes.

    Parameters
    ----------
    section : CrossSection or AxialStrip
        Coils and bodies in open space, or a slice of an infinitely long arrangement.
    frequency : float or iterable of float
        In hertz.
    currents : mapping of str to complex, optional
        Phasors in ampere per turn by coil, peak values with exp(+j omega t).
    voltages : mapping of str to complex, optional
        Phasors in volt at the terminals by coil.  Every solid coil without current or voltage is closed on itself, every other
        stranded winding or line current is open.
    applied_field : complex
        Uniform field along z, peak value in tesla.
    face_field : complex or (complex, complex)
        Of a strip: tangential field H_z in A/m on its outer face, or on the inner and the outer one.
    accuracy : float
        Relative bound on the error of every goal: resistance, inductance and their change by other parts, loss, net current and
        force of bodies (in a strip mean B in place of the force), peaks in the bores, B on the axis and at `points`, dipole moment.
    points : iterable of (float, float)
        Places (r, z) in metres where B is a goal.
    goals : str or iterable of str
        Only the goals whose names begin with these words, such as "loss" or "resistance coil"; default all.
    open_radius : float, optional
        Radius of the meshed air in metres; open space beyond is exact.
    max_unknowns : int
        Where the refinement stops.
    linear_solver : str or LinearSolver, optional
        "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU.

    Returns
    -------
    HarmonicField or HarmonicSweep
        The latter for several frequencies.  Both are data: reading, copying and pickling them solves nothing.

    Raises
    ------
    InputError, GeometryError, MeshError, SolveError

    Warns
    -----
    AccuracyWarning
        Where the accuracy was not reached; the result says so too.

    Notes
    -----
    Metal with a B-H curve has an effective reluctivity, see `HarmonicField.approximations` and `effective_reluctivity.py`.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> plate = geo.plate(radius=40e-3, thickness=3e-3, at=-6e-3, material=fs.material("copper"))
    >>> section = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=14e-3, height=6e-3, turns=20), plate])
    >>> field = fs.solve_harmonic(section, 2e3, currents={"coil": 1.0}, accuracy=1e-2)
    >>> field.inductance_change("coil").unit, bool(field.inductance_change("coil") < 0)
    ('H', True)
    """
    frequencies = [_checked_frequency(f) for f in ([frequency] if isinstance(frequency, str) or not isinstance(frequency, Iterable)
                                                   else frequency)]
    if not frequencies:
        raise InputError("frequency: the list is empty; give at least one in hertz")
    problem = _problem(section, currents, voltages, applied_field, face_field)
    points, goals = checked_points(points), goal_names(goals)
    solver, control_frequencies = choose_solver(linear_solver), _control_frequencies(frequencies)
    refined = refine(section, lambda mesh: _solve_on_mesh(problem, eddy_system(section, mesh, solver), control_frequencies, goals),
                     lambda solved: _goals_at_all(solved, points, goals), accuracy, open_radius=open_radius, max_unknowns=max_unknowns,
                     part_sizes=surface_cell_sizes(section, max(frequencies)), order=order_for(accuracy))
    fine, coarse = (_at_all_frequencies(solved, frequencies, accuracy) for solved in (refined.fine, refined.coarse))
    fields = tuple(HarmonicField(f, _pair_at(f, refined, fine[f], coarse[f])) for f in frequencies)
    return HarmonicSweep(fields) if isinstance(frequency, Iterable) else fields[0]


@dataclass(frozen=True, eq=False)
class _FrequencySolutions:
    """Solutions on one mesh at the frequencies that steer the refinement (a `SolvedProblem`).

    solutions        by frequency in hertz
    isolated_fields  field (n,) of one ampere in each coil that was solved for alone, at every frequency the same
    """

    problem: HarmonicProblem
    system: EddySystem
    solutions: dict[float, HarmonicSolution]
    isolated_fields: dict[str, np.ndarray]

    @property
    def nu(self) -> np.ndarray:
        """Reluctivity of each triangle in m/H, in metal with a B-H curve that at the lowest frequency; (m,)."""
        return self.solutions[min(self.solutions)].system.nu


def _solve_on_mesh(problem: HarmonicProblem, system: EddySystem, frequencies: list[float], goals: tuple[str, ...]) -> _FrequencySolutions:
    isolated = {name: solve_isolated_coil(system, name, 0.0) for name in coils_compared_alone(problem, goals)}
    solutions = {f: solve_self_consistent(problem, system, 2 * math.pi * f, isolated) for f in frequencies}
    return _FrequencySolutions(problem, system, solutions, isolated)


def _at_all_frequencies(solved: _FrequencySolutions, frequencies: list[float], accuracy: float) -> dict[float, HarmonicSolution]:
    """The solutions at all frequencies, those that steer the refinement and those between."""
    tolerance = max(PROJECTION_ERROR * accuracy, LEAST_PROJECTION_ERROR)
    return solved.solutions | solve_between(solved.system, solved.solutions, frequencies, tolerance)


def _goals_at_all(solved: _FrequencySolutions, points: tuple[tuple[float, float], ...], requested: tuple[str, ...]) -> dict[str, Goal]:
    """The goals at all frequencies that steer the refinement, each name with its frequency in front."""
    return {_prefix(f) + name: replace(goal, family=goal.family and _prefix(f) + goal.family)
            for f, solution in solved.solutions.items() for name, goal in harmonic_goals(solution, points, requested).items()}


def _pair_at(frequency: float, refined: MeshPair[_FrequencySolutions], fine: HarmonicSolution,
             coarse: HarmonicSolution) -> MeshPair[HarmonicSolution]:
    """Solutions of both meshes at one frequency, with their errors.

    Error reductions are those at the frequency, or the worst of its neighbours among the frequencies that steered the refinement.
    """
    ordered = sorted(refined.fine.solutions)
    place = bisect_left(ordered, frequency)
    here, *others = (_at_one_frequency(refined.reductions, f) for f in ordered[max(place - (ordered[place] != frequency), 0): place + 1])
    reductions = {name: worst_reduction(reduction, *(other[name] for other in others if name in other)) for name, reduction in here.items()}
    convergence = refined.convergence
    if frequency in ordered:
        convergence = tuple(step.restricted(lambda by_goal: _at_one_frequency(by_goal, frequency)) for step in convergence)
    return MeshPair(fine=fine, coarse=coarse, errors=_at_one_frequency(refined.errors, frequency), reductions=reductions,
                    accuracy=refined.accuracy, accuracy_reached=refined.accuracy_reached, convergence=convergence)


def _at_one_frequency(by_goal: dict[str, Any], frequency: float) -> dict[str, Any]:
    """The entries of one frequency, by the name of the goal alone."""
    start = _prefix(frequency)
    return {name.removeprefix(start): value for name, value in by_goal.items() if name.startswith(start)}


def _prefix(frequency: float) -> str:
    return f"{frequency:.12g} Hz: "


def _control_frequencies(frequencies: list[float]) -> list[float]:
    """Lowest, highest and middle frequency."""
    ordered = sorted(set(frequencies))
    places = np.unique(np.linspace(0, len(ordered) - 1, min(MAX_CONTROL_FREQUENCIES, len(ordered))).round().astype(int))
    return [ordered[k] for k in places]


def _checked_frequency(frequency: float) -> float:
    if not is_finite_number(frequency) or frequency <= 0:
        given = f"{frequency:g} Hz" if is_finite_number(frequency) else repr(frequency)
        raise InputError(f"frequency = {given}: give a positive number of hertz; for a field at rest use solve_static")
    return float(check_bounds("frequency", frequency, "Hz"))


def _problem(section, currents, voltages, applied_field, face_field) -> HarmonicProblem:
    check_cross_section(section)
    for kind, given in (("currents", currents), ("voltages", voltages)):
        check_by_name(kind, given, "{'coil': 1000.0}")
    currents, voltages = dict(currents or {}), dict(voltages or {})
    for kind, given in (("currents", currents), ("voltages", voltages)):
        for name, value in given.items():
            if not section.part(name).is_coil:
                raise InputError(f"{kind}: {name} is a {section.part(name).shape}, not a coil")
            check_bounds(f"{kind}: {name}", value, {"currents": "A", "voltages": "V"}[kind])
    check_bounds("applied_field", applied_field, "T")
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
    if not (any(currents.values()) or any(voltages.values()) or applied_field or any(faces.values())):
        raise InputError("nothing drives the field: give currents= or voltages= other than 0 for a coil, or applied_field=")
    return HarmonicProblem(section, currents, voltages, applied_field, {k: v for k, v in faces.items() if v})
