"""One discharge of a capacitor bank into coil and disc: what a person asks for, and the run that answers it."""
from __future__ import annotations

import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.prescribed_currents import PrescribedCurrents
from fieldsolve.field.fem.quadrature import QuadraturePoints
from fieldsolve.field.linear_algebra.cholesky import one_thread
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.motion.defaults import default_motions, max_cell_sizes, refine_motions, with_grids
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.movement import Motion, Movement, build_movement
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.shot.history import History, Recorder
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.meshing import shot_mesh
from fieldsolve.shot.network import build_network, coils_of, required_open_radius, with_induced_voltages
from fieldsolve.shot.observables.observables import compute_observables, drop_undriven_turns
from fieldsolve.shot.observables.probes import Probes, locate_rims
from fieldsolve.shot.result.energy_balance import EnergyBalance, build_balance
from fieldsolve.shot.result.metal_history import MetalHistory, MetalSnapshot, plastic_heat_shares
from fieldsolve.shot.result.shot import Shot
from geometries.cross_section import CrossSection
from geometries.errors import InputError, SolveError
from geometries.mesh import Mesh


def solve_shot(section: CrossSection, bank: Bank | Sequence[Bank] | PrescribedCurrents, *, end_time: float,
               motion: bool | Mapping[str, Motion] = True, heating: bool = True,
               accuracy: float = 3e-3, circuit: Sequence[Sequence[str]] | None = None, leads: Leads | None = None,
               crowbar: Crowbar | None = None, progress: Callable[[float], None] | None = None, mesh_accuracy: float | None = None,
               step: float | None = None, mesh: Mesh | None = None, former: Former | None = None, method: Tableau = SDIRK2) -> Shot:
    """Fire the bank into the coils and step to `end_time`.

    bank           one Bank, or several across the same coil leads, each with its own gap and time; or GivenCurrents in their place
    end_time       seconds
    motion         True: bodies flow, turns stretch and burst, and what cannot is held, see `Shot.fixed_parts`; False: metal is held
                   still; or how bodies move, by name: AxialMotion, RadialMotion, PrescribedMotion, FlowMotion, HoopMotion; others are held
    heating        whether the metal heats and its resistivity rises with it
    accuracy       relative, of peak currents, the bore's peak field and the energies; steers step and cells
    circuit        branches in parallel, each a list of coil names in series; default: all solenoids, spirals and windings in series
    leads          resistance and inductance between bank and coils; crowbar  a switch across coil leads or capacitor
    progress       called with the time after each step; a KeyboardInterrupt ends the shot early and marks it
    mesh_accuracy  accuracy that steers the cells alone, where it is not that of the steps
    former         what the coils are wound on or cast in, shared evenly among their turns, with `motion=True`; held metal has no use for it
    step, mesh     to see how results converge: steps of this many seconds between events, whatever their error; a mesh of one's own
    method         in time, see `fieldsolve.ode.Tableau`
    Raises InputError, GeometryError, MeshError, or SolveError whose `partial` is the shot up to where it failed, marked.
    """
    if former is not None and not isinstance(motion, bool):
        raise InputError("former: it goes with motion=True; where each part's motion is given, give it to fs.HoopMotion(former=...)")
    started = clock.perf_counter()
    motions, fixed_parts = default_motions(section, former) if motion is True else (dict(motion or {}), {})
    section = with_grids(section, motions)
    network = build_network(section, bank, circuit, leads, crowbar, end_time)
    mesh = mesh or shot_mesh(section, network, mesh_accuracy or accuracy, required_open_radius(section, motions, end_time),
                             max_cell_sizes(section, motions))
    setup = _set_up(section, network, mesh, motions, end_time, heating)
    run = Discharge(build=setup.build, mesh=setup.mesh, network=network, heating=setup.thermal_state, movement=setup.movement,
                    accuracy=accuracy, end_time=end_time, observe=setup.observe, progress=progress or (lambda time: None), step=step,
                    method=method, parts=setup.parts, recorder=Recorder(setup.metal))

    @cache
    def refined_run() -> Shot:
        end = float(run.recorder.times[-1]) if run.state.interrupted or run.state.stop_reason else end_time
        return solve_shot(section, bank, end_time=end or end_time, motion=refine_motions(motions), heating=heating, accuracy=accuracy / 4,
                          circuit=circuit, leads=leads, crowbar=crowbar, mesh_accuracy=(mesh_accuracy or accuracy) / 4,
                          step=step and step / 2, method=method)
    try:
        with one_thread():
            run.run()
    except SolveError as error:
        error.partial = _build_shot(setup, run, started, fixed_parts, refined_run) if run.recorder.instants else None
        raise
    return _build_shot(setup, run, started, fixed_parts, refined_run)


