"""Discharges without a field: how each setup of reference/circuit.toml becomes a solved circuit or a formula."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.interpolate import CubicHermiteSpline

import fieldsolve as fs
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import discharge
from benchmarks.runner import run_file

SLOW_TIME_CONSTANTS = 8.0          # of a discharge's slower time constant, after which 1e-7 of its action is left


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of discharges, or of those named."""
    return run_file("circuit.toml", FIELDS, FORMULAS, only)


@dataclass(frozen=True, eq=False)
class Waveform:
    """A solved discharge between its stored times: each series by the cubic through values and exact slopes.

    record   what `fs.solve_circuit` gave: times (s), current (A), current_rate (A/s), running charge() and action()
    """

    solution: object

    @cached_property
    def current(self) -> CubicHermiteSpline:
        """Current in ampere as a function of time."""
        return CubicHermiteSpline(self.solution.times, self.solution.current, self.solution.current_rate)

    @cached_property
    def charge(self) -> CubicHermiteSpline:
        """Charge passed in coulomb as a function of time."""
        return CubicHermiteSpline(self.solution.times, self.solution.charge(), self.solution.current)

    @cached_property
    def action(self) -> CubicHermiteSpline:
        """Action in A^2 s as a function of time."""
        return CubicHermiteSpline(self.solution.times, self.solution.action(), self.solution.current**2)

    @cached_property
    def zeros(self) -> np.ndarray:
        """Times in seconds of the current's zeros after the start."""
        return _after_start(self.current.roots(extrapolate=False), self.solution.times)

    @cached_property
    def peaks(self) -> tuple[np.ndarray, np.ndarray]:
        """(currents in ampere with their sign, times in seconds) of the maxima of |i|, one for each half-wave."""
        times = _after_start(self.current.derivative().roots(extrapolate=False), self.solution.times)
        sign = np.sign(self.current(times))
        turns = np.flatnonzero(np.concatenate([[True], sign[1:] != sign[:-1]])) if times.size else np.array([], dtype=int)
        groups = np.split(np.arange(times.size), turns[1:])
        times = np.array([times[group[np.argmax(np.abs(self.current(times[group])))]] for group in groups])
        return self.current(times), times

    def impulse(self) -> discharge.Impulse:
        """Front and tail of the first half-wave."""
        return discharge.impulse(self.current, self.peaks[1][0], self.zeros[0] if self.zeros.size else self.solution.times[-1])


def _after_start(times: np.ndarray, stored: np.ndarray) -> np.ndarray:
    """Those past the zero at t = 0, which rounding may move or double."""
    return np.sort(times[times > 1e-6 * stored[-1]])


def solve_waveform(circuit: discharge.SeriesDischarge, end_time: float, accuracy: float) -> Waveform:
    """The circuit solved to end_time in seconds."""
    bank = fs.Bank(capacitance=circuit.capacitance, voltage=circuit.voltage)
    return Waveform(fs.solve_circuit(bank, load_resistance=circuit.resistance, load_inductance=circuit.inductance, end_time=end_time,
                                     accuracy=accuracy))


def _circuit(setup) -> discharge.SeriesDischarge:
    return discharge.SeriesDischarge(setup["capacitance_F"], setup["voltage_V"], setup["inductance_H"], setup["resistance_ohm"])


# --- banks -------------------------------------------------------------------------------------------------------


def ringing_bank(setup, accuracy):
    """Frequency from the current's first two zeros after the start, decay from its first two peaks; probe, charge and action read off."""
    circuit = _circuit(setup)
    wave = solve_waveform(circuit, SLOW_TIME_CONSTANTS / circuit.decay_rate, accuracy)
    (first, second), times = wave.peaks[0][:2], wave.peaks[1][:2]
    omega = math.pi / float(wave.zeros[1] - wave.zeros[0])
    return {
        "decay_rate_per_s": math.log(abs(first / second)) * omega / math.pi,
        "angular_frequency_rad_per_s": omega, "frequency_Hz": omega / (2 * math.pi),
        "peak_current_A": first, "peak_time_s": times[0], "second_peak_current_A": second, "second_peak_time_s": times[1],
        "current_at_probe_A": wave.current(setup["probe_time_s"]),
        "first_half_cycle_charge_C": wave.charge(wave.zeros[0]), "first_half_cycle_action_A2s": wave.action(wave.zeros[0]),
        "total_action_A2s": wave.action(wave.solution.times[-1]),
    }


def aperiodic_bank(setup, accuracy):
    """Peak and its time."""
    circuit = _circuit(setup)
    currents, times = solve_waveform(circuit, 4 * circuit.peak_time(), accuracy).peaks
    return {"peak_current_A": currents[0], "peak_time_s": times[0]}


# --- impulses ----------------------------------------------------------------------------------------------------


def impulse_circuit(setup, accuracy):
    """Peak, its time and the opposite swing, at one volt, of the circuit that the formula gives."""
    circuit = discharge.circuit_of_impulse(setup["T1_s"], setup["T2_s"], setup["capacitance_F"])
    currents, times = solve_waveform(circuit, 2 * circuit.half_period, accuracy).peaks
    return {"peak_time_s": times[0], "opposite_swing_ratio": -currents[1] / currents[0], "peak_current_per_volt_A_per_V": currents[0]}


def circuit_of_impulse(setup, accuracy):
    """Inductance and resistance that give the required fronts and tails."""
    circuit = discharge.circuit_of_impulse(setup["T1_s"], setup["T2_s"], setup["capacitance_F"])
    natural = 1 / math.sqrt(circuit.inductance * circuit.capacitance)
    return {
        "damping_ratio": circuit.decay_rate / natural, "natural_angular_frequency_rad_per_s": natural,
        "inductance_H": circuit.inductance, "resistance_ohm": circuit.resistance,
    }


def tail_to_front(setup, accuracy):
    """T2 / T1 of solved waveforms, one for each damping ratio of a circuit of 1 uF and 1 uH."""
    shapes = []
    for ratio in setup["damping_ratio"]:
        circuit = discharge.SeriesDischarge(1e-6, 1.0, 1e-6, 2 * ratio)
        shapes.append(solve_waveform(circuit, 1.05 * circuit.half_period, accuracy).impulse())
    return {"T2_over_T1": [shape.tail_time / shape.front_time for shape in shapes]}


def cubic_impulse(setup, accuracy):
    """Peak, front and tail of the impulse written as a formula."""
    shape = discharge.cubic_impulse(0.01243e18, setup["tau_s"])
    return {"peak_over_Ip": shape.peak, "T1_s": shape.front_time, "T2_s": shape.tail_time}


FIELDS = {
    "underdamped-bank": ringing_bank,
    "overdamped-bank": aperiodic_bank,
    "critical-bank": aperiodic_bank,
    "impulse-8-20-rlc": impulse_circuit,
    "impulse-tail-to-front-ratio": tail_to_front,
}
FORMULAS = {
    "impulse-8-20-rlc": circuit_of_impulse,
    "impulse-8-20-cubic-exponential": cubic_impulse,
}
