"""A bank into a fixed resistance and inductance, by the same stepper as a shot: no field."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.circuit.bank import Bank, Crowbar, Leads, check_charge
from fieldsolve.circuit.equations import Network
from fieldsolve.estimate import Estimate
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.result.energy_balance import running_integral
from geometries.errors import InputError


@dataclass(frozen=True, eq=False)
class CircuitHistory:
    """Current (A), its rate (A/s) and the first bank's voltage (V) over `times` (s), and the events on the way; Ctrl-C marks it."""

    times: np.ndarray
    current: np.ndarray
    current_rate: np.ndarray
    voltage: np.ndarray
    events: tuple[tuple[float, str], ...]
    steps: int
    interrupted: bool

    def at(self, time: float) -> float:
        """Current at a time in seconds, by the cubic through values and slopes."""
        from scipy.interpolate import CubicHermiteSpline
        return float(CubicHermiteSpline(self.times, self.current, self.current_rate)(time))

    def peak(self) -> Estimate:
        """Current of largest magnitude, with its sign and time: the zero of its rate near the largest value."""
        from scipy.interpolate import CubicHermiteSpline
        cubic = CubicHermiteSpline(self.times, self.current, self.current_rate)
        candidates = np.concatenate([cubic.derivative().roots(extrapolate=False), self.times])
        values = cubic(candidates)
        k = int(np.nanargmax(np.abs(values)))
        return Estimate(float(values[k]), 0.0, "A", time=float(candidates[k]))

    def charge(self) -> np.ndarray:
        """Running integral of the current in coulomb."""
        return running_integral(self.times, self.current, self.current_rate)

    def action(self) -> np.ndarray:
        """Running integral of the squared current in A^2 s."""
        return running_integral(self.times, self.current**2, 2 * self.current * self.current_rate)


def solve_circuit(bank: Bank, *, load_resistance: float, load_inductance: float, end_time: float, accuracy: float = 1e-4,
                  crowbar: Crowbar | None = None, method: Tableau = SDIRK2) -> CircuitHistory:
    """Discharge a bank into a fixed load in ohm and henry, to `end_time` seconds; `accuracy` steers the steps.

    Raises InputError where nothing limits the current's rise, or the bank is charged above its rated voltage.
    """
    if not (math.isfinite(end_time) and end_time > 0):
        raise InputError(f"end_time = {end_time:g} s: give a positive number of seconds")
    check_charge([bank])
    if bank.inductance + load_inductance <= 0:
        raise InputError("load_inductance = 0: give some inductance in the load or the bank")
    network = Network((bank,), ((),), Leads(load_resistance, load_inductance), crowbar)

    def observe(model, value, derivative, heat) -> dict:
        branch = network.branch_current_index(0)
        return {"current": value[branch], "current_rate": derivative[branch], "voltage": value[0]}
    run = Discharge(build=lambda mesh: None, mesh=None, network=network, heating=None, movement=None, accuracy=accuracy,
                    end_time=end_time, observe=observe, method=method)
    state = run.run()
    series = run.recorder.series()
    return CircuitHistory(run.recorder.times, series["current"], series["current_rate"], series["voltage"],
                          tuple((float(t), event) for t, event in state.events), run.steps, state.interrupted)
