"""The mesh of a field in time: refined until what matters in time is accurate at the frequency of the drive.

A mesh is judged at that one frequency, where a field costs one factorization.  What a shot asks of its mesh is much the same: the skin
of its first quarter period is that of the frequency.
"""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.error_bounds import ErrorReduction
from fieldsolve.field.adaptivity.error_indicators import coarsened_sizes
from fieldsolve.field.adaptivity.refinement import MAX_REDUCTION, evaluate_goals, evaluated_meshes, surface_cell_sizes
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.solution import HarmonicSolution, solve_at_frequency
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.system.eddy_current import eddy_system
from fieldsolve.field.transient.goals import transient_goals
from geometries.cross_section import Section
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

MAX_UNKNOWNS = 60_000           # of a mesh on which every step is solved
COARSENING = 2.0                # factor on all cells of the companion of a mesh, which has about a third of its unknowns


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotMesh:
    """A mesh on which a field in time is to be solved, and what is known of its accuracy at the frequency of the drive.

    mesh              the last one of the refinement
    frequency         hertz
    accuracy          relative, requested of every goal
    accuracy_reached  whether all error bounds are within it
    error_bounds      of the goals by name, relative to the scale of each
    reductions        how far the estimated error of each goal fell from the mesh before the last to the last
    convergence       all meshes, the first one first
    """

    mesh: Mesh
    frequency: float
    accuracy: float
    accuracy_reached: bool
    error_bounds: dict[str, float]
    reductions: dict[str, ErrorReduction]
    convergence: tuple[RefinementStep, ...]

    def __repr__(self) -> str:
        reached = "reached" if self.accuracy_reached else "NOT reached"
        return f"ShotMesh({self.mesh.size} unknowns, {len(self.error_bounds)} goals, accuracy {self.accuracy:g} {reached})"

    @property
    def shortfalls(self) -> dict[str, float]:
        """Relative error bounds of the goals that are not within the accuracy, by name, the largest first."""
        beyond = {name: bound for name, bound in self.error_bounds.items() if bound > self.accuracy}
        return dict(sorted(beyond.items(), key=lambda item: -item[1]))

    def shortfall_message(self) -> str:
        """What fell short, for a warning; empty where the accuracy was reached."""
        if self.accuracy_reached:
            return ""
        name, bound = next(iter(self.shortfalls.items()))
        return (f"accuracy = {self.accuracy:g} was not reached on a mesh of {self.mesh.size} unknowns: at {self.frequency:.3g} Hz the "
                f"error of '{name}' is about {bound:.1e} of its scale")


@dataclass(frozen=True, eq=False, kw_only=True)
class CompanionMesh:
    """A mesh with about a third of the unknowns of a `ShotMesh`, for a run whose difference shows what the mesh's error is.

    mesh        its cells are COARSENING times as large
    step        goals and their estimated errors on it
    reductions  how far the estimated error of each goal fell from this mesh to the finer one
    """

    mesh: Mesh
    step: RefinementStep
    reductions: dict[str, ErrorReduction]


def mesh_at(problem: HarmonicProblem, frequency: float, accuracy: float, open_radius: float | None = None,
            max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None,
            max_unknowns: int = MAX_UNKNOWNS) -> ShotMesh:
    """Mesh for a drive whose goals at one frequency are within `accuracy`, or as near as `max_unknowns` allow.

    max_sizes  largest cell in metres at the surface of parts, by name, whatever their skin depth
    """
    meshes = evaluated_meshes(problem.section, partial(_solve, problem, frequency, linear_solver), transient_goals, accuracy,
                              open_radius=open_radius, max_unknowns=max_unknowns,
                              part_sizes=_surface_sizes(problem.section, frequency, max_sizes), max_first_reduction=MAX_REDUCTION)
    steps = []
    for finest in meshes:
        steps.append(finest.step)
    bounds = {name: error / finest.goals[name].scale for name, error in finest.error_bounds.errors.items()}
    return ShotMesh(mesh=finest.mesh, frequency=frequency, accuracy=accuracy, accuracy_reached=finest.worst_ratio <= 1,
                    error_bounds=bounds, reductions=finest.error_bounds.reductions, convergence=tuple(steps))


def companion_mesh_at(problem: HarmonicProblem, fine: ShotMesh, open_radius: float | None = None,
                      max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> CompanionMesh:
    """The companion of a mesh, its goals solved for at the same frequency.

    The section of the problem may have another grid in the parts that flow, and `max_sizes` of its own.
    """
    section = problem.section
    sizes = {name: COARSENING * size for name, size in _surface_sizes(section, fine.frequency, None).items()}
    mesh = mesh_section(section, coarsened_sizes(fine.mesh, COARSENING), scale=COARSENING, open_radius=open_radius,
                        part_sizes=_smaller(sizes, {name: size / COARSENING for name, size in (max_sizes or {}).items()}))
    with one_thread():
        solved = _solve(problem, fine.frequency, linear_solver, mesh)
        step = evaluate_goals(section, mesh, solved, transient_goals, None, fine.accuracy).step
    return CompanionMesh(mesh=mesh, step=step, reductions=_reductions(step, fine))


def _reductions(coarse: RefinementStep, fine: ShotMesh) -> dict[str, ErrorReduction]:
    """Reductions of the goals that both meshes have."""
    step, reductions = fine.convergence[-1], {}
    for name, estimate in step.estimates.items():
        if coarse.estimates.get(name, 0.0) > 0:
            ratio = min(estimate / coarse.estimates[name], 1.0)
            reductions[name] = ErrorReduction(estimate / step.scales[name], ratio, fine.error_bounds.get(name, math.inf))
    return reductions


def _solve(problem: HarmonicProblem, frequency: float, linear_solver: LinearSolver | None, mesh: Mesh) -> HarmonicSolution:
    return solve_at_frequency(problem, eddy_system(problem.section, mesh, linear_solver), 2 * math.pi * frequency)


def _surface_sizes(section: Section, frequency: float, max_sizes: Mapping[str, float] | None) -> dict[str, float]:
    """Largest cell in metres at the surface of parts: by their skin depth, and no larger than `max_sizes`."""
    return _smaller(surface_cell_sizes(section, frequency), max_sizes or {})


def _smaller(one: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """The smaller one of two sizes by name."""
    return {name: min(one.get(name, math.inf), other.get(name, math.inf)) for name in one | other}
