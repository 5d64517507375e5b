"""One discharge of a capacitor bank into coil and disc: what a person asks for, and the run that answers it."""
from __future__ import annotations

import time as clock
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.given_currents import GivenCurrents
from fieldsolve.field.fem.quadrature import Sampling
from fieldsolve.field.linear_algebra.cholesky import one_thread
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.motion.defaults import finer, largest_cells, usual_motions, with_grids
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.movement import Motion, Movement, movement
from fieldsolve.shot.history import History, Recorder
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.meshing import shot_mesh
from fieldsolve.shot.network import coils_of, network_of, room_of, with_induced_voltages
from fieldsolve.shot.observables.observables import readings_of, without_closed_turns
from fieldsolve.shot.observables.probes import Probes, rims
from fieldsolve.shot.result.energy_balance import EnergyBalance, balance_of
from fieldsolve.shot.result.metal_history import MetalNow, MetalRecord, plastic_shares
from fieldsolve.shot.result.shot import Shot
from geometries.cross_section import CrossSection
from geometries.errors import InputError, SolveError
from geometries.mesh import Mesh


def solve_shot(section: CrossSection, bank: Bank | Sequence[Bank] | GivenCurrents, *, end_time: float,
               motion: bool | Mapping[str, Motion] = True, heating: bool = True,
               accuracy: float = 3e-3, circuit: Sequence[Sequence[str]] | None = None, leads: Leads | None = None,
               crowbar: Crowbar | None = None, progress: Callable[[float], None] | None = None, mesh_accuracy: float | None = None,
               step: float | None = None, mesh: Mesh | None = None, former: Former | None = None) -> Shot:
    """Fire the bank into the coils and step to `end_time`.

    bank           one Bank, or several across the same coil leads, each with its own gap and time; or GivenCurrents in their place
    end_time       seconds
    motion         True: bodies flow, turns stretch and burst, and what cannot is held, see `Shot.held_parts`; False: metal is held
                   still; or how bodies move, by name: AxialMotion, RadialMotion, GivenMotion, FlowMotion, HoopMotion; others are held
    heating        whether the metal heats and its resistivity rises with it
    accuracy       relative, of peak currents, the bore's peak field and the energies; steers step and cells
    circuit        branches in parallel, each a list of coil names in series; default: all solenoids, spirals and windings in series
    leads          resistance and inductance between bank and coils; crowbar  a switch across coil leads or capacitor
    progress       called with the time after each step; a KeyboardInterrupt ends the shot early and marks it
    mesh_accuracy  accuracy that steers the cells alone, where it is not that of the steps
    former         what the coils are wound on or cast in, shared evenly among their turns, with `motion=True`; held metal has no use for it
    step, mesh     to see how results converge: steps of this many seconds between events, whatever their error; a mesh of one's own
    Raises InputError, GeometryError, MeshError, or SolveError whose `partial` is the shot up to where it failed, marked.
    """
    if former is not None and not isinstance(motion, bool):
        raise InputError("former: it goes with motion=True; where each part's motion is given, give it to fs.HoopMotion(former=...)")
    started = clock.perf_counter()
    motions, held = usual_motions(section, former) if motion is True else (dict(motion or {}), {})
    section = with_grids(section, motions)
    network = network_of(section, bank, circuit, leads, crowbar, end_time)
    mesh = mesh or shot_mesh(section, network, mesh_accuracy or accuracy, room_of(section, motions, end_time),
                             largest_cells(section, motions))
    setup = _set_up(section, network, mesh, motions, end_time, heating)
    run = Discharge(setup.build, setup.mesh, network, setup.heat_store, setup.moves, accuracy, end_time, setup.read,
                    progress or (lambda time: None), step, Recorder(setup.metal))

    @cache
    def again() -> Shot:
        end = float(run.recorder.times[-1]) if run.interrupted or run.ended else end_time
        return solve_shot(section, bank, end_time=end or end_time, motion=finer(motions), heating=heating, accuracy=accuracy / 4,
                          circuit=circuit, leads=leads, crowbar=crowbar, mesh_accuracy=(mesh_accuracy or accuracy) / 4,
                          step=step and step / 2)
    try:
        with one_thread():
            run.run()
    except SolveError as error:
        error.partial = _told(setup, run, started, held, again) if run.recorder.instants else None
        raise
    return _told(setup, run, started, held, again)


