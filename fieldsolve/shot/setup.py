"""What a shot is before its first step: circuit, mesh, moving bodies, heat and what is to be observed."""
from __future__ import annotations

import time as clock
from collections.abc import Mapping
from dataclasses import dataclass, replace

from fieldsolve.field.adaptivity.error_bounds import ErrorReduction
from fieldsolve.field.fem.quadrature import QuadraturePoints
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.transient.meshing import ShotMesh
from fieldsolve.motion.contract import Motion
from fieldsolve.motion.defaults import max_cell_sizes, with_grids
from fieldsolve.motion.movement import Movement, build_movement
from fieldsolve.shot.history import History, Recorder, check_observables, series_of
from fieldsolve.shot.instant import MetalSnapshot, StoredInstant
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.meshing import companion_mesh, shot_mesh
from fieldsolve.shot.network import (
    build_network,
    check_line_currents,
    coils_of,
    required_open_radius,
    shot_system,
    with_induced_voltages,
    without_infinite,
)
from fieldsolve.shot.observables.field_readings import field_readings
from fieldsolve.shot.observables.observables import compute_observables
from fieldsolve.shot.observables.probes import Probes, locate_rims
from fieldsolve.shot.problem import ShotProblem
from fieldsolve.shot.result.energy_balance import EnergyBalance, build_balance
from fieldsolve.shot.result.metal_history import metal_snapshot, plastic_heat_shares
from fieldsolve.shot.result.shape_series import with_shape_series
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh

COMPANION_CELLS = 0.85      # of the largest cells that motions ask for: a companion's longer steps leave less room between turns


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotSetup:
    """What a problem becomes before its first step.

    section        the parts, with the lines that the cells of flowing bodies keep to
    network        the circuit
    mesh           the mesh at the start
    shot_mesh      what is known of its accuracy; None where the problem brought its mesh along
    movement       the moving bodies; None where nothing moves
    thermal_state  the heat of the metal; None where nothing heats
    probes         what is read off the field, with the metal in its first position
    fixed_points   quadrature points in the parts that are held
    fixed_parts    why a part that was to move is held, by its name
    solver         factors the matrices
    started        seconds of the clock when this began
    """

    problem: ShotProblem
    section: CrossSection
    network: Circuit
    mesh: Mesh
    shot_mesh: ShotMesh | None
    movement: Movement | None
    thermal_state: Heating | None
    probes: Probes
    fixed_points: dict[str, QuadraturePoints]
    fixed_parts: dict[str, str]
    solver: LinearSolver
    started: float

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of all that conducts: bodies, and the coils of the circuit."""
        return (*self.probes.bodies, *self.probes.circuit_coils)

    def build(self, mesh: Mesh) -> EddySystem:
        """The matrices on a mesh of the section."""
        return shot_system(self.section, mesh, self.network, self.solver)

    def observe(self, model, value, derivative, heat) -> dict:
        """Observables of one instant by (quantity, part)."""
        probes = (
            replace(self.probes, system=model.system, fixed_points=self.fixed_points, known_forces=self.movement.body_forces(), moves=True)
            if self.movement
            else self.probes
        )
        observables = compute_observables(probes, self.network, model, value, derivative, heat) | (
            self.movement.observables() if self.movement else {}
        )
        if self.thermal_state:
            observables |= self.thermal_state.observables(self.parts) | (
                plastic_heat_shares(self.thermal_state, self.movement) if self.movement else {}
            )
        return observables

    def metal_snapshot(self) -> MetalSnapshot:
        """What is kept of the metal as it is now."""
        return metal_snapshot(self.thermal_state, self.movement)

    def history(self, recorder: Recorder) -> tuple[History, EnergyBalance]:
        """Series of what is recorded, without those of `with_fields`, and energy balance."""
        history = recorder.history
        history = with_induced_voltages(self.network, history) if self.movement and not self.network.banks else history
        history = with_shape_series(history, self.section, recorder.instants) if self.movement else history
        moving = tuple(body.name for body in self.movement.bodies) if self.movement else ()
        return without_infinite(history, self.section), build_balance(self.network, history, self.parts, moving)

    def with_fields(self, history: History, instants: tuple[StoredInstant, ...]) -> History:
        """The series with those of the field in bores and at points where metal moves, which are read off the stored instants."""
        if not self.movement:
            return history
        readings = field_readings(self.section, self.probes.bodies, self.probes.rims, instants, self.network.applied_field)
        for of_instant in readings:
            check_observables(of_instant)
        return replace(history, values=series_of(readings) | history.values)


def set_up(problem: ShotProblem) -> ShotSetup:
    """What a problem becomes before its first step, on its own mesh or on one that is made for it."""
    started = clock.perf_counter()
    solver, motions, section, network, limits = _prepare(problem)
    found = None if problem.mesh else shot_mesh(section, network, problem.mesh_accuracy or problem.accuracy, *limits, solver)
    return _assemble(problem, section, network, problem.mesh or found.mesh, found, motions, solver, started)


def set_up_companion(problem: ShotProblem, fine: ShotMesh) -> tuple[ShotSetup, dict[str, ErrorReduction]]:
    """The same of a coarse companion run, and how far the errors of goals fall from its mesh to the fine one."""
    started = clock.perf_counter()
    solver, motions, section, network, limits = _prepare(problem)
    open_radius, max_sizes = limits
    max_sizes = {name: COMPANION_CELLS * size for name, size in max_sizes.items()}
    companion = companion_mesh(section, network, fine, open_radius, max_sizes, solver)
    return _assemble(problem, section, network, companion.mesh, None, motions, solver, started), companion.reductions


def _prepare(problem: ShotProblem):
    """Solver, motions by name, section with its grids, circuit; and the open radius and largest cells that the motions ask for."""
    solver, (motions, _) = choose_solver(problem.linear_solver), problem.motions()
    check_line_currents(problem.section, motions)
    section = with_grids(problem.section, motions)
    network = build_network(section, problem.bank, problem.circuit, problem.leads, problem.crowbar, problem.end_time)
    return solver, motions, section, network, (required_open_radius(section, motions, problem.end_time), max_cell_sizes(section, motions))


def _assemble(problem: ShotProblem, section: CrossSection, network: Circuit, mesh: Mesh, found: ShotMesh | None,
              motions: Mapping[str, Motion], solver: LinearSolver, started: float) -> ShotSetup:
    movement = build_movement(section, mesh, motions, problem.end_time) if motions else None
    mesh, coils = movement.current_mesh if movement else mesh, coils_of(network)
    bodies = tuple(part.name for part in section.parts if part.zones and _conducts(part) and part.name not in coils)
    cold_system = shot_system(section, mesh, network, solver)
    thermal_state = Heating(section, mesh, cold_system.metal_conductivity, cold_system.windings.fill) if problem.heating else None
    probes = Probes(cold_system, bodies, tuple(name for name in coils if section.part(name).zones), locate_rims(section, mesh, bodies))
    fixed_points = {name: points for name, points in probes.sections.items() if name not in motions}
    return ShotSetup(problem=problem, section=section, network=network, mesh=mesh, shot_mesh=found, movement=movement,
                     thermal_state=thermal_state, probes=probes, fixed_points=fixed_points, fixed_parts=problem.motions()[1],
                     solver=solver, started=started)


def _conducts(part) -> bool:
    return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