@dataclass(frozen=True, eq=False)
class _ShotSetup:
    """What is fired: the section on its mesh with its circuit, and what moves and heats of it.

    moves, thermal_state   None where nothing moves or heats
    probes              what is read off the field in the first places;  still  points in the parts that are held
    """

    section: CrossSection
    network: Circuit
    mesh: Mesh
    movement: Movement | None
    thermal_state: Heating | None
    probes: Probes
    fixed_points: dict[str, QuadraturePoints]

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of all that conducts: bodies, and the coils of the circuit."""
        return (*self.probes.bodies, *self.probes.circuit_coils)

    def build(self, mesh: Mesh) -> EddySystem:
        """The matrices on a mesh of the section."""
        return _build_system(self.section, mesh, self.network)

    def observe(self, model, value, derivative, heat) -> dict:
        """All readings of one instant."""
        probes = (
            replace(self.probes, system=model.system, fixed_points=self.fixed_points, single_use=True) if self.movement else self.probes
        )
        observables = compute_observables(probes, self.network, model, value, derivative, heat) | (
            self.movement.observables() if self.movement else {}
        )
        if self.thermal_state:
            observables |= self.thermal_state.observables(self.parts) | (
                plastic_heat_shares(self.thermal_state, self.movement) if self.movement else {}
            )
        return observables

    def metal(self) -> MetalSnapshot:
        """What is kept of the metal as it is now."""
        states = {body.name: state for body, state in zip(self.movement.bodies, self.movement.states, strict=True)} if self.movement else {}
        return MetalSnapshot(self.thermal_state and self.thermal_state.enthalpy, states)

    def record(self, recorder: Recorder, refined_balance: Callable[[], EnergyBalance]) -> tuple[History, EnergyBalance]:
        """Series and balance of what is recorded."""
        history = History(recorder.times, recorder.series())
        history = with_induced_voltages(self.network, history) if self.movement and not self.network.banks else history
        moving = tuple(body.name for body in self.movement.bodies) if self.movement else ()
        return history, build_balance(self.network, history, self.parts, moving, refined_balance)


def _set_up(
    section: CrossSection, network: Circuit, mesh: Mesh, motions: Mapping[str, Motion], end_time: float, heating: bool
) -> _ShotSetup:
    movement = build_movement(section, mesh, motions, end_time) if motions else None
    mesh, coils = movement.current_mesh if movement else mesh, coils_of(network)
    bodies = tuple(part.name for part in section.parts if part.zones and _conducts(part) and part.name not in coils)
    cold_system = _build_system(section, mesh, network)
    thermal_state = Heating(section, mesh, cold_system.metal_conductivity, cold_system.windings.fill) if heating else None
    probes = Probes(cold_system, bodies, coils, locate_rims(section, mesh, bodies))
    fixed_points = {name: points for name, points in probes.sections.items() if name not in motions}
    return _ShotSetup(section, network, mesh, movement, thermal_state, probes, fixed_points)


def _build_system(section: CrossSection, mesh: Mesh, network: Circuit) -> EddySystem:
    return drop_undriven_turns(eddy_system(section, mesh), network)


def _build_shot(setup: _ShotSetup, run: Discharge, started: float, fixed_parts: Mapping[str, str], refined_run: Callable[[], Shot]) -> Shot:
    """What comes of a run; where its motion ended it, only what came before its energy balance was lost."""
    state, events, (history, balance) = run.state, run.state.events, setup.record(run.recorder, lambda: refined_run().energy)
    imbalance_time = balance.imbalance_time(run.accuracy)
    if state.stop_reason and imbalance_time is not None:          # cells that fold make fields of nothing
        run.recorder.truncate(imbalance_time)
        history, balance = setup.record(run.recorder, lambda: refined_run().energy)
        events = [event for event in state.events if event[0] < history.times[-1]]
        events.append((history.times[-1], f"{state.stop_reason}: the record ends where the energy balance is lost"))
        imbalance_time = balance.imbalance_time(run.accuracy)
    metal = MetalHistory(run.recorder.metal_snapshots, setup.thermal_state)
    unbalanced = [] if imbalance_time is None else [(imbalance_time, "the energy balance is lost: what follows is beyond the model")]
    events = sorted([*events, *metal.burst_events(), *unbalanced], key=lambda event: event[0])
    return Shot(
        setup.section,
        setup.network,
        history,
        balance,
        run.accuracy,
        run.steps,
        clock.perf_counter() - started,
        setup.mesh.size,
        tuple((float(t), event) for t, event in events),
        state.interrupted,
        state.stop_reason,
        setup.movement.remesh_count if setup.movement else 0,
        setup.build,
        run.recorder.fields,
        refined_run,
        metal,
        fixed_parts=fixed_parts,
        work=run.work,
        method=run.method.name,
    )


def _conducts(part) -> bool:
    return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
