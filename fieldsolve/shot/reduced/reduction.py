"""A held section reduced on one mesh: the field's few states, and all that is read off them."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.circuit.equations import Network
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.quantities.bore_peak import locate_points
from fieldsolve.field.reduced.decay import decay_constants
from fieldsolve.field.reduced.projection import ReducedField, reduce_field
from fieldsolve.pickling import declared_fields
from fieldsolve.shot.integrator.field_circuit import dc_resistance
from fieldsolve.shot.network import shot_system
from fieldsolve.shot.observables.probes import Probes, locate_rims
from fieldsolve.shot.reduced.readings import Readings, build_readings
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh

DECAY_TIMES = 6             # the longest ones that are computed


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Reduction:
    """A section on one mesh.

    field            its states, without their fields
    basis            (n, m) the fields u of unit states
    resistance       (coils,) of the coils to direct current in ohm
    readings         what is read off the states
    decay_constants  (k,) longest decay times in seconds with all coils open
    bodies           names of the conducting bodies
    """

    mesh: Mesh
    field: ReducedField
    basis: np.ndarray
    resistance: np.ndarray
    readings: Readings
    decay_constants: np.ndarray
    bodies: tuple[str, ...]

    __getstate__ = declared_fields

    def __repr__(self) -> str:
        return f"Reduction({self.mesh.size} unknowns to {self.field.states} states)"


def reduce_on_mesh(section: CrossSection, mesh: Mesh, network: Network, bodies: tuple[str, ...], highest_frequency: float,
                   tolerance: float, points: dict[str, tuple[float, float]], solver: LinearSolver) -> Reduction:
    """Reduce a section on a mesh, for frequencies up to one in hertz, to a relative error of the field's energy norm."""
    system = shot_system(section, mesh, network, solver)
    times = decay_constants(system, DECAY_TIMES)
    coils = network.coil_names
    field = reduce_field(system, coils, 2 * math.pi * highest_frequency, float(times.max(initial=0.0)), tolerance)
    probes = Probes(system, bodies, coils, locate_rims(section, mesh, bodies))
    located = locate_points(mesh, np.array(list(points.values())).reshape(-1, 2)) if points else None
    resistance = np.array([dc_resistance(system, name) for name in coils])
    return Reduction(mesh=mesh, field=field.without_basis(), basis=field.basis, resistance=resistance,
                     readings=build_readings(system, probes, field, tuple(points), located), decay_constants=times, bodies=bodies)
