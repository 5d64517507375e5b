"""The loop behind `accuracy`: solve, refine where the errors of the goals arise, compare with the mesh before, repeat.

This is goal-oriented adaptivity by dual-weighted residuals (R. Becker, R. Rannacher, Acta Numerica 10 (2001) 1):

1. Solve the problem on a mesh.
2. For each goal solve the dual problem: the goal, taken as a load, causes the dual field.
3. In each triangle the local error of the field times that of the dual field estimates its share in the goal's error.
4. From the estimates, and from how much the goals changed since the mesh before, follow bounds on the goals' errors.
5. Stop where all bounds are within the accuracy.  Else make cells smaller where the shares of the worst goals are large.
"""
from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from fieldsolve.bounds import check_accuracy
from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.error_bounds import ErrorBounds, bound_errors
from fieldsolve.field.adaptivity.error_indicators import Goal, error_indicators, halved_sizes, refined_sizes
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.adaptivity.solved_problem import SolvedProblem
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system.coefficients import convergence_rates, smooth_subdomains
from fieldsolve.skin import skin_depth
from geometries.cross_section import Section
from geometries.errors import AccuracyWarning
from geometries.gmsh_session import gmsh_kept
from geometries.mesh import Mesh
from geometries.mesh_refinement import refine_locally
from geometries.mesher import mesh_section
from geometries.sizing import CellSizes

Solved = TypeVar("Solved", bound=SolvedProblem)     # a solution on one mesh

MAX_MESHES = 12                     # at most
MAX_UNKNOWNS = 600_000
MIN_REDUCTION = 5.0         # a mesh divides the estimated error by at least this much, or its difference says little
MAX_REDUCTION = 30.0        # and in order 2 by at most this much, as far as a mesh can predict the next; the unknowns then grow 5.5 times
HIGH_ORDER = 4
OVERSHOOT = 2.0             # factor by which a mesh divides the error more than requested, so that one more mesh is seldom needed
LEAST_ACCURACY_OF_ORDER_2 = 2e-3    # from which on order 2 takes no more time than order 4
LEAST_ACCURACY_OF_NEW_MESHES = 1e-4     # from which on meshes are made anew: cells left as they are tell nothing of errors at points there
SINGULAR_RATE_AT_CORNER = 1.0       # of a triangle at a corner next to a point where a goal is read, see `_indicator_rates`
HIGH_ORDER_SCALE = 2.0      # cell size of the first mesh of order 4 over that of order 2
PERFECT_CONDUCTOR = 1e-4    # skin depth over thickness below which metal is a perfect conductor, whose skin no mesh resolves
SURFACE_CELLS = 0.75        # cells of the first mesh in a skin depth; the refinement adds what is missing
TYPICAL_EFFECTIVITY = 0.1   # error over dual estimate of a goal on the first mesh; about 1 for energies


@dataclass(frozen=True, eq=False)
class Evaluated(Generic[Solved]):
    """A solution with its goals, the bounds on their errors, and where these errors arise.

    estimates     of the goals' errors by their dual fields on this mesh alone; (k,)
    error_bounds  from these estimates and the meshes before
    worst_ratio   largest error bound over its tolerance; infinite on the first mesh, zero without goals
    indicator     (m,) share of each triangle in the error of the goal that needs most, in units of its tolerance
    height_indicator  (m,) how much of the indicator is due to the height of mapped cells
    rate          (m,) power of a triangle's size with which its indicator falls
    """

    solved: Solved
    mesh: Mesh
    goals: dict[str, Goal]
    estimates: np.ndarray
    error_bounds: ErrorBounds
    worst_ratio: float
    indicator: np.ndarray
    height_indicator: np.ndarray
    rate: np.ndarray

    @property
    def indicators(self) -> tuple[Mesh, np.ndarray, np.ndarray]:
        """The mesh with its indicator and the part of it that is due to heights."""
        return self.mesh, self.indicator, self.height_indicator

    @property
    def step(self) -> RefinementStep:
        """What the convergence history keeps of it."""
        return RefinementStep(self.mesh.size, {name: goal.value for name, goal in self.goals.items()},
                              {name: goal.scale for name, goal in self.goals.items()},
                              dict(zip(self.goals, self.estimates.tolist(), strict=True)),
                              {name: self.error_bounds.errors.get(name, math.inf) for name in self.goals})


