"""One discharge of a capacitor bank into coil and disc: its problem, set-up and run, and the result put together."""
from __future__ import annotations

import time as clock
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.prescribed_currents import PrescribedCurrents
from fieldsolve.field.adaptivity.error_bounds import typical_reduction
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import LinearSolver
from fieldsolve.field.transient.meshing import ShotMesh
from fieldsolve.motion.contract import Motion
from fieldsolve.motion.hoops.former import Former
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.shot.checkpoint.checkpoint import Checkpoint, MainRun
from fieldsolve.shot.checkpoint.keeper import Keeper
from fieldsolve.shot.history import Recorder
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.problem import ShotProblem
from fieldsolve.shot.result.accuracy import accuracy_shortfalls
from fieldsolve.shot.result.estimates import compare_with
from fieldsolve.shot.result.metal_history import MetalHistory
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.setup import ShotSetup, set_up, set_up_companion
from geometries.cross_section import CrossSection
from geometries.errors import AccuracyWarning, FieldError, SolveError
from geometries.keywords import known_keywords
from geometries.mesh import Mesh


@known_keywords
def solve_shot(section: CrossSection, bank: Bank | Sequence[Bank] | PrescribedCurrents, *, end_time: float,
               motion: bool | Mapping[str, Motion] = True, heating: bool = True,
               accuracy: float = 3e-3, circuit: Sequence[Sequence[str]] | None = None, leads: Leads | None = None,
               crowbar: Crowbar | None = None, progress: Callable[[float], None] | None = None, mesh_accuracy: float | None = None,
               step: float | None = None, mesh: Mesh | None = None, former: Former | None = None, method: Tableau = SDIRK2,
               linear_solver: str | LinearSolver | None = None, error_bounds: bool = True,
               checkpoint: str | Path | Keeper | None = None) -> Shot:
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
        The mesh to use: to study convergence; errors are then not bounded.
    former : Former, optional
        What the coils are wound on or cast in, shared evenly among their turns, with `motion=True`; held metal has no use for it.
    method : Tableau, optional
        The method in time, see `fieldsolve.ode`.
    linear_solver : str or LinearSolver, optional
        "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU.
    error_bounds : bool, optional
        Whether a coarser companion run, a quarter of the work, bounds the errors.  Without it they are infinite, for no bound is known,
        until `Shot.refined` has made a finer run.
    checkpoint : str or Path, optional
        A file in which the run is kept every few steps, at every event and at its end, for `resume_shot`; the one before stands beside
        it, with ".before" in its name.  What stood there is written over.

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
        linear_solver=linear_solver, error_bounds=error_bounds), progress, Keeper.of(checkpoint))


def solve_shot_problem(problem: ShotProblem, progress: Callable[[float], None] | None = None, keeper: Keeper | None = None) -> Shot:
    """The shot of a problem, as `solve_shot` describes it; `keeper` writes its checkpoints."""
    setup = set_up(problem)
    return _with_error_bounds(setup, _run(setup, progress, keeper), keeper)


def go_on(checkpoint: Checkpoint, progress: Callable[[float], None] | None = None, keeper: Keeper | None = None) -> Shot:
    """The shot of which a run was kept, as if nothing had stopped it."""
    setup, main = checkpoint.resumed_setup, checkpoint.main
    if main is None:
        return _with_error_bounds(setup, _run(setup, progress, keeper, resumed=checkpoint), keeper)
    return _warned(_compared(main, lambda: _run(setup, None, keeper, main, checkpoint)))


def _with_error_bounds(setup: ShotSetup, shot: Shot, keeper: Keeper | None) -> Shot:
    """The shot with what a companion run tells of its errors, where such bounds are wanted, and a warning where it fell short."""
    if setup.problem.error_bounds and setup.shot_mesh and not shot.interrupted:
        shot = _compared_with_companion(shot, setup.shot_mesh, keeper)
    return _warned(shot)


