"""The mesh of a shot: one coarse field tells the ringing frequency, one more where cells must be small."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.circuit.equations import Network
from fieldsolve.field.accuracy import error_shares, finer_sizes, worst_shares
from fieldsolve.field.eddy_system import eddy_system
from fieldsolve.field.harmonic_headline import headline
from fieldsolve.field.harmonic_solution import HarmonicProblem, solve_on
from fieldsolve.field.system import reluctivity, smooth_sides
from fieldsolve.skin import skin_depth
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import Mesh
from geometries.mesher import mesh_section

SURFACE_CELLS = 0.75        # cells in a skin depth of the first mesh
TYPICAL_SHARE = 0.1         # of a figure's dual estimate that its error is
LEAST_REDUCTION = 1.0


def shot_mesh(section: CrossSection, network: Network, accuracy: float) -> Mesh:
    """Mesh whose headline figures at the ringing frequency are within about `accuracy`."""
    coils = {name: 1.0 for branch in network.branches for name in branch}
    return mesh_at(HarmonicProblem(section, coils, {}), ringing_frequency(section, network), accuracy)


def mesh_at(problem: HarmonicProblem, frequency: float, accuracy: float) -> Mesh:
    """Mesh for a drive whose headline figures at one frequency are within about `accuracy`, by one step of refinement."""
    section = problem.section
    sizes = surface_cells(section, frequency)
    mesh = mesh_section(section, part_sizes=sizes)
    solved = solve_on(problem, eddy_system(section, mesh), 2 * math.pi * frequency)
    figures = list(headline(solved, _strip_points(section)).values())
    if not figures:
        return mesh
    shares = error_shares(mesh, reluctivity(section, mesh), smooth_sides(section, mesh), figures)
    factor = np.array([1.0 if figure.is_energy else TYPICAL_SHARE for figure in figures])
    indicator, by_height = worst_shares(shares, factor / np.array([accuracy * figure.scale for figure in figures]))
    wanted, _ = finer_sizes(mesh, indicator, by_height, max(LEAST_REDUCTION, indicator.sum()))
    return mesh_section(section, wanted, part_sizes=sizes)


def _strip_points(section: CrossSection | AxialStrip) -> tuple[tuple[float, float], ...]:
    """Points across a strip, whose field is wanted as well as its losses; none in open space."""
    if not isinstance(section, AxialStrip):
        return ()
    return tuple((float(r), section.centre) for r in np.linspace(section.inner_radius, section.outer_radius, 7)[1:-1])


def ringing_frequency(section: CrossSection, network: Network) -> float:
    """1 / (2 pi sqrt(L C)) with the inductance of the empty coils from one coarse static field."""
    from fieldsolve.field.static_solution import StaticProblem
    from fieldsolve.field.static_solution import solve_on as solve_static_on
    solved = solve_static_on(StaticProblem(section, {}), mesh_section(section))
    branch = network.branches[0]
    inductance = sum(solved.inductance(a, b) for a in branch for b in branch) / len(network.branches)
    inductance += network.banks[0].inductance + network.leads.inductance
    return 1 / (2 * math.pi * math.sqrt(inductance * network.banks[0].capacitance))


def surface_cells(section: CrossSection, frequency: float) -> dict[str, float]:
    """Largest cell at the surface of each conducting part, from its skin depth."""
    sizes = {}
    for part in section.parts:
        metals = [zone.material for zone in part.zones if zone.material is not None and zone.material.conductivity > 0]
        if metals and not part.stranded:
            sizes[part.name] = min(skin_depth(frequency=frequency, conductivity=m.conductivity,
                                              relative_permeability=m.relative_permeability) for m in metals) / SURFACE_CELLS
    return sizes
