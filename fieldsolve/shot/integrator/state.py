"""What changes while a discharge runs, in one place, and how it begins."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, OPEN, Switches
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.ode import WorkCounts
from fieldsolve.shot.integrator.demagnetization import Demagnetization
from fieldsolve.shot.integrator.field_circuit import Circuit, FieldCircuit, Stage, build_field_circuit
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.integrator.newton_stage import initial_field
from fieldsolve.shot.integrator.stage_rates import StageRates
from geometries.mesh import Mesh

SMALL_FIELD = 0.25          # of what the banks' energy or the applied field makes: the least that errors of the field are measured by
FIRST_STAGE = 1e-9          # seconds of the stage that tells the inductance at t = 0


@dataclass(eq=False)
class DischargeState:
    """The running state of a discharge, all but what `Heating`, `Movement` and `Recorder` hold of the metal and the past.

    system           field at the place, conductivity and magnetization of the last stage; None for a circuit without field
    switches         gaps, arcs and crowbar as they stand
    value            (n + x,) y = (u, x) at `time`, the field and the circuit;  derivative  (n + x,) its rate
    step_length      seconds of the next step
    current_scale, voltage_scale, field_scale   what embedded errors are measured by: A, V, and u . K u / 2
    heat_rate        (m,) W of ohmic heat of each triangle at `time`;  heat_rate_slope  (m,) W/s
    demagnetization  of metal with B-H curves that heats; None: there is none
    model            factored for stages, used again while nothing of it changes; None: to be made
    stage_rates      y' of the stages of the last steps, from which those of the next are expected
    end_stage        the stage at `time`; None: a switch or a new mesh has changed the derivative since
    air_is_fresh     whether no step was made since the air was meshed anew
    losses           joule by (quantity, place) that resistances, arcs and metal have turned into heat so far
    events           (seconds, what happened)
    stop_reason      why the motion of the metal ended the run before its time; "": it did not
    """

    time: float
    system: EddySystem | None
    switches: Switches
    value: np.ndarray
    derivative: np.ndarray
    step_length: float
    current_scale: float
    voltage_scale: float
    field_scale: float
    heat_rate: np.ndarray
    heat_rate_slope: np.ndarray
    demagnetization: Demagnetization | None
    model: FieldCircuit | None = None
    stage_rates: StageRates = field(default_factory=StageRates)
    end_stage: Stage | None = None
    air_is_fresh: bool = False
    events: list[tuple[float, str]] = field(default_factory=list)
    stop_reason: str = ""
    interrupted: bool = False
    losses: dict[tuple[str, str], float] = field(default_factory=dict)
    work: WorkCounts = field(default_factory=WorkCounts)

    @property
    def unknowns(self) -> int:
        """Number of unknowns of the field."""
        return 0 if self.system is None else self.system.mesh.size

    @property
    def circuit_value(self) -> np.ndarray:
        """x at `time`, the circuit's unknowns."""
        return self.value[self.unknowns:]

    def field_energy(self, u: np.ndarray) -> float:
        """u . K u / 2 of a field (n,)."""
        return 0.5 * float(u @ (self.system.full_stiffness @ u)) if self.unknowns else 0.0

    @property
    def stored_energy(self) -> float:
        """Largest energy of the field so far in J, at least a small share of the banks': what work is measured by."""
        return 2 * math.pi * self.field_scale

    def count(self, **more: int) -> None:
        """Add to the counts of work."""
        self.work = self.work.plus(**more)

    def add_losses(self, losses: dict[tuple[str, str], float]) -> None:
        """Add joule by (quantity, place) to the losses."""
        self.losses = {key: self.losses.get(key, 0.0) + energy for key, energy in losses.items()}

    def add_event(self, event: str) -> None:
        """Note what happened at `time`."""
        self.events.append((self.time, event))

    def scale_of_unknown(self, index: int, banks: int) -> float:
        """What entry `index` of x is measured by: a voltage of one of the banks, or a current."""
        return self.current_scale if index >= banks else self.voltage_scale


def initial_state(build: Callable[[Mesh], EddySystem | None], mesh: Mesh | None, network: Circuit,
                  heating: Heating | None) -> DischargeState:
    """Charged banks, the currents and the field at t = 0, and a first step from the circuit's own time."""
    system = None if mesh is None else build(mesh)
    states = [CONDUCTING if bank.fires_at == 0 else OPEN for bank in network.banks]
    switches = Switches(tuple(states), tuple(1.0 for _ in states), False)
    first = build_field_circuit(system, network, switches, FIRST_STAGE)
    value = np.concatenate([initial_field(first), network.initial_state()])
    inductance = 2 * math.pi * np.abs(first.loads.T @ first.coil_response * first.stage).sum() if first.loads.size else 0.0
    current_scale, voltage_scale, energy, step_length = network.scales(inductance)
    no_heat = np.zeros(0 if mesh is None else len(mesh.triangles))
    state = DischargeState(
        time=0.0, system=system, switches=switches, value=value, derivative=np.zeros_like(value), step_length=step_length,
        current_scale=current_scale, voltage_scale=voltage_scale, field_scale=0.0, heat_rate=no_heat, heat_rate_slope=no_heat,
        demagnetization=Demagnetization(system, heating) if heating and system.zones else None)
    applied = np.full(state.unknowns, SMALL_FIELD * network.applied_field)
    state.field_scale = max(SMALL_FIELD**2 * energy / math.pi, state.field_energy(applied))
    return state