def refine(section: Section, solve: Callable[[Mesh], Solved], build_goals: Callable[[Solved], dict[str, Goal]],
           accuracy: float, *, open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
           part_sizes: dict[str, float] | None = None, order: int = 2, scale: float = 1.0) -> MeshPair[Solved]:
    """Solve on ever finer meshes until the error bound of every goal is within `accuracy` of its scale.

    solve        makes the solution on a mesh
    build_goals  goals of a solution, with the fields that show where their errors arise
    part_sizes   largest cell at the surface of a part of the first mesh, metres, by name
    order        of the triangles
    scale        factor on the first guess of all cells
    Warns with AccuracyWarning where the accuracy is not reached.  Raises InputError for an accuracy outside 1e-8 to 0.5.
    """
    check_accuracy(accuracy)
    meshes = evaluated_meshes(section, solve, build_goals, accuracy, open_radius=open_radius, max_unknowns=max_unknowns,
                              part_sizes=part_sizes, order=order, scale=scale)
    with gmsh_kept():
        coarse = fine = next(meshes)
        steps = [fine.step]
        for evaluated in meshes:
            coarse, fine = fine, evaluated
            steps.append(evaluated.step)
    reached = fine.worst_ratio <= 1
    if not reached:
        warnings.warn(_shortfall_message(fine, accuracy), AccuracyWarning, stacklevel=5)
    return MeshPair(fine=fine.solved, coarse=coarse.solved, errors=fine.error_bounds.errors, reductions=fine.error_bounds.reductions,
                    accuracy=accuracy, accuracy_reached=reached, convergence=tuple(steps))


def evaluated_meshes(section: Section, solve: Callable[[Mesh], Solved], build_goals: Callable[[Solved], dict[str, Goal]],
                     accuracy: float, *, open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
                     part_sizes: dict[str, float] | None = None, max_first_reduction: float | None = None, order: int = 2,
                     scale: float = 1.0, first: Mesh | None = None) -> Iterator[Evaluated[Solved]]:
    """Ever finer meshes, solved, until the goals of the last are within `accuracy` or a limit is met; two at least where there are goals.

    max_first_reduction  the second mesh divides the error that the first one's estimates let expect by as much as is needed, but
                         by MIN_REDUCTION at least and this at most; default as much as makes twice the unknowns
    scale                factor on the first guess of all cells
    first                the first mesh, where it is there already
    """
    largest, scale = MAX_REDUCTION ** (order / 2), scale * (1.0 if order == 2 else HIGH_ORDER_SCALE)
    largest_first = max_first_reduction or MIN_REDUCTION ** (order / 2)

    def mesh_of(sizes: CellSizes | None) -> Mesh:
        return mesh_section(section, sizes, open_radius=open_radius, part_sizes=part_sizes, order=order, scale=scale)

    def evaluate(mesh: Mesh, coarse: Evaluated[Solved] | None = None) -> Evaluated[Solved]:
        with one_thread():
            return evaluate_goals(section, mesh, solve(mesh), build_goals, coarse, accuracy)

    evaluated = evaluate(mesh_of(None) if first is None else first)
    yield evaluated
    for count in range(1, MAX_MESHES):
        if evaluated.worst_ratio <= 1:
            return
        wanted = OVERSHOOT * float(evaluated.indicator.sum())
        reduction = min(max(MIN_REDUCTION, wanted), largest_first) if count == 1 else _reduction(evaluated.worst_ratio, largest)
        sizes, growth = refined_sizes(*evaluated.indicators, reduction, evaluated.rate)
        if count > 1 and growth * evaluated.mesh.size > max_unknowns:
            return
        refined = _refined_mesh(section, evaluated, reduction) if accuracy < LEAST_ACCURACY_OF_NEW_MESHES else None
        evaluated = evaluate(mesh_of(sizes) if refined is None else refined, evaluated)
        yield evaluated


def _refined_mesh(section: Section, evaluated: Evaluated, reduction: float) -> Mesh | None:
    """The mesh with its cells cut; None in order 2, and where that cannot be, as in mapped cells, or cuts nothing."""
    size = halved_sizes(*evaluated.indicators, reduction, evaluated.rate) if evaluated.mesh.order > 2 else None
    refined = None if size is None else refine_locally(section, evaluated.mesh, size)
    return refined if refined is not None and refined.size > evaluated.mesh.size else None


