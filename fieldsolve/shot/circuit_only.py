"""A bank into a fixed resistance and inductance, by the same stepper as a shot: no field."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.bounds import check_accuracy, check_end_time
from fieldsolve.circuit.bank import Bank, Crowbar, Leads, check_charge
from fieldsolve.circuit.equations import Network
from fieldsolve.estimate import Estimate
from fieldsolve.ode import SDIRK2, Tableau
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.result.energy_balance import running_integral
from geometries.errors import InputError
from geometries.keywords import known_keywords

MIN_CIRCUIT_ACCURACY = 1e-12


@dataclass(frozen=True, eq=False)
class CircuitHistory:
    """A bank's discharge into a fixed load.

    times         (k,) seconds
    current       (k,) A, and current_rate (k,) its rate in A/s
    voltage       (k,) V of the bank
    events        (seconds, sentence) of what switched
    steps         number of accepted steps
    interrupted   whether Ctrl-C ended it early
    """

    times: np.ndarray
    current: np.ndarray
    current_rate: np.ndarray
    voltage: np.ndarray
    events: tuple[tuple[float, str], ...]
    steps: int
    interrupted: bool

    def __repr__(self) -> str:
        return f"CircuitHistory(to {self.times[-1]:.6g} s, {len(self.times)} instants{', interrupted' if self.interrupted else ''})"

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


@known_keywords
def solve_circuit(bank: Bank, *, load_resistance: float, load_inductance: float, end_time: float, accuracy: float = 1e-4,
                  crowbar: Crowbar | None = None, method: Tableau = SDIRK2) -> CircuitHistory:
    """Discharge a bank into a fixed resistance and inductance.

    Parameters
    ----------
    bank : Bank
        The bank.
    load_resistance, load_inductance : float
        Ohm and henry.
    end_time : float
        Seconds.
    accuracy : float, optional
        Relative; it determines the steps.
    crowbar : Crowbar, optional
        A switch across the load or the capacitor.
    method : Tableau, optional
        The method in time, see `fieldsolve.ode`.

    Returns
    -------
    CircuitHistory
        Current and voltage over time; Ctrl-C ends it early and marks it.

    Raises
    ------
    InputError
        Where nothing limits the rise of the current, or the bank is charged above its rated voltage.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> run = fs.solve_circuit(fs.Bank(1e-6, 1e3), load_resistance=0.1, load_inductance=1e-6, end_time=5e-6)
    >>> round(run.peak(), 1)                        # damped: a little below V sqrt(C / L)
    926.7
    """
    check_end_time(end_time)
    check_accuracy(accuracy, smallest=MIN_CIRCUIT_ACCURACY)
    check_charge([bank])
    if bank.inductance + load_inductance <= 0:
        raise InputError("load_inductance = 0: give some inductance in the load or the bank")
    network = Network((bank,), ((),), Leads(load_resistance, load_inductance), crowbar)

    def observe(model, value, derivative, heat) -> dict:
        branch = network.branch_current_index(0)
        return {("current", "load"): value[branch], ("current_rate", "load"): derivative[branch], ("voltage", "bank"): value[0]}
    run = Discharge(build=lambda mesh: None, mesh=None, network=network, heating=None, movement=None, accuracy=accuracy,
                    end_time=end_time, observe=observe, method=method)
    state = run.run()
    history = run.recorder.history
    return CircuitHistory(times=history.times, current=history.series("current", "load"),
                          current_rate=history.series("current_rate", "load"), voltage=history.series("voltage", "bank"),
                          events=tuple((float(t), event) for t, event in state.events), steps=run.steps, interrupted=state.interrupted)