def _warned(shot: Shot) -> Shot:
    """The shot, with a warning for all in which it fell short."""
    for sentence in () if shot.interrupted else accuracy_shortfalls(shot):
        warnings.warn(sentence, AccuracyWarning, stacklevel=5)
    return shot


def _compared_with_companion(shot: Shot, fine: ShotMesh, keeper: Keeper | None) -> Shot:
    """The shot compared with a coarser companion; where that cannot be set up, the shot without bounds, which says so."""
    try:
        setup, reductions = set_up_companion(shot.problem.coarsened(float(shot.times[-1])), fine)
    except FieldError as error:
        return replace(shot, companion_failure=f"failed: {error}")
    main = MainRun(shot=shot, ratio=typical_reduction(reductions.values()).ratio)
    return _compared(main, lambda: _run(setup, None, keeper, main))


def _compared(main: MainRun, run_companion: Callable[[], Shot]) -> Shot:
    """A shot compared with its companion, whose time counts as its own; where that does not come to the same end, without bounds."""
    shot = main.shot
    try:
        companion = run_companion()
    except FieldError as error:
        return replace(shot, companion_failure=f"failed: {error}")
    shot = replace(shot, wall_time=shot.wall_time + companion.wall_time)
    if companion.interrupted:
        return replace(shot, interrupted=True)
    compared = compare_with(shot, companion, False, main.ratio)
    if not compared.comparisons:
        return replace(shot, companion_failure=f"ended at {1e6 * companion.times[-1]:.4g} us: {companion.stop_reason}")
    return compared


def _run(setup: ShotSetup, progress: Callable[[float], None] | None = None, keeper: Keeper | None = None,
         main: MainRun | None = None, resumed: Checkpoint | None = None) -> Shot:
    """Run what was set up, from its start or from where it was kept, and build the result.

    main  the shot of which this is the companion
    """
    problem = setup.problem
    run = Discharge(build=setup.build, mesh=setup.mesh, network=setup.network, heating=setup.thermal_state, movement=setup.movement,
                    accuracy=problem.step_accuracy, end_time=problem.end_time, observe=setup.observe,
                    progress=progress or (lambda time: None), step=problem.step, method=problem.method, parts=setup.parts,
                    recorder=Recorder(setup.metal_snapshot, list(resumed.entries) if resumed else []),
                    keep=partial(keeper.after_step, setup, main) if keeper else lambda run: None,
                    resumed=resumed.state if resumed else None)
    try:
        with one_thread():
            run.run()
    except SolveError as error:
        error.partial = _build_shot(setup, run) if run.recorder.instants else None
        raise
    if keeper:
        keeper.finish(setup, main, run)
    return _build_shot(setup, run)


def _build_shot(setup: ShotSetup, run: Discharge) -> Shot:
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
    history = setup.with_fields(history, run.recorder.instants)
    instants, heated_metal = run.recorder.instants, None if setup.thermal_state is None else setup.thermal_state.metal
    bursts = MetalHistory(tuple(instant.metal for instant in instants), heated_metal).burst_events()
    unbalanced = [] if imbalance_time is None else [(imbalance_time, "the energy balance is lost: what follows is beyond the model")]
    events = sorted([*events, *bursts, *unbalanced], key=lambda event: event[0])
    corners = [time for time in setup.network.corner_times if 0 < time < history.times[-1]]
    history = replace(history, events=tuple(sorted([*corners, *(float(time) for time, _ in state.events)])))
    return Shot(
        problem=setup.problem, section=setup.section, network=setup.network, history=history, energy=balance, instants=instants,
        heated_metal=heated_metal, events=tuple((float(t), event) for t, event in events), fixed_parts=setup.fixed_parts, work=run.work,
        unknowns=setup.mesh.size, wall_time=clock.perf_counter() - setup.started, interrupted=state.interrupted,
        stop_reason=state.stop_reason, solver=solve_shot_problem,
        mesh_shortfall=setup.shot_mesh.shortfall_message() if setup.shot_mesh else "")