def _reduction(worst_ratio: float, largest: float) -> float:
    """By how much the next mesh divides an error `worst_ratio` times too large, in equal strides the last of which gets below it."""
    wanted = max(MIN_REDUCTION, OVERSHOOT * worst_ratio)
    strides = math.ceil(math.log(wanted, largest))
    return max(MIN_REDUCTION, wanted ** (1 / strides))


def evaluate_goals(section: Section, mesh: Mesh, solved: Solved, build_goals: Callable[[Solved], dict[str, Goal]],
                   coarse: Evaluated[Solved] | None, accuracy: float) -> Evaluated[Solved]:
    """A solution with its goals, the bounds on their errors by comparison with a coarser mesh, if any, and where these errors arise."""
    goals = build_goals(solved)
    if not goals:
        nothing = np.zeros(len(mesh.triangles))
        return Evaluated(solved=solved, mesh=mesh, goals={}, estimates=np.zeros(0), error_bounds=ErrorBounds({}, {}, {}), worst_ratio=0.0,
                         indicator=nothing, height_indicator=nothing, rate=nothing)
    indicators = error_indicators(mesh, solved.nu, smooth_subdomains(section, mesh), list(goals.values()))
    estimates = indicators.share.sum(axis=0)
    tolerances = np.array([accuracy * goal.scale for goal in goals.values()])
    if coarse is None:
        error_bounds, expected, worst_ratio = ErrorBounds({}, {}, {}), expected_errors(goals, estimates), math.inf
    else:
        error_bounds = bound_errors(goals, estimates, coarse.goals, coarse.estimates, coarse.error_bounds, mesh.order)
        expected = np.array(list(error_bounds.errors.values()))
        worst_ratio = float((expected / tolerances).max())
    weights = np.maximum(expected, 1e-3 * tolerances) / np.maximum(estimates, 1e-300) / tolerances
    indicator, height_indicator, singular = indicators.largest(weights)
    return Evaluated(solved=solved, mesh=mesh, goals=goals, estimates=estimates, error_bounds=error_bounds, worst_ratio=worst_ratio,
                      indicator=indicator, height_indicator=height_indicator, rate=_indicator_rates(section, mesh, singular))


def _indicator_rates(section: Section, mesh: Mesh, singular: np.ndarray) -> np.ndarray:
    """Power of a triangle's size s with which |e_u| |e_z| falls in it, that of an energy where both fields are alike; (m,).

    Next to a point where a goal is read |e_z| grows as 1/s (`singular`), while |e_u| falls as s^(p + 1), at a corner as s^2.
    """
    rates = convergence_rates(section, mesh)
    return np.where(singular, np.where(rates < 2 * mesh.order, SINGULAR_RATE_AT_CORNER, mesh.order), rates)


def order_for(accuracy: float) -> int:
    """Order of the triangles with which an accuracy is reached in the least time."""
    return 2 if accuracy >= LEAST_ACCURACY_OF_ORDER_2 else HIGH_ORDER


def expected_errors(goals: dict[str, Goal], estimates: np.ndarray) -> np.ndarray:
    """Errors of goals as expected from their dual estimates (k,) alone, on a first mesh; (k,)."""
    return estimates * np.array([goal.effectivity or (1.0 if goal.least_effectivity >= 1 else TYPICAL_EFFECTIVITY)
                                 for goal in goals.values()])


def surface_cell_sizes(section: Section, frequency: float) -> dict[str, float]:
    """Largest cell at the surface of each conducting part, from its skin depth; a perfect conductor has none."""
    sizes = {}
    for part in section.parts:
        metals = [zone.material for zone in part.zones if zone.material is not None and zone.material.conductivity > 0]
        depths = [skin_depth(frequency=frequency, conductivity=metal.conductivity, relative_permeability=metal.relative_permeability)
                  for metal in metals]
        if depths and not part.stranded and min(depths) > PERFECT_CONDUCTOR * min(np.diff(part.bounds)[[0, 2]]):
            sizes[part.name] = min(depths) / SURFACE_CELLS
    return sizes


def _shortfall_message(evaluated: Evaluated, accuracy: float) -> str:
    share, name = max((error / evaluated.goals[name].scale, name) for name, error in evaluated.error_bounds.errors.items())
    return (f"accuracy = {accuracy:g} was not reached: the error of '{name}' is about {share:.1e} of its scale; "
            "raise max_unknowns or accept less")
