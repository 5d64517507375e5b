"""One discharge of a capacitor bank into coil and disc: its problem, set-up and run, and the result put together."""
from __future__ import annotations

import time as clock
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.prescribed_currents import PrescribedCurrents
from fieldsolve.field.fem.quadrature import QuadraturePoints
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.motion.contract import Motion
from fieldsolve.motion.defaults import max_cell_sizes, with_grids
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.movement import Movement, build_movement
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.shot.history import History, Recorder
from fieldsolve.shot.instant import MetalSnapshot
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.integrator.field_circuit import Circuit
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.meshing import coarse_shot_mesh, shot_mesh
from fieldsolve.shot.network import build_network, coils_of, required_open_radius, shot_system, with_induced_voltages
from fieldsolve.shot.observables.observables import compute_observables
from fieldsolve.shot.observables.probes import Probes, locate_rims
from fieldsolve.shot.problem import ShotProblem
from fieldsolve.shot.result.accuracy import accuracy_shortfalls
from fieldsolve.shot.result.energy_balance import EnergyBalance, build_balance
from fieldsolve.shot.result.estimates import compare_with
from fieldsolve.shot.result.metal_history import MetalHistory, metal_snapshot, plastic_heat_shares
from fieldsolve.shot.result.shape_series import with_shape_series
from fieldsolve.shot.result.shot import Shot
from geometries.cross_section import CrossSection
from geometries.errors import AccuracyWarning, FieldError, SolveError
from geometries.mesh import Mesh

SPACE_REDUCTION = 0.25      # of the error by the mesh of a shot against that of its coarser companion


def solve_shot(section: CrossSection, bank: Bank | Sequence[Bank] | PrescribedCurrents, *, end_time: float,
               motion: bool | Mapping[str, Motion] = True, heating: bool = True,
               accuracy: float = 3e-3, circuit: Sequence[Sequence[str]] | None = None, leads: Leads | None = None,
               crowbar: Crowbar | None = None, progress: Callable[[float], None] | None = None, mesh_accuracy: float | None = None,
               step: float | None = None, mesh: Mesh | None = None, former: Former | None = None, method: Tableau = SDIRK2,
               linear_solver: str | LinearSolver | None = None, error_bounds: bool = True) -> Shot:
    """Fire a bank into coils and follow field, circuit, heat and motion to `end_time`.

    A KeyboardInterrupt ends the shot early and marks it as interrupted.

    Parameters
    ----------
    section : CrossSection
        Coils and bodies.
    bank : Bank, sequence of Bank, or PrescribedCurrents
        One bank, or several across the same coil leads, each with its own gap and time; or the coils' currents over time.
    end_time : float
        Seconds.
    motion : bool or mapping of str to Motion, optional
        True: bodies flow, turns stretch and burst, and what cannot is held (see `Shot.fixed_parts`).  False: all metal is held still.
        Or the motion of each part that moves, by name: AxialMotion, RadialMotion, PrescribedMotion, FlowMotion, HoopMotion.
    heating : bool, optional
        Whether the metal heats and its resistivity rises with it.
    accuracy : float, optional
        Relative, of the peak currents, the bore's peak field and the energies; it determines steps and cells.
    circuit : sequence of sequences of str, optional
        Branches in parallel, each the names of coils in series; default: all solenoids, spirals and windings in series.
    leads : Leads, optional
        Resistance and inductance between bank and coils.
    crowbar : Crowbar, optional
        A switch across coil leads or capacitor.
    progress : callable, optional
        Called with the time in seconds after each step.
    mesh_accuracy : float, optional
        Accuracy that determines the cells alone, where it is not that of the steps.
    step : float, optional
        Length in seconds of every step between events, whatever its error: to study convergence.
    mesh : Mesh, optional
        The mesh to use: to study convergence.
    former : Former, optional
        What the coils are wound on or cast in, shared evenly among their turns, with `motion=True`; held metal has no use for it.
    method : Tableau, optional
        The method in time, see `fieldsolve.ode`.
    linear_solver : str or LinearSolver, optional
        "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU.
    error_bounds : bool, optional
        Whether a coarser companion run, a quarter of the work, bounds the errors.  Without it they are infinite, for no bound is known,
        until `Shot.refined` has made a finer run.

    Returns
    -------
    Shot

    Raises
    ------
    InputError, GeometryError, MeshError
        For arguments that cannot be, and sections that cannot be meshed.
    SolveError
        Where a step fails; its `partial` is the shot up to there, marked as interrupted.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> peak = shot.peak("current", "coil")
    >>> print(f"{peak.value / 1e3:.1f} kA at {1e6 * peak.time:.1f} us")
    5.6 kA at 5.0 us
    """
    return solve_shot_problem(ShotProblem(
        section=section, bank=bank, end_time=end_time, motion=motion, heating=heating, accuracy=accuracy, circuit=circuit, leads=leads,
        crowbar=crowbar, mesh_accuracy=mesh_accuracy, step=step, mesh=mesh, former=former, method=method,
        linear_solver=linear_solver, error_bounds=error_bounds), progress)


def solve_shot_problem(problem: ShotProblem, progress: Callable[[float], None] | None = None) -> Shot:
    """The shot of a problem, as `solve_shot` describes it."""
    shot = _run(problem, progress)
    if problem.error_bounds and not shot.interrupted:
        shot = _with_error_bounds(shot)
        for sentence in accuracy_shortfalls(shot):
            warnings.warn(sentence, AccuracyWarning, stacklevel=3)
    return shot


