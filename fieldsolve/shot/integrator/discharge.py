"""One discharge: step the coupled field and circuit from event to event, heating the metal as it goes."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, EXTINGUISHED, OPEN, Switches
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.motion.movement import Movement
from fieldsolve.ode.sdirk2 import GAMMA, STAGE_SHARES, Step, next_length, take_step
from fieldsolve.shot.history import Recorder
from fieldsolve.shot.integrator.demagnetization import Demagnetization
from fieldsolve.shot.integrator.field_circuit import Circuit, FieldCircuit, Stage, build_field_circuit, mean_heat_rate
from fieldsolve.shot.integrator.heating import Heating, resize_to
from fieldsolve.shot.integrator.newton_stage import initial_field, solve_implicit_stage
from fieldsolve.shot.integrator.zero_crossings import end_step_at_zero, first_zero_crossing, monitored_indices
from geometries.errors import FieldError, MeshError, MotionEnd, SolveError
from geometries.mesh import Mesh

TOLERANCE = 0.35            # of the embedded error, in units of the accuracy asked for
KEPT_STEP_RANGE = (0.7, 1.3)           # a wanted change of step within these keeps the step and its factor, while nothing heats
MIN_MOTION_STEP = 1e-4        # of the end time: a step below that is not tried where metal cannot go on
MIN_STEP = 1e-7             # of the end time: a step below that cannot be


@dataclass(eq=False)
class Discharge:
    """The running state of one discharge; `run` leaves what was computed in `recorder`.

    build(mesh) makes the system of the cold metal, read(model, value, slope, heat) the readings of one instant.
    """

    build: Callable[[Mesh], EddySystem]
    mesh: Mesh | None               # None: a circuit without field
    network: Circuit
    heating: Heating | None
    movement: Movement | None       # None: metal held still
    accuracy: float
    end_time: float
    observe: Callable[..., dict]
    progress: Callable[[float], None] = lambda time: None
    step: float | None = None       # length of every step in seconds between events; None: as the embedded error allows
    recorder: Recorder = field(default_factory=Recorder)
    events: list[tuple[float, str]] = field(default_factory=list)
    interrupted: bool = False
    stop_reason: str = ""                 # why the motion of the metal ended the run before its end
    air_is_fresh: bool = False         # whether no step was made since the air was made new

    @property
    def steps(self) -> int:
        """Number of accepted steps."""
        return len(self.recorder.instants) - 1

    def run(self) -> None:
        """Step to the end time.  Ctrl-C and metal that cannot go on end it early, marked; SolveError, with the step, if none can be."""
        self._initialize()
        try:
            while self.time < self.end_time * (1 - 1e-12) and not self.stop_reason:
                self._advance()
                self.progress(self.time)
        except KeyboardInterrupt:
            self.interrupted = True
        except (FieldError, ArithmeticError, np.linalg.LinAlgError) as error:
            self.interrupted = True
            raise SolveError(f"in the step after {self.time:.6g} s: {error}") from error

    # ---- state ------------------------------------------------------------------------------------------------------

    @property
    def size(self) -> int:
        """Number of unknowns of the field."""
        return 0 if self.system is None else self.system.mesh.size

    def _initialize(self) -> None:
        network = self.network
        self.system = None if self.mesh is None else self.build(self.mesh)
        self.time, self.model = 0.0, None
        states = [CONDUCTING if bank.fires_at == 0 else OPEN for bank in network.banks]
        self.switches = Switches(tuple(states), tuple(1.0 for _ in states), False)
        self.heat_rate = self.heat_rate_slope = np.zeros(0 if self.mesh is None else len(self.mesh.triangles))
        self.demagnetization = Demagnetization(self.system, self.heating) if self.heating and self.system.zones else None
        first = build_field_circuit(self.system, network, self.switches, 1e-9)
        self.value = np.concatenate([initial_field(first), network.initial_state()])
        inductance = 2 * math.pi * np.abs(first.loads.T @ first.coil_response * first.stage).sum() if first.loads.size else 0.0
        self.current_scale, self.voltage_scale, energy, self.length = network.scales(inductance)
        self.field_scale = max(0.05**2 * energy / math.pi, self._field_energy(np.full(self.size, 0.05 * network.applied_field)))
        self._record_start()

    def _record_start(self) -> None:
        """Readings just after the first gap has closed: nothing flows yet, but its rate is known."""
        model, derivative = solve_implicit_stage(self.system, self.network, self.switches, self.value, GAMMA * 1e-3 * self.length)
        if self.movement:
            self.movement.start(Stage(model, self.value, derivative, self.movement).forces)
        self._record(model, derivative)

    # ---- stepping ---------------------------------------------------------------------------------------------------

    def _advance(self) -> None:
        """One accepted step, shortened to the next event."""
        due = self._next_switch_time()
        length, cut = self.step or self.length, False
        if self.time + length > due * (1 - 1e-12):
            length, cut = due - self.time, True
        elif self.time + 2 * length > due:
            length = 0.5 * (due - self.time)
        try:
            if not self._air_is_usable(length):
                return
            step, stages = self._step(length)
            error = self._error(step, stages)
        except MotionEnd as end:
            self._shorten_or_end(length, str(end))
            return
        if not self.step and error > 1 and length > MIN_STEP * self.end_time:
            self.length = next_length(length, error)
            return
        suggested = next_length(length, error)
        if self.heating or self.movement or not KEPT_STEP_RANGE[0] < suggested / length < KEPT_STEP_RANGE[1] or cut:
            self.length = suggested if not cut else max(suggested, self.length) if error < 1 else suggested
        indices = monitored_indices(self.network, self.switches)
        crossing = first_zero_crossing(
            indices, {k: self._scale_of_unknown(k) for k in indices}, self._circuit_state(self.value), step, self.size
        )
        if crossing is not None:
            guess, index = crossing
            step, stages = end_step_at_zero(
                self._step, guess, self._circuit_state(self.value)[index], step, self.size + index, self._scale_of_unknown(index)
            )
            self._accept(step, stages)
            self._switch_at_zero(index)
        else:
            self._accept(step, stages)
            self._fire_due_switches()

    def _step(self, length: float) -> tuple[Step, tuple[Stage, Stage]]:
        """A tentative step in units of its start, and its two stages, each at the conductivity and place of its own time."""
        stages = []

        def stage(time: float, base: np.ndarray, g: float) -> np.ndarray:
            self._predict_system(time)
            share, start = self._flux_ratio(), 0.5 * self.network.applied_field
            transported = (base + start) * share - start
            model, derivative = self._solve_stage(time, transported, g)
            stages.append(Stage(model, transported + g * derivative, derivative, self.movement))
            return derivative / share
        return take_step(stage, self.time, self.value, length), tuple(stages)

    def _flux_ratio(self) -> np.ndarray | float:
        """Factor on every unknown that keeps the metal's flux from the start of the step to a stage."""
        if not self.movement:
            return 1.0
        return np.concatenate([self.movement.flux_ratio(self.movement.current_mesh, self.system.mesh), np.ones(self.network.size)])

    def _predict_system(self, time: float) -> None:
        """Take the system to the place, conductivity and magnetism expected at `time`."""
        if self.movement:
            mesh = self.movement.mesh_at(time)
            self.system = self.system if mesh is self.system.mesh else self.system.moved(mesh)
        if self.heating:
            energy = self.heat_rate * (time - self.time) + 0.5 * self.heat_rate_slope * (time - self.time) ** 2
            self.system = self.system.with_conductivity(self.heating.conductivity_after(energy))
            if self.demagnetization:
                self.system = self.system.with_magnetization_fraction(self.heating.magnetization_after(energy))

    def _solve_stage(self, time: float, base: np.ndarray, g: float) -> tuple[FieldCircuit, np.ndarray]:
        """Field and circuit of a stage of g seconds from base, and y' there; factored anew unless nothing of it changed."""
        curves = self.system is not None and self.system.zones
        if self.model is None or self.heating or self.movement or curves or abs(self.model.stage / g - 1) > 1e-9 or not self.network.banks:
            self.model, derivative = solve_implicit_stage(
                self.system, self.network, self.switches, base, g, time, base + g * self.derivative, self.model
            )
            return self.model, derivative
        return self.model, self.model.solve_stage(base, g)

    def _air_is_usable(self, length: float) -> bool:
        """Whether the air's cells last to the end of a step; if not, they are made new, or the next step is shorter."""
        if not self.movement or self.movement.is_well_shaped(self.time + length):
            return True
        if not self.air_is_fresh:
            self._remesh_air()
        else:
            self._shorten_or_end(length, self.movement.describe_obstacle(self.time + length))
        return False

    def _shorten_or_end(self, length: float, reason: str) -> None:
        """Try a shorter step where the metal cannot move as far as this one takes it; where none is left to try, the run ends."""
        if self.step or length < MIN_MOTION_STEP * self.end_time:
            self.stop_reason = reason
            self.events.append((self.time, f"{reason}: the run ends"))
        else:
            self.length = 0.25 * length
            self.movement.discard_predictions()

    def _remesh_air(self) -> None:
        """Make the air new round the bodies, with the field that their flux and the currents make in it."""
        x = self._circuit_state(self.value)
        try:
            self.movement.remesh_air()
        except MeshError as failure:
            raise MotionEnd(f"{self.movement.describe_contact() or 'no air can be meshed round the bodies'}: {failure}") from failure
        mesh, metal = self.movement.current_mesh, self.movement.flux_transport.metal
        self.system, self.model, self.air_is_fresh = self.build(mesh), None, True
        if self.heating:
            self.heating.resize(len(mesh.triangles))
            self.system = self.system.with_conductivity(self.heating.conductivity_after(np.zeros(len(mesh.triangles))))
        self.heat_rate, self.heat_rate_slope = (resize_to(values, len(mesh.triangles)) for values in (self.heat_rate, self.heat_rate_slope))
        model = build_field_circuit(self.system, self.network, self.switches, GAMMA * self.length, self.time)
        self.value = np.concatenate([model.equilibrium_field(x, metal, self.value[metal]), x])
        self.derivative = np.zeros_like(self.value)

    def _error(self, step: Step, stages: tuple[Stage, Stage]) -> float:
        """Embedded error in units of its tolerance."""
        size, network, end = self.size, self.network, stages[1]
        _check_finite("field", step.value[:size])
        _check_finite("circuit", step.value[size:])
        self.field_scale = max(self.field_scale, self._field_energy(step.value[:size]))
        u, x = end.model.filter_error(step.error[:size]) if size else step.error[:0], step.error[size:]
        relative = [np.abs(x[network.voltages]).max(initial=0.0) / self.voltage_scale,
                    np.abs(x[network.currents]).max(initial=0.0) / self.current_scale,
                    math.sqrt(0.5 * float(u @ (end.model.operator.system.full_stiffness @ u)) / self.field_scale) if self.size else 0.0]
        if self.movement:
            relative.append(self.movement.error(step.length, end.forces, 2 * math.pi * self.field_scale))
        if self.heating:
            energy = step.length * mean_heat_rate(stages)
            _check_finite("heat", energy)
            relative.append(self.heating.conductivity_error(end.model.system.metal_conductivity, energy, end.heat_rate))
        return max(relative) / (TOLERANCE * self.accuracy)

    def _field_energy(self, u: np.ndarray) -> float:
        return 0.5 * float(u @ (self.system.full_stiffness @ u)) if self.size else 0.0

    def _accept(self, step: Step, stages: tuple[Stage, Stage]) -> None:
        rates = [stage.heat_rate for stage in stages]
        _check_finite("heat", np.concatenate(rates))
        if self.heating:
            for share, rate, stage in zip(STAGE_SHARES, rates, stages, strict=True):
                self.heating.add(share * step.length * rate, stage.model.system.metal_conductivity)
        self.heat_rate_slope, self.heat_rate = (rates[1] - self.heat_rate) / step.length, rates[1]
        end = stages[1]
        if self.movement:
            plastic_heat = self.movement.accept(step.length, end.forces, (mean_heat_rate(stages), rates[1]) if self.heating else None)
            if self.heating:
                self.heating.add(plastic_heat, np.zeros_like(plastic_heat))
            self.air_is_fresh = False
        if self.demagnetization:
            self.heating.add(-self.demagnetization.accept(end.model.system, end.value[:self.size] + 0.5 * self.network.applied_field),
                             np.zeros(len(end.model.system.mesh.triangles)))
        self.time, self.value = step.start + step.length, end.value
        self._record(end.model, end.derivative)
        contact = self.movement.describe_contact() if self.movement else None
        if contact:
            self.stop_reason = contact
            self.events.append((self.time, f"{contact}: the run ends"))

    def _record(self, model: FieldCircuit, derivative: np.ndarray) -> None:
        size, self.derivative = self.size, derivative
        observables = self.observe(model, self.value, derivative, self.heat_rate) | (
            self.demagnetization.observables() if self.demagnetization else {}
        )
        mesh, sigma = (None, np.zeros(0)) if model.system is None else (model.system.mesh, model.system.sigma)
        self.recorder.add(self.time, observables, self.value[:size].copy(), derivative[:size].copy(), sigma, mesh)

    # ---- events -----------------------------------------------------------------------------------------------------

    def _next_switch_time(self) -> float:
        """The next time at which something is to be switched, or the end."""
        times = list(self.network.corner_times)
        times += [bank.fires_at for bank, state in zip(self.network.banks, self.switches.arcs, strict=True) if state == OPEN]
        crowbar = self.network.crowbar
        if crowbar is not None and not self.switches.crowbar and crowbar.fires_at is not None:
            times.append(crowbar.fires_at)
        return min([t for t in times if t > self.time * (1 + 1e-12)] + [self.end_time])

    def _fire_due_switches(self) -> None:
        network = self.network
        for k, bank in enumerate(network.banks):
            if self.switches.arcs[k] == OPEN and bank.fires_at <= self.time * (1 + 1e-9):
                self._switch(self.switches.with_arc(k, CONDUCTING, 1.0), f"gap of {self._bank_name(k)} closes")
                self._set_arc_sign(k)
        crowbar, now = network.crowbar, self.time * (1 + 1e-9)
        if crowbar is not None and not self.switches.crowbar and crowbar.fires_at is not None and crowbar.fires_at <= now:
            self._fire_crowbar("crowbar fires")

    def _fire_crowbar(self, event: str) -> None:
        self._switch(replace(self.switches, crowbar=True), event)
        for k, bank in enumerate(self.network.banks):       # without inductance a current may turn round in no time
            if bank.inductance == 0 and self.switches.arcs[k] == CONDUCTING:
                self.value[self.size + self.network.bank_current_index(k)] = 0.0
                self._set_arc_sign(k)

    def _switch(self, switches: Switches, event: str) -> None:
        """Go on with other switches; in small steps where something closed, which an arc that only turns round or goes out does not."""
        if (switches.arcs.count(OPEN), switches.crowbar) != (self.switches.arcs.count(OPEN), self.switches.crowbar):
            self.length = min(self.length, 2e-3 * self.end_time)
        self.switches, self.model = switches, None
        self.events.append((self.time, event))

    def _scale_of_unknown(self, index: int) -> float:
        """What an entry of x is measured by: a voltage of a bank, or a current."""
        return self.current_scale if index >= len(self.network.banks) else self.voltage_scale

    def _switch_at_zero(self, index: int) -> None:
        """At a current zero the arc turns round if the voltage over the gap exceeds its drop, else it goes out."""
        if index < len(self.network.banks):
            self._fire_crowbar("bank voltage is zero: crowbar fires")
            return
        k = index - len(self.network.banks)
        self.value[self.size + index] = 0.0
        self._set_arc_sign(k)

    def _set_arc_sign(self, k: int) -> None:
        """Let bank k's arc carry the current that its open gap's voltage drives, or put it out."""
        bank, size = self.network.banks[k], self.size
        g = 1e-3 * self.length
        _, derivative = solve_implicit_stage(
            self.system, self.network, self.switches.with_arc(k, EXTINGUISHED, 1.0), self.value, g, self.time
        )
        x = (self.value + g * derivative)[size:]
        over_gap = x[self.network.bank_voltage_index(k)] - x[self.network.terminal_voltage_index]
        if abs(over_gap) > bank.arc_voltage:
            self._switch(self.switches.with_arc(k, CONDUCTING, math.copysign(1.0, over_gap)), f"current of {self._bank_name(k)} flows "
                         + ("from its positive side" if over_gap > 0 else "back"))
        else:
            self._switch(self.switches.with_arc(k, EXTINGUISHED, 1.0), f"arc of {self._bank_name(k)} goes out")

    def _bank_name(self, k: int) -> str:
        return "the bank" if len(self.network.banks) == 1 else f"bank {k + 1}"

    def _circuit_state(self, value: np.ndarray) -> np.ndarray:
        return value[self.size:]


def _check_finite(name: str, values: np.ndarray) -> None:
    if not np.isfinite(values).all():
        raise SolveError(f"the {name} is not a number; a material or a size may not be one")
