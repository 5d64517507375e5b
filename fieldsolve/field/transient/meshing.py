"""The mesh of a field in time: one coarse field at the frequency of the drive shows where cells must be small."""
from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import error_indicators, largest_indicators, refined_sizes
from fieldsolve.field.adaptivity.refinement import expected_errors, surface_cell_sizes
from fieldsolve.field.harmonic.goals import coils_compared_alone, harmonic_goals
from fieldsolve.field.harmonic.isolated_coil import solve_isolated_coil
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.solution import solve_at_frequency
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.system.coefficients import linear_reluctivity, smooth_subdomains
from fieldsolve.field.system.eddy_current import eddy_system
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import Mesh
from geometries.mesher import mesh_section


def mesh_at(problem: HarmonicProblem, frequency: float, accuracy: float, open_radius: float | None = None,
            largest: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> Mesh:
    """Mesh for a drive whose goals at one frequency are within about `accuracy`, by one step of refinement."""
    section = problem.section
    sizes = surface_cell_sizes(section, frequency)
    sizes |= {name: min(size, sizes.get(name, math.inf)) for name, size in (largest or {}).items()}
    mesh = mesh_section(section, part_sizes=sizes, open_radius=open_radius)
    eddy = eddy_system(section, mesh, linear_solver)
    isolated = {name: solve_isolated_coil(eddy, name, 0.0) for name in coils_compared_alone(problem)}
    solved = solve_at_frequency(problem, eddy, 2 * math.pi * frequency, isolated)
    goals = harmonic_goals(solved, _strip_points(section))
    if not goals:
        return mesh
    indicators = error_indicators(mesh, linear_reluctivity(section, mesh), smooth_subdomains(section, mesh), list(goals.values()))
    tolerances = np.array([accuracy * goal.scale for goal in goals.values()])
    indicator, height_indicator = largest_indicators(indicators, expected_errors(goals, np.ones(len(goals))) / tolerances)
    reduction = max(1.0, indicator.sum())               # of the estimated error; a first mesh that is good enough stays as it is
    wanted, _ = refined_sizes(mesh, indicator, height_indicator, reduction)
    return mesh_section(section, wanted, part_sizes=sizes, open_radius=open_radius)


def _strip_points(section: CrossSection | AxialStrip) -> tuple[tuple[float, float], ...]:
    """Points across a strip, whose field is wanted as well as its losses; none in open space."""
    if not isinstance(section, AxialStrip):
        return ()
    return tuple((float(r), section.centre) for r in np.linspace(section.inner_radius, section.outer_radius, 7)[1:-1])
