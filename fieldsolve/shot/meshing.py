"""The mesh of a shot, from the ringing frequency of its bank with the inductance of one coarse field at rest."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from fieldsolve.field.transient.meshing import MAX_UNKNOWNS, CompanionMesh, ShotMesh, companion_mesh_at, mesh_at
from fieldsolve.shot.integrator.field_circuit import Circuit
from geometries.cross_section import CrossSection
from geometries.gmsh_session import gmsh_kept
from geometries.mesher import mesh_section

FREQUENCY_CELLS = 2.0           # factor on the first guess of all cells where the frequency of the drive is found


def shot_mesh(section: CrossSection, network: Circuit, accuracy: float, open_radius: float | None = None,
              max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None,
              max_unknowns: int = MAX_UNKNOWNS) -> ShotMesh:
    """Mesh whose goals at the frequency of the drive are within `accuracy`, or as near as `max_unknowns` allow.

    max_sizes  largest cell in metres at the surface of parts, by name, whatever their skin depth
    """
    with gmsh_kept():
        return mesh_at(_drive(section, network), drive_frequency(section, network, linear_solver), accuracy, open_radius, max_sizes,
                       linear_solver, max_unknowns)


def companion_mesh(section: CrossSection, network: Circuit, fine: ShotMesh, open_radius: float | None = None,
                   max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> CompanionMesh:
    """Mesh with about a third of the unknowns of a shot's, and how far the errors of the goals fall from the one to the other.

    section, max_sizes  those of the companion run, whose mechanics may have other cells
    """
    return companion_mesh_at(_drive(section, network), fine, open_radius, max_sizes, linear_solver)


def _drive(section: CrossSection, network: Circuit) -> HarmonicProblem:
    """The same current in all coils of the circuit."""
    return HarmonicProblem(section, {name: 1.0 for branch in network.branches for name in branch}, {}, network.applied_field)


def drive_frequency(section: CrossSection, network: Circuit, linear_solver: LinearSolver | None = None) -> float:
    """1 / (2 pi sqrt(L C)) of the empty coils, from one coarse static field; of prescribed currents their own; hertz."""
    if not network.banks:
        return network.frequency
    coarse = replace(section, parts=tuple(replace(part, grid=None) if part.grid else part for part in section.parts))
    solved = solve_on_mesh(StaticProblem(coarse, {}), mesh_section(coarse, scale=FREQUENCY_CELLS), linear_solver)
    branch = network.branches[0]
    inductance = sum(solved.inductance(a, b) for a in branch for b in branch) / len(network.branches)
    inductance += network.banks[0].inductance + network.leads.inductance
    return 1 / (2 * math.pi * math.sqrt(inductance * network.banks[0].capacitance))