def _with_error_bounds(shot: Shot) -> Shot:
    """The shot compared with a coarser companion; as it is where the companion cannot be run to the same end."""
    started = clock.perf_counter()
    try:
        companion = _run(shot.problem.coarsened(float(shot.times[-1])))
    except FieldError:
        return shot
    return replace(compare_with(shot, companion, False, SPACE_REDUCTION), wall_time=shot.wall_time + clock.perf_counter() - started)


def _run(problem: ShotProblem, progress: Callable[[float], None] | None = None) -> Shot:
    started = clock.perf_counter()
    setup = _set_up(problem)
    run = Discharge(build=setup.build, mesh=setup.mesh, network=setup.network, heating=setup.thermal_state, movement=setup.movement,
                    accuracy=problem.accuracy, end_time=problem.end_time, observe=setup.observe,
                    progress=progress or (lambda time: None), step=problem.step, method=problem.method, parts=setup.parts,
                    recorder=Recorder(setup.metal_snapshot))
    try:
        with one_thread():
            run.run()
    except SolveError as error:
        error.partial = _build_shot(setup, run, started) if run.recorder.instants else None
        raise
    return _build_shot(setup, run, started)


@dataclass(frozen=True, eq=False, kw_only=True)
class _ShotSetup:
    """What a problem becomes before its first step.

    section        the parts, with the lines that the cells of flowing bodies keep to
    network        the circuit
    mesh           the mesh at the start
    movement       the moving bodies; None where nothing moves
    thermal_state  the heat of the metal; None where nothing heats
    probes         what is read off the field, with the metal in its first position
    fixed_points   quadrature points in the parts that are held
    fixed_parts    why a part that was to move is held, by its name
    solver         factors the matrices
    """

    problem: ShotProblem
    section: CrossSection
    network: Circuit
    mesh: Mesh
    movement: Movement | None
    thermal_state: Heating | None
    probes: Probes
    fixed_points: dict[str, QuadraturePoints]
    fixed_parts: dict[str, str]
    solver: LinearSolver

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

    def metal_snapshot(self) -> MetalSnapshot:
        """What is kept of the metal as it is now."""
        return metal_snapshot(self.thermal_state, self.movement)

    def history(self, recorder: Recorder) -> tuple[History, EnergyBalance]:
        """Series and energy balance of what is recorded."""
        history = recorder.history
        history = with_induced_voltages(self.network, history) if self.movement and not self.network.banks else history
        history = with_shape_series(history, self.section, recorder.instants) if self.movement else history
        moving = tuple(body.name for body in self.movement.bodies) if self.movement else ()
        return history, build_balance(self.network, history, self.parts, moving)


def _set_up(problem: ShotProblem) -> _ShotSetup:
    solver, (motions, fixed_parts) = choose_solver(problem.linear_solver), problem.motions()
    section = with_grids(problem.section, motions)
    network = build_network(section, problem.bank, problem.circuit, problem.leads, problem.crowbar, problem.end_time)
    choose_mesh = coarse_shot_mesh if problem.coarse_mesh else shot_mesh
    mesh = problem.mesh or choose_mesh(section, network, problem.mesh_accuracy or problem.accuracy,
                                       required_open_radius(section, motions, problem.end_time), max_cell_sizes(section, motions), solver)
    movement = build_movement(section, mesh, motions, problem.end_time) if motions else None
    mesh, coils = movement.current_mesh if movement else mesh, coils_of(network)
    bodies = tuple(part.name for part in section.parts if part.zones and _conducts(part) and part.name not in coils)
    cold_system = shot_system(section, mesh, network, solver)
    thermal_state = Heating(section, mesh, cold_system.metal_conductivity, cold_system.windings.fill) if problem.heating else None
    probes = Probes(cold_system, bodies, coils, locate_rims(section, mesh, bodies))
    fixed_points = {name: points for name, points in probes.sections.items() if name not in motions}
    return _ShotSetup(problem=problem, section=section, network=network, mesh=mesh, movement=movement, thermal_state=thermal_state,
                      probes=probes, fixed_points=fixed_points, fixed_parts=fixed_parts, solver=solver)


def _build_shot(setup: _ShotSetup, run: Discharge, started: float) -> Shot:
    """The result of a run; where its motion ended it, only what came before its energy balance was lost."""
    state, (history, balance) = run.state, setup.history(run.recorder)
    events = state.events
    imbalance_time = balance.imbalance_time(run.accuracy)
    if state.stop_reason and imbalance_time is not None:          # cells that fold make fields of nothing
        run.recorder.truncate(imbalance_time)
        history, balance = setup.history(run.recorder)
        events = [event for event in state.events if event[0] < history.times[-1]]
        events.append((history.times[-1], f"{state.stop_reason}: the record ends where the energy balance is lost"))
        imbalance_time = balance.imbalance_time(run.accuracy)
    instants, heated_metal = run.recorder.instants, None if setup.thermal_state is None else setup.thermal_state.metal
    bursts = MetalHistory(tuple(instant.metal for instant in instants), heated_metal).burst_events()
    unbalanced = [] if imbalance_time is None else [(imbalance_time, "the energy balance is lost: what follows is beyond the model")]
    events = sorted([*events, *bursts, *unbalanced], key=lambda event: event[0])
    return Shot(
        problem=setup.problem, section=setup.section, network=setup.network, history=history, energy=balance, instants=instants,
        heated_metal=heated_metal, events=tuple((float(t), event) for t, event in events), fixed_parts=setup.fixed_parts, work=run.work,
        unknowns=setup.mesh.size, wall_time=clock.perf_counter() - started, interrupted=state.interrupted,
        stop_reason=state.stop_reason, solver=solve_shot_problem)


def _conducts(part) -> bool:
    return not part.stranded and all(zone.material is not None and zone.material.conductivity > 0 for zone in part.zones)