@dataclass(frozen=True, eq=False)
class _Setup:
    """What is fired: the section on its mesh with its circuit, and what moves and heats of it.

    moves, heat_store   None where nothing moves or heats
    probes              what is read off the field in the first places;  still  points in the parts that are held
    """

    section: CrossSection
    network: Circuit
    mesh: Mesh
    moves: Movement | None
    heat_store: Heating | None
    probes: Probes
    still: dict[str, Sampling]

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of all that conducts: bodies, and the coils of the circuit."""
        return (*self.probes.bodies, *self.probes.circuit_coils)

    def build(self, mesh: Mesh) -> EddySystem:
        """The matrices on a mesh of the section."""
        return _built(self.section, mesh, self.network)

    def read(self, model, value, slope, heat) -> dict:
        """All readings of one instant."""
        probes = replace(self.probes, system=model.system, held=self.still, once=True) if self.moves else self.probes
        readings = readings_of(probes, self.network, model, value, slope, heat) | (self.moves.readings() if self.moves else {})
        if self.heat_store:
            readings |= self.heat_store.readings(self.parts) | (plastic_shares(self.heat_store, self.moves) if self.moves else {})
        return readings

    def metal(self) -> MetalNow:
        """What is kept of the metal as it is now."""
        states = {body.name: state for body, state in zip(self.moves.bodies, self.moves.states, strict=True)} if self.moves else {}
        return MetalNow(self.heat_store and self.heat_store.enthalpy, states)

    def record(self, recorder: Recorder, finer: Callable[[], EnergyBalance]) -> tuple[History, EnergyBalance]:
        """Series and balance of what is recorded."""
        history = History(recorder.times, recorder.series())
        history = with_induced_voltages(self.network, history) if self.moves and not self.network.banks else history
        moving = tuple(body.name for body in self.moves.bodies) if self.moves else ()
        return history, balance_of(self.network, history, self.parts, moving, finer)


def _set_up(section: CrossSection, network: Circuit, mesh: Mesh, motions: Mapping[str, Motion], end_time: float, heating: bool) -> _Setup:
    moves = movement(section, mesh, motions, end_time) if motions else None
    mesh, coils = moves.now if moves else mesh, coils_of(network)
    bodies = tuple(part.name for part in section.parts if part.zones and _conducts(part) and part.name not in coils)
    cold = _built(section, mesh, network)
    heat_store = Heating(section, mesh, cold.metal_sigma, cold.strands.fill) if heating else None
    probes = Probes(cold, bodies, coils, rims(section, mesh, bodies))
    still = {name: points for name, points in probes.sections.items() if name not in motions}
    return _Setup(section, network, mesh, moves, heat_store, probes, still)


def _built(section: CrossSection, mesh: Mesh, network: Circuit) -> EddySystem:
    return without_closed_turns(eddy_system(section, mesh), network)


def _told(setup: _Setup, run: Discharge, started: float, held: Mapping[str, str], again: Callable[[], Shot]) -> Shot:
    """What comes of a run; where its motion ended it, only what came before its energy balance was lost."""
    events, (history, balance) = run.events, setup.record(run.recorder, lambda: again().energy)
    lost = balance.lost(run.accuracy)
    if run.ended and lost is not None:          # cells that fold make fields of nothing
        run.recorder.end_before(lost)
        history, balance = setup.record(run.recorder, lambda: again().energy)
        events = [event for event in run.events if event[0] < history.times[-1]]
        events.append((history.times[-1], f"{run.ended}: the record ends where the energy balance is lost"))
        lost = balance.lost(run.accuracy)
    metal = MetalRecord(run.recorder.metals, setup.heat_store)
    unbalanced = [] if lost is None else [(lost, "the energy balance is lost: what follows is beyond the model")]
    events = sorted([*events, *metal.burst_events(), *unbalanced], key=lambda event: event[0])
    return Shot(setup.section, setup.network, history, balance, run.accuracy, run.steps, clock.perf_counter() - started, setup.mesh.size,
                tuple((float(t), event) for t, event in events), run.interrupted, run.ended, setup.moves.renewals if setup.moves else 0,
                setup.build, run.recorder.fields, again, metal, held)


def _conducts(part) -> bool:
    return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
