"""One discharge: step the coupled field and circuit from event to event, heating and moving the metal as it goes."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.motion.movement import Movement
from fieldsolve.ode import SDIRK2, Step, StepController, Tableau, WorkCounts, end_step_at_zero, take_step
from fieldsolve.shot.history import Recorder
from fieldsolve.shot.integrator.dissipation import loss_over_step
from fieldsolve.shot.integrator.field_circuit import Circuit, FieldCircuit, Stage, equilibrium_field, mean_heat_rate
from fieldsolve.shot.integrator.heating import Heating, resize_to
from fieldsolve.shot.integrator.kept_factor import solve_stage
from fieldsolve.shot.integrator.newton_stage import StageSolution, solve_implicit_stage
from fieldsolve.shot.integrator.stage_rates import StageRates
from fieldsolve.shot.integrator.state import DischargeState, initial_state
from fieldsolve.shot.integrator.step_error import check_step, relative_error, require_numbers
from fieldsolve.shot.integrator.switching import PROBE_STAGE, fire_due_switches, next_switch_time, settle_first_arcs, switch_at_zero
from fieldsolve.shot.integrator.zero_crossings import first_zero_crossing, monitored_indices
from geometries.errors import FieldError, MeshError, MotionEnd, SolveError
from geometries.mesh import Mesh

TOLERANCE = 0.5                 # of the embedded error, in units of the accuracy
KEPT_STEP_RANGE = (0.7, 1.3)    # a change of step within these keeps the step and its factor, while nothing moves
KEPT_STEP_RANGE_HEATED = (0.7, 1.15)     # the same while metal heats, so that a factor serves fewer steps
MIN_MOTION_STEP = 1e-4          # of the end time: a step below that is not tried where metal cannot go on
MIN_STEP = 1e-7                 # of the end time: a step below that is accepted whatever its error


@dataclass(frozen=True, eq=False, kw_only=True)
class Discharge:
    """What is discharged, and how; `run` leaves what happened in `recorder` and in the state that it returns.

    build      makes the system of the cold metal on a mesh
    mesh       None: a circuit without field
    heating    None: nothing heats;  movement  None: metal is held still
    observe    observables of an instant from (model, value, derivative, heat rate)
    accuracy   relative, of the steps
    step       seconds of every step between events; None: as the embedded error allows
    method     in time
    parts      names of the metal whose ohmic heat is summed up
    keep       called with this run at its start, after each step and after each step that was rejected; it changes nothing
    resumed    a state from which to go on, whose past stands in `recorder`; None: the run begins
    """

    build: Callable[[Mesh], EddySystem | None]
    mesh: Mesh | None
    network: Circuit
    heating: Heating | None
    movement: Movement | None
    accuracy: float
    end_time: float
    observe: Callable[..., dict]
    progress: Callable[[float], None] = lambda time: None
    step: float | None = None
    method: Tableau = SDIRK2
    parts: tuple[str, ...] = ()
    recorder: Recorder = field(default_factory=Recorder)
    keep: Callable[[Discharge], None] = lambda run: None
    resumed: DischargeState | None = None

    def run(self) -> DischargeState:
        """Step to the end time.

        Ctrl-C and metal that cannot go on end it early, marked.  Raises SolveError, which names the step, where none can be made;
        its `partial` is the state.
        """
        state = self.state
        if self.resumed is None:
            self._record_start(state)
            self.keep(self)
        try:
            while state.time < self.end_time * (1 - 1e-12) and not state.stop_reason:
                self._advance(state)
                self.keep(self)
                self.progress(state.time)
        except KeyboardInterrupt:
            state.interrupted = True
        except (FieldError, ArithmeticError, np.linalg.LinAlgError) as error:
            state.interrupted = True
            raise SolveError(f"in the step after {state.time:.6g} s: {error}") from error
        return state

    @cached_property
    def state(self) -> DischargeState:
        """The state as it is now."""
        return self.resumed or initial_state(self.build, self.mesh, self.network, self.heating)

    @property
    def steps(self) -> int:
        """Number of accepted steps."""
        return len(self.recorder.entries) - 1

    @property
    def work(self) -> WorkCounts:
        """What it took so far."""
        return replace(self.state.work, steps=self.steps, mechanics_passes=self.movement.mechanics_passes if self.movement else 0)

    @cached_property
    def controller(self) -> StepController:
        """What chooses the lengths of the steps."""
        return StepController(self.method.error_order, MIN_STEP * self.end_time, self.step)

    # ---- a step -----------------------------------------------------------------------------------------------------

    def _advance(self, state: DischargeState) -> None:
        """One accepted step, shortened to the next event; or nothing but another length for the next try."""
        length, is_cut = self.controller.fit(state.step_length, state.time, next_switch_time(self.network, state, self.end_time))
        try:
            if not self._air_is_usable(state, length):
                return
            step, stages = self._try_step(state, length)
            check_step(state, step)
            error = 0.0 if self.step else relative_error(self.network, self.heating, self.movement, state, step, stages, self.method.b)
            error /= TOLERANCE * self.accuracy
        except MotionEnd as end:
            self._shorten_or_end(state, length, str(end))
            return
        if self.controller.rejects(length, error):
            state.step_length = self.controller.next_length(length, error)
            state.count(rejected_steps=1)
            return
        self._choose_next_length(state, length, error, is_cut)
        crossing = self._first_zero(state, step)
        if crossing is None:
            self._accept(state, step, stages)
            fire_due_switches(self.network, state, self.end_time)
        else:
            after, index = crossing
            step, stages = self._end_at_zero(state, step, after, index)
            self._accept(state, step, stages)
            switch_at_zero(self.network, state, index, self.end_time)

    def _choose_next_length(self, state: DischargeState, length: float, error: float, is_cut: bool) -> None:
        """Keep a length that is nearly right while nothing moves, for the sake of its factor; one cut to an event counts less."""
        suggested = self.controller.next_length(length, error)
        least, most = KEPT_STEP_RANGE_HEATED if self.heating else KEPT_STEP_RANGE
        keeps = least < suggested / length < most and not (self.movement and self.movement.moves_mesh(length))
        if is_cut or not keeps:
            state.step_length = max(suggested, state.step_length) if is_cut and error < 1 else suggested

    def _try_step(self, state: DischargeState, length: float) -> tuple[Step, tuple[Stage, ...]]:
        """A tentative step in units of its start, and its stages, each at the conductivity and place of its own time."""
        stages = [self._start_stage(state)] if self.method.first_stage_is_explicit else []
        if self.movement:
            self.movement.predict(length, self.method.c)

        def find_rate(time: float, base: np.ndarray, g: float) -> np.ndarray:
            self._predict_system(state, time)
            ratio, start = self._flux_ratio(state), 0.5 * self.network.applied_field
            transported = (base + start) * ratio - start
            state.count(stages=1)
            model, derivative = solve_stage(state, self.network, len(stages), time, transported, g, heats=self.heating is not None,
                                            moves=self.movement is not None)
            stages.append(Stage(model, transported + g * derivative, derivative, self.movement))
            return derivative / ratio
        step = take_step(self.method, find_rate, state.time, state.value, length, stages[0].derivative if stages else None)
        return step, tuple(stages)

    def _start_stage(self, state: DischargeState) -> Stage:
        """The stage at the start of a step: the end of the last one, or after an event a stage of next to no length."""
        if state.end_stage is None:
            self._predict_system(state, state.time)
            solution = self._solve_next_to_nothing(state)
            state.end_stage = Stage(solution.model, state.value, solution.derivative, self.movement)
        return state.end_stage

    def _solve_next_to_nothing(self, state: DischargeState) -> StageSolution:
        """A stage so short that its derivative is the one now."""
        g = self.method.gamma * PROBE_STAGE * state.step_length
        solution = solve_implicit_stage(state.system, self.network, state.switches, state.value, g, state.time)
        state.count(stages=1, factorizations=solution.factorizations)
        return solution

    def _flux_ratio(self, state: DischargeState) -> np.ndarray | float:
        """Factor on every unknown that keeps the metal's flux from the start of the step to a stage."""
        if not self.movement:
            return 1.0
        return np.concatenate([self.movement.flux_ratio(self.movement.current_mesh, state.system.mesh), np.ones(self.network.size)])

    def _predict_system(self, state: DischargeState, time: float) -> None:
        """Take the system to the place, conductivity and magnetization expected at `time`."""
        energy = state.heat_rate * (time - state.time) + 0.5 * state.heat_rate_slope * (time - state.time) ** 2
        sigma = self.heating.conductivity_after(energy) if self.heating else None
        mesh = self.movement.mesh_at(time) if self.movement else state.system and state.system.mesh
        if state.system and mesh is not state.system.mesh:
            state.system = state.system.moved(mesh, sigma)
        elif sigma is not None:
            state.system = state.system.with_conductivity(sigma)
        if state.demagnetization:
            state.system = state.system.with_magnetization_fraction(self.heating.magnetization_after(energy))

    def _first_zero(self, state: DischargeState, step: Step) -> tuple[float, int] | None:
        """Earliest zero in a step at which something switches: (seconds after its start, number in x)."""
        indices = monitored_indices(self.network, state.switches)
        scales = {k: state.scale_of_unknown(k, len(self.network.banks)) for k in indices}
        return first_zero_crossing(indices, scales, state.circuit_value, step, state.unknowns)

    def _end_at_zero(self, state: DischargeState, step: Step, after: float, index: int) -> tuple[Step, tuple[Stage, ...]]:
        """The step that ends at a zero of entry `index` of x."""
        state.count(rejected_steps=1)
        return end_step_at_zero(lambda length: self._try_step(state, length), after, state.circuit_value[index], step,
                                state.unknowns + index, state.scale_of_unknown(index, len(self.network.banks)))

    # ---- its end ----------------------------------------------------------------------------------------------------

    def _accept(self, state: DischargeState, step: Step, stages: tuple[Stage, ...]) -> None:
        """Heat and move the metal over a step, and go to its end."""
        end = stages[-1]
        require_numbers("heat", np.concatenate([stage.heat_rate for stage in stages]))
        if self.heating:
            self.heating.add_current(stages, self.method.b, step.length)
        state.add_losses(loss_over_step(self.network, state.switches, stages, self.method.b, step.length, self.parts))
        state.heat_rate_slope, state.heat_rate = (end.heat_rate - state.heat_rate) / step.length, end.heat_rate
        if self.movement:
            self._move(state, step, stages)
        if state.demagnetization:
            released = state.demagnetization.accept(end.model.system, end.value[:state.unknowns] + 0.5 * self.network.applied_field)
            self.heating.add(-released)
        state.time, state.value, state.end_stage = step.start + step.length, end.value, end
        self._record(state, end.model, end.derivative)
        contact = self.movement.describe_contact() if self.movement else None
        if contact:
            self._end(state, contact)

    def _move(self, state: DischargeState, step: Step, stages: tuple[Stage, ...]) -> None:
        require_numbers("force", np.concatenate([forces.ravel() for forces in stages[-1].forces]))
        heats = (mean_heat_rate(stages, self.method.b), stages[-1].heat_rate) if self.heating else None
        plastic_heat = self.movement.accept(step.length, stages[-1].forces, state.stored_energy, heats)
        if self.heating:
            self.heating.add(plastic_heat)
        state.air_is_fresh = False

    def _record_start(self, state: DischargeState) -> None:
        """Observables just after the first gap has closed: nothing flows yet, but its rate is known."""
        settle_first_arcs(self.network, state, self.end_time)
        solution = self._solve_next_to_nothing(state)
        state.end_stage = Stage(solution.model, state.value, solution.derivative, self.movement)
        state.losses = dict.fromkeys(loss_over_step(self.network, state.switches, (state.end_stage,), (0.0,), 0.0, self.parts), 0.0)
        if self.movement:
            self.movement.start(state.end_stage.forces)
        self._record(state, solution.model, solution.derivative)

    def _record(self, state: DischargeState, model: FieldCircuit, derivative: np.ndarray) -> None:
        size, state.derivative = state.unknowns, derivative
        observables = self.observe(model, state.value, derivative, state.heat_rate)
        observables |= state.losses
        observables |= state.demagnetization.observables() if state.demagnetization else {}
        mesh, sigma = (None, np.zeros(0)) if model.system is None else (model.system.mesh, model.system.sigma)
        self.recorder.add(state.time, observables, state.value[:size].copy(), derivative[:size].copy(), sigma, mesh)

    # ---- metal that moves -------------------------------------------------------------------------------------------

    def _air_is_usable(self, state: DischargeState, length: float) -> bool:
        """Whether the air's cells last to the end of a step; if not, they are meshed anew, or the next step is shorter."""
        if not self.movement:
            return True
        self.movement.predict(length, self.method.c)
        if self.movement.is_well_shaped(length):
            return True
        if not state.air_is_fresh:
            self._remesh_air(state)
        else:
            self._shorten_or_end(state, length, self.movement.describe_obstacle(length))
        return False

    def _shorten_or_end(self, state: DischargeState, length: float, reason: str) -> None:
        """Try a shorter step where the metal cannot move as far as this one takes it; where none is left to try, the run ends."""
        if self.step or length < MIN_MOTION_STEP * self.end_time:
            self._end(state, reason)
        else:
            state.step_length = 0.25 * length
            state.count(rejected_steps=1)
            self.movement.discard_prediction()

    def _end(self, state: DischargeState, reason: str) -> None:
        state.stop_reason = reason
        state.add_event(f"{reason}: the run ends")

    def _remesh_air(self, state: DischargeState) -> None:
        """Mesh the air round the bodies anew, with the field that their flux and the currents make in it."""
        x = state.circuit_value
        try:
            self.movement.remesh_air()
        except MeshError as failure:
            raise MotionEnd(f"{self.movement.describe_contact() or 'no air can be meshed round the bodies'}: {failure}") from failure
        mesh, metal = self.movement.current_mesh, self.movement.flux_transport.metal
        count = len(mesh.triangles)
        state.system, state.model, state.end_stage, state.air_is_fresh = self.build(mesh), None, None, True
        if self.heating:
            self.heating.resize(count)
            state.system = state.system.with_conductivity(self.heating.conductivity_after(np.zeros(count)))
        state.heat_rate, state.heat_rate_slope = resize_to(state.heat_rate, count), resize_to(state.heat_rate_slope, count)
        state.value = np.concatenate([equilibrium_field(state.system, self.network, x, metal, state.value[metal]), x])
        state.derivative, state.stage_rates = np.zeros_like(state.value), StageRates()
        state.count(remeshes=1, factorizations=1)
