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
from geometries.errors import MeshError
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

MAX_UNKNOWNS = 60_000           # of a mesh on which every step is solved
LARGEST_SCALE = 8.0             # on the first guess of all cells, where that makes too many unknowns
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
    first, part_sizes, scale = _first_mesh(problem.section, frequency, open_radius, max_sizes or {}, max_unknowns)
    meshes = evaluated_meshes(problem.section, partial(_solve, problem, frequency, linear_solver), transient_goals, accuracy,
                              open_radius=open_radius, max_unknowns=max_unknowns, part_sizes=part_sizes, scale=scale, first=first,
                              max_first_reduction=MAX_REDUCTION)
    steps = []
    for finest in meshes:
        steps.append(finest.step)
    bounds = {name: error / finest.goals[name].scale for name, error in finest.error_bounds.errors.items()}
    return ShotMesh(mesh=finest.mesh, frequency=frequency, accuracy=accuracy, accuracy_reached=finest.worst_ratio <= 1,
                    error_bounds=bounds, reductions=finest.error_bounds.reductions, convergence=tuple(steps))


def _first_mesh(section: Section, frequency: float, open_radius: float | None, max_sizes: Mapping[str, float],
                max_unknowns: int) -> tuple[Mesh, dict[str, float], float]:
    """First mesh, its largest cells at the surface of parts, and the factor on all cells, which grows while there are too many unknowns.

    They fall with the factor itself where the skin of a long part makes them, and with its square elsewhere.  It stays below what makes
    cells of a curved part too coarse to be meshed.
    """
    skin_sizes, gridded = surface_cell_sizes(section, frequency), {part.name for part in section.parts if part.grid}

    def mesh_at_scale(scale: float) -> tuple[Mesh, dict[str, float], float]:
        """The mesher applies the scale to part sizes, too, but to those of grids."""
        part_sizes = _smaller({name: scale * size if name in gridded else size for name, size in skin_sizes.items()},
                              {name: size if name in gridded else size / scale for name, size in max_sizes.items()})
        return mesh_section(section, open_radius=open_radius, part_sizes=part_sizes, scale=scale), part_sizes, scale

    found, scale = mesh_at_scale(1.0), 1.0
    while found[0].size > max_unknowns and scale < LARGEST_SCALE:
        scale = min(scale * 2 ** math.ceil(math.log2(found[0].size / max_unknowns) / 1.5), LARGEST_SCALE)
        try:
            found = mesh_at_scale(scale)
        except MeshError:
            break
    return found


def companion_mesh_at(problem: HarmonicProblem, fine: ShotMesh, open_radius: float | None = None,
                      max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> CompanionMesh:
    """The companion of a mesh, its goals solved for at the same frequency.

    The section of the problem may have another grid in the parts that flow, and `max_sizes` of its own.
    """
    section, skin_sizes, factor = problem.section, surface_cell_sizes(problem.section, fine.frequency), COARSENING
    limits = {name: size / COARSENING for name, size in (max_sizes or {}).items()}
    while True:
        mesh = mesh_section(section, coarsened_sizes(fine.mesh, COARSENING), scale=COARSENING, open_radius=open_radius,
                            part_sizes=_smaller({name: factor * size for name, size in skin_sizes.items()}, limits))
        if mesh.size <= fine.mesh.size or factor >= LARGEST_SCALE:      # larger where the fine one has larger cells than the skin asks
            break
        factor *= 2
    with one_thread():
        solved = _solve(problem, fine.frequency, linear_solver, mesh)
        step = evaluate_goals(section, mesh, solved, transient_goals, None, fine.accuracy).step
    return CompanionMesh(mesh=mesh, step=step, reductions=_reductions(step, fine))


def coarsened_mesh(section: Section, mesh: Mesh, factor: float) -> Mesh:
    """Mesh of a section with cells `factor` times as large as those of another mesh of it."""
    return mesh_section(section, coarsened_sizes(mesh, factor), scale=factor)


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


def _smaller(one: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """The smaller one of two sizes by name."""
    return {name: min(one.get(name, math.inf), other.get(name, math.inf)) for name in one | other}
