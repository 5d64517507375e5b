"""The loop behind `accuracy`: solve, refine where the error arises, compare with the mesh before, repeat."""
from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.field.adaptivity.error_bounds import Stated, stated_errors
from fieldsolve.field.adaptivity.error_indicators import Figure, error_shares, finer_sizes, worst_shares
from fieldsolve.field.adaptivity.mesh_pair import TwoMeshes
from fieldsolve.field.linear_algebra.cholesky import one_thread
from fieldsolve.field.system.coefficients import Section, reluctivity, smooth_sides
from fieldsolve.skin import skin_depth
from geometries.errors import AccuracyWarning, InputError
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

MESHES = 12                     # at most
MAX_UNKNOWNS = 600_000
LEAST_REDUCTION = 5.0           # a mesh must divide the estimated error by this much for its difference to mean anything
MOST_REDUCTION = 30.0           # by which it may: how far a mesh foresees where the next must be fine; the unknowns grow 5.5 times
SURPLUS = 2.0                   # by which a mesh divides the error more than is asked, so that it need not be followed by another
PERFECT = 1e-4                  # skin depth over thickness below which metal is a perfect conductor, whose skin no mesh resolves
SURFACE_CELLS = 0.75        # cells of the first mesh in a skin depth; the refinement adds what is missing
TYPICAL_SHARE = 0.1             # of the dual estimate that a figure's error is, before two meshes tell; about 1 for energies


@dataclass(frozen=True, eq=False)
class _Judged:
    """A solution with its headline figures, what their errors are taken to be, and where they arise.

    estimates  errors by the dual fields, per figure; stated  what they and the meshes before tell
    indicator  (m,) share of each triangle in the error of the figure that needs most, in units of its tolerance
    by_height  (m,) how much of it is due to the height of mapped cells
    """

    solved: Any
    mesh: Mesh
    figures: dict[str, Figure]
    estimates: np.ndarray
    stated: Stated
    worst: float
    indicator: np.ndarray
    by_height: np.ndarray


def refine(section: Section, solve: Callable[[Mesh], Any], headline: Callable[[Any], dict[str, Figure]], accuracy: float, *,
           open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS, part_sizes: dict[str, float] | None = None) -> TwoMeshes:
    """Solve on ever finer meshes until the error of every headline figure is within `accuracy` of its scale.

    solve       makes the solution on a mesh
    headline    figures of a solution, with the fields that tell where their errors arise
    part_sizes  largest cell at the surface of a part of the first mesh, metres, by name
    Warns with AccuracyWarning where the accuracy is not reached.  Raises InputError for an accuracy that makes no sense.
    """
    if not 1e-8 <= accuracy <= 0.1:
        raise InputError(f"accuracy = {accuracy:g}: give a relative accuracy from 1e-8 to 0.1, such as 1e-3")
    sizes, coarse, reached = None, None, False
    for count in range(1, MESHES + 1):
        mesh = mesh_section(section, sizes, open_radius=open_radius, part_sizes=part_sizes)
        with one_thread():
            fine = _judged(section, mesh, solve(mesh), headline, coarse, accuracy)
        reached = fine.worst <= 1
        if reached or count == MESHES:
            break
        sizes, growth = finer_sizes(mesh, fine.indicator, fine.by_height, _reduction(fine.worst if coarse else 0.0))
        if coarse and growth * mesh.size > max_unknowns:
            break
        coarse = fine
    if not reached:
        warnings.warn(_shortfall(fine, accuracy), AccuracyWarning, stacklevel=3)
    return TwoMeshes(fine.solved, coarse.solved, fine.stated.errors, fine.stated.falls, accuracy, reached, count)


def _reduction(worst: float) -> float:
    """By how much the next mesh divides an error `worst` times too large, so that the last of even strides comes below it."""
    wanted = max(LEAST_REDUCTION, SURPLUS * worst)
    strides = math.ceil(math.log(wanted, MOST_REDUCTION))
    return max(LEAST_REDUCTION, wanted ** (1 / strides))


def _judged(section: Section, mesh: Mesh, solved: Any, headline: Callable[[Any], dict[str, Figure]], coarse: _Judged | None,
            accuracy: float) -> _Judged:
    figures = headline(solved)
    nu = solved.nu if hasattr(solved, "nu") else reluctivity(section, mesh)      # of metal that saturates only the solution knows it
    shares = error_shares(mesh, nu, smooth_sides(section, mesh), list(figures.values()))
    estimates = shares[0].sum(axis=0)
    tolerances = np.array([accuracy * figure.scale for figure in figures.values()])
    if coarse is None:
        stated, likely, worst = Stated({}, {}, {}), likely_errors(figures, estimates), math.inf
    else:
        stated = stated_errors(figures, estimates, coarse.figures, coarse.estimates, coarse.stated)
        likely = np.array(list(stated.errors.values()))
        worst = float((likely / tolerances).max())
    weights = np.maximum(likely, 1e-3 * tolerances) / np.maximum(estimates, 1e-300) / tolerances
    return _Judged(solved, mesh, figures, estimates, stated, worst, *worst_shares(shares, weights))


def likely_errors(figures: dict[str, Figure], estimates: np.ndarray) -> np.ndarray:
    """What the errors of figures are, as their dual estimates (k,) alone tell, before two meshes do."""
    return estimates * np.array([1.0 if figure.least >= 1 else TYPICAL_SHARE for figure in figures.values()])


def surface_cells(section: Section, frequency: float) -> dict[str, float]:
    """Largest cell at the surface of each conducting part, from its skin depth; a perfect conductor asks for none."""
    sizes = {}
    for part in section.parts:
        metals = [zone.material for zone in part.zones if zone.material is not None and zone.material.conductivity > 0]
        depths = [skin_depth(frequency=frequency, conductivity=metal.conductivity, relative_permeability=metal.relative_permeability)
                  for metal in metals]
        if depths and not part.stranded and min(depths) > PERFECT * min(np.diff(part.bounds)[[0, 2]]):
            sizes[part.name] = min(depths) / SURFACE_CELLS
    return sizes


def _shortfall(judged: _Judged, accuracy: float) -> str:
    share, name = max((error / judged.figures[name].scale, name) for name, error in judged.stated.errors.items())
    return (f"accuracy = {accuracy:g} was not reached: the error of '{name}' is about {share:.1e} of its scale; "
            "raise max_unknowns or ask for less")
