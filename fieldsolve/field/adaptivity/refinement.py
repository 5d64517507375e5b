"""The loop behind `accuracy`: solve, refine where the error arises, compare with the mesh before, repeat."""
from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.field.adaptivity.error_bounds import ErrorBounds, bound_errors
from fieldsolve.field.adaptivity.error_indicators import Goal, error_indicators, largest_indicators, refined_sizes
from fieldsolve.field.adaptivity.mesh_pair import MeshPair
from fieldsolve.field.linear_algebra.cholesky import one_thread
from fieldsolve.field.system.coefficients import Section, linear_reluctivity, smooth_subdomains
from fieldsolve.skin import skin_depth
from geometries.errors import AccuracyWarning, InputError
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

MAX_MESHES = 12                     # at most
MAX_UNKNOWNS = 600_000
MIN_REDUCTION = 5.0           # a mesh must divide the estimated error by this much for its difference to mean anything
MAX_REDUCTION = 30.0           # by which it may: how far a mesh foresees where the next must be fine; the unknowns grow 5.5 times
OVERSHOOT = 2.0                   # by which a mesh divides the error more than is asked, so that it need not be followed by another
PERFECT_CONDUCTOR = 1e-4                  # skin depth over thickness below which metal is a perfect conductor, whose skin no mesh resolves
SURFACE_CELLS = 0.75        # cells of the first mesh in a skin depth; the refinement adds what is missing
TYPICAL_EFFECTIVITY = 0.1             # of the dual estimate that a figure's error is, before two meshes tell; about 1 for energies


@dataclass(frozen=True, eq=False)
class _Evaluated:
    """A solution with its headline figures, what their errors are taken to be, and where they arise.

    estimates  errors by the dual fields, per figure; error_bounds  what they and the meshes before tell
    indicator  (m,) share of each triangle in the error of the figure that needs most, in units of its tolerance
    height_indicator  (m,) how much of it is due to the height of mapped cells
    """

    solved: Any
    mesh: Mesh
    goals: dict[str, Goal]
    estimates: np.ndarray
    error_bounds: ErrorBounds
    worst_ratio: float
    indicator: np.ndarray
    height_indicator: np.ndarray


def refine(section: Section, solve: Callable[[Mesh], Any], build_goals: Callable[[Any], dict[str, Goal]], accuracy: float, *,
           open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS, part_sizes: dict[str, float] | None = None) -> MeshPair:
    """Solve on ever finer meshes until the error of every headline figure is within `accuracy` of its scale.

    solve       makes the solution on a mesh
    build_goals  figures of a solution, with the fields that tell where their errors arise
    part_sizes  largest cell at the surface of a part of the first mesh, metres, by name
    Warns with AccuracyWarning where the accuracy is not reached.  Raises InputError for an accuracy that makes no sense.
    """
    if not 1e-8 <= accuracy <= 0.1:
        raise InputError(f"accuracy = {accuracy:g}: give a relative accuracy from 1e-8 to 0.1, such as 1e-3")
    sizes, coarse, reached = None, None, False
    for count in range(1, MAX_MESHES + 1):
        mesh = mesh_section(section, sizes, open_radius=open_radius, part_sizes=part_sizes)
        with one_thread():
            fine = _evaluate(section, mesh, solve(mesh), build_goals, coarse, accuracy)
        reached = fine.worst_ratio <= 1
        if reached or count == MAX_MESHES:
            break
        sizes, growth = refined_sizes(mesh, fine.indicator, fine.height_indicator, _reduction(fine.worst_ratio if coarse else 0.0))
        if coarse and growth * mesh.size > max_unknowns:
            break
        coarse = fine
    if not reached:
        warnings.warn(_shortfall_message(fine, accuracy), AccuracyWarning, stacklevel=4)
    return MeshPair(fine.solved, coarse.solved, fine.error_bounds.errors, fine.error_bounds.reductions, accuracy, reached, count)


def _reduction(worst_ratio: float) -> float:
    """By how much the next mesh divides an error `worst_ratio` times too large, so that the last of even strides comes below it."""
    wanted = max(MIN_REDUCTION, OVERSHOOT * worst_ratio)
    strides = math.ceil(math.log(wanted, MAX_REDUCTION))
    return max(MIN_REDUCTION, wanted ** (1 / strides))


def _evaluate(section: Section, mesh: Mesh, solved: Any, build_goals: Callable[[Any], dict[str, Goal]], coarse: _Evaluated | None,
              accuracy: float) -> _Evaluated:
    goals = build_goals(solved)
    nu = solved.nu if hasattr(solved, "nu") else linear_reluctivity(section, mesh)      # of metal that saturates only the solution knows it
    indicators = error_indicators(mesh, nu, smooth_subdomains(section, mesh), list(goals.values()))
    estimates = indicators[0].sum(axis=0)
    tolerances = np.array([accuracy * goal.scale for goal in goals.values()])
    if coarse is None:
        error_bounds, expected, worst_ratio = ErrorBounds({}, {}, {}), expected_errors(goals, estimates), math.inf
    else:
        error_bounds = bound_errors(goals, estimates, coarse.goals, coarse.estimates, coarse.error_bounds)
        expected = np.array(list(error_bounds.errors.values()))
        worst_ratio = float((expected / tolerances).max())
    weights = np.maximum(expected, 1e-3 * tolerances) / np.maximum(estimates, 1e-300) / tolerances
    return _Evaluated(solved, mesh, goals, estimates, error_bounds, worst_ratio, *largest_indicators(indicators, weights))


def expected_errors(goals: dict[str, Goal], estimates: np.ndarray) -> np.ndarray:
    """What the errors of figures are, as their dual estimates (k,) alone tell, before two meshes do."""
    return estimates * np.array([1.0 if goal.least_effectivity >= 1 else TYPICAL_EFFECTIVITY for goal in goals.values()])


def surface_cell_sizes(section: Section, frequency: float) -> dict[str, float]:
    """Largest cell at the surface of each conducting part, from its skin depth; a perfect conductor asks for none."""
    sizes = {}
    for part in section.parts:
        metals = [zone.material for zone in part.zones if zone.material is not None and zone.material.conductivity > 0]
        depths = [skin_depth(frequency=frequency, conductivity=metal.conductivity, relative_permeability=metal.relative_permeability)
                  for metal in metals]
        if depths and not part.stranded and min(depths) > PERFECT_CONDUCTOR * min(np.diff(part.bounds)[[0, 2]]):
            sizes[part.name] = min(depths) / SURFACE_CELLS
    return sizes


def _shortfall_message(evaluated: _Evaluated, accuracy: float) -> str:
    share, name = max((error / evaluated.goals[name].scale, name) for name, error in evaluated.error_bounds.errors.items())
    return (f"accuracy = {accuracy:g} was not reached: the error of '{name}' is about {share:.1e} of its scale; "
            "raise max_unknowns or ask for less")
