"""The mesh of a shot, from the ringing frequency of its bank with the inductance of one coarse field at rest."""
from __future__ import annotations

import math
from collections.abc import Mapping

from fieldsolve.field.adaptivity.refinement import surface_cell_sizes
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from fieldsolve.field.transient.meshing import mesh_at
from fieldsolve.shot.integrator.field_circuit import Circuit
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh
from geometries.mesher import mesh_section


def shot_mesh(section: CrossSection, network: Circuit, accuracy: float, open_radius: float | None = None,
              max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> Mesh:
    """Mesh whose goals at the frequency of the drive are within about `accuracy`.

    max_sizes  largest cell in metres at the surface of parts, by name, whatever their skin depth
    """
    coils = {name: 1.0 for branch in network.branches for name in branch}
    problem = HarmonicProblem(section, coils, {}, network.applied_field)
    return mesh_at(problem, drive_frequency(section, network, linear_solver), accuracy, open_radius, max_sizes, linear_solver)


def coarse_shot_mesh(section: CrossSection, network: Circuit, accuracy: float, open_radius: float | None = None,
                     max_sizes: Mapping[str, float] | None = None, linear_solver: LinearSolver | None = None) -> Mesh:
    sizes = {k: 2*v for k,v in surface_cell_sizes(section, drive_frequency(section, network, linear_solver)).items()}
    sizes |= {name: min(size, sizes.get(name, math.inf)) for name, size in (max_sizes or {}).items()}
    return mesh_section(section, part_sizes=sizes, open_radius=open_radius)


def drive_frequency(section: CrossSection, network: Circuit, linear_solver: LinearSolver | None = None) -> float:
    """1 / (2 pi sqrt(L C)) of the empty coils, from one coarse static field; of prescribed currents their own; hertz."""
    if not network.banks:
        return network.frequency
    solved = solve_on_mesh(StaticProblem(section, {}), mesh_section(section), linear_solver)
    branch = network.branches[0]
    inductance = sum(solved.inductance(a, b) for a in branch for b in branch) / len(network.branches)
    inductance += network.banks[0].inductance + network.leads.inductance
    return 1 / (2 * math.pi * math.sqrt(inductance * network.banks[0].capacitance))
