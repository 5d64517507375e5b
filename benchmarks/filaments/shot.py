"""A bank's discharge into the modes of a rig: exact exponentials between current zeros.

    a_k' = -rate_k a_k + drive_k W,   W' = -I / C,   I = sum drive_k a_k,   W = V - s V_arc

With W, bank voltage less the arc's, as the unknown each half-wave of sign s has no other source, and its exponentials are
those of one matrix.  At a current zero the arc takes over from the other side if bank voltage and the EMF that the eddy
currents would leave in the open coil,  V - sum drive_k rate_k a_k / sum drive_k^2,  exceed V_arc; else it is out.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.optimize import brentq

from benchmarks.filaments.modes import Modes

SAMPLES = 60                # a quarter period, where zeros and peaks are looked for
HEAT_POINTS = 6             # Gauss points an interval of those for the integral of heat


@dataclass(frozen=True)
class ArcBank:
    """Capacitor (F, V) with resistance (ohm), inductance (H) and a constant arc voltage (V) in series."""

    capacitance: float
    voltage: float
    resistance: float = 0.0
    inductance: float = 0.0
    arc_voltage: float = 0.0


@dataclass(frozen=True)
class PeakValue:
    """Largest magnitude of a series, its sign kept, and its time in seconds."""

    value: float
    time: float


@dataclass(frozen=True, eq=False)
class Interval:
    """Between two current zeros (s):  state = real part of shapes exp(exponents (t - start));  state = (a, bank voltage - offset)."""

    start: float
    stop: float
    exponents: np.ndarray
    shapes: np.ndarray
    offset: float

    def state(self, time) -> np.ndarray:
        """Modes a and, last, the bank's voltage; rows by times."""
        found = (self.shapes @ np.exp(np.multiply.outer(self.exponents, np.asarray(time) - self.start))).real
        found[-1] += self.offset
        return found


@dataclass(frozen=True, eq=False)
class FilamentDischarge:
    """One discharge.

    intervals  from switch-on to the end time
    out_time   when the arc went out in seconds, or None
    """

    bank: ArcBank
    modes: Modes
    intervals: tuple[Interval, ...]
    end_time: float
    out_time: float | None

    def state(self, time) -> np.ndarray:
        """Modes a and the bank's voltage at times in seconds; rows by times."""
        time = np.atleast_1d(np.asarray(time, dtype=float))
        found = np.empty((self.modes.rates.size + 1, time.size))
        owner = np.searchsorted([interval.start for interval in self.intervals], time, side="right") - 1
        for number in np.unique(owner):
            found[:, owner == number] = self.intervals[number].state(time[owner == number])
        return found

    def series(self, quantity: str, name: str, time) -> np.ndarray:
        """`current` (A) of `coil` or a body, `power` (W) of the same, or `voltage` (V) of `bank`, at times in seconds."""
        state = self.state(time)
        if (quantity, name) == ("voltage", "bank"):
            return state[-1]
        if quantity == "power":
            return np.sum((self.modes.patterns[name] @ state[:-1]) ** 2, axis=0)
        return (self.modes.drive if name == "coil" else self.modes.currents[name]) @ state[:-1]

    def peak(self, quantity: str, name: str) -> PeakValue:
        """Largest magnitude with its sign, where the polynomial through 9 points next to the largest sample is level."""
        time = self.samples
        best = int(np.argmax(np.abs(self.series(quantity, name, time))))
        low, high = time[max(best - 1, 0)], time[min(best + 1, time.size - 1)]
        rule = np.polynomial.Chebyshev.interpolate(lambda t: self.series(quantity, name, t), 8, [low, high])
        level = rule.deriv().roots()
        level = level[(level.imag == 0) & (level.real > low) & (level.real < high)].real
        tried = np.concatenate([level, [low, high]])
        found = self.series(quantity, name, tried)
        largest = int(np.argmax(np.abs(found)))
        return PeakValue(float(found[largest]), float(tried[largest]))

    @cached_property
    def samples(self) -> np.ndarray:
        """Times in seconds dense enough for every extremum of the currents."""
        return np.unique(np.concatenate([_sample_times(interval) for interval in self.intervals]))

    @property
    def energies(self) -> dict[str, float]:
        """Joule at the end: `bank` and `magnetic` stored; heat of `coil`, each body, `circuit` (bank's resistance), `arc`; `start`."""
        bank, end = self.bank, self.state(self.end_time)[:, 0]
        x, w = np.polynomial.legendre.leggauss(HEAT_POINTS)
        half = np.diff(self.samples)[:, None] / 2
        time, weight = (self.samples[:-1, None] + half * (x + 1)).ravel(), (half * w).ravel()
        state = self.state(time)
        current = self.modes.drive @ state[:-1]
        heat = {name: float(weight @ np.sum((rows @ state[:-1]) ** 2, axis=0)) for name, rows in self.modes.patterns.items()}
        ends = [interval.state(np.array([interval.start, min(interval.stop, self.end_time)]))[-1] for interval in self.intervals]
        passed = bank.capacitance * sum(abs(first - last) for first, last in ends)
        return {
            "start": bank.capacitance * bank.voltage**2 / 2, "bank": bank.capacitance * float(end[-1]) ** 2 / 2,
            "magnetic": float(end[:-1] @ end[:-1]) / 2, **heat,
            "circuit": bank.resistance * float(weight @ current**2), "arc": bank.arc_voltage * passed,
        }


def discharge(modes: Modes, bank: ArcBank, end_time: float) -> FilamentDischarge:
    """The bank switched on at t = 0 into the modes, which hold its resistance and inductance, until end_time (s)."""
    if abs(bank.voltage) <= bank.arc_voltage:
        raise ValueError(f"bank voltage {bank.voltage:g} V: does not light an arc of {bank.arc_voltage:g} V")
    size = modes.rates.size
    system = np.zeros((size + 1, size + 1))
    system[np.arange(size), np.arange(size)] = -modes.rates
    root = math.sqrt(bank.capacitance)                      # W sqrt(C) as unknown makes the coupling antisymmetric
    system[:size, size], system[size, :size] = modes.drive / root, -modes.drive / root
    exponents, shapes = np.linalg.eig(system)
    inverse = np.linalg.inv(shapes)
    shapes[-1], inverse[:, -1] = shapes[-1] / root, inverse[:, -1] * root
    intervals, start, out_time = [], 0.0, None
    state, sign = np.concatenate([np.zeros(size), [bank.voltage]]), math.copysign(1.0, bank.voltage)
    while start < end_time:
        offset = sign * bank.arc_voltage
        across = np.concatenate([state[:-1], [state[-1] - offset]])
        wave = Interval(start, math.inf, exponents, shapes * (inverse @ across), offset)
        stop = _current_zero(modes, wave, end_time, sign)
        intervals.append(Interval(start, stop, exponents, wave.shapes, offset))
        if stop >= end_time:
            break
        start, state = stop, wave.state(np.array([stop]))[:, 0]
        open_voltage = state[-1] - modes.drive @ (modes.rates * state[:-1]) / (modes.drive @ modes.drive)
        if abs(open_voltage) <= bank.arc_voltage:
            out_time = start
            intervals.append(_eddy_decay(modes, start, end_time, state))
            break
        sign = math.copysign(1.0, open_voltage)
    return FilamentDischarge(bank, modes, tuple(intervals), end_time, out_time)


def _current_zero(modes: Modes, wave: Interval, end_time: float, sign: float) -> float:
    """First time after the start of the wave at which the current would leave its sign; the end if there is none."""
    time = _sample_times(Interval(wave.start, end_time, wave.exponents, wave.shapes, wave.offset))[1:]
    below = np.flatnonzero(sign * (modes.drive @ wave.state(time)[:-1]) < 0)
    if below.size == 0:
        return end_time
    low = time[below[0] - 1] if below[0] else wave.start + 1e-3 * (time[0] - wave.start)
    return brentq(lambda t: modes.drive @ wave.state(np.array([t]))[:-1, 0], low, time[below[0]], xtol=1e-18, rtol=1e-15)


def _sample_times(interval: Interval) -> np.ndarray:
    """Evenly spaced over the interval, and closer and closer towards its start."""
    fastest = np.abs(interval.exponents.imag).max()
    length = interval.stop - interval.start
    count = 4 * SAMPLES if fastest == 0 else max(SAMPLES, math.ceil(SAMPLES * length * fastest / (math.pi / 2)))
    even = length * np.linspace(0.0, 1.0, count + 1)
    early = even[1] * np.concatenate([[0.0], 0.5 ** np.arange(20, 0, -1)])
    return interval.start + np.concatenate([early, even[1:]])


def _eddy_decay(modes: Modes, start: float, end_time: float, state: np.ndarray) -> Interval:
    """Eddy currents with the circuit open, I = 0, and the bank at rest:  a' = -(1 - d d^T / d^2) rate a,  d = drive.

    b = sqrt(rate) a obeys a symmetric system.
    """
    root = np.sqrt(modes.rates)
    across = root * modes.drive / np.linalg.norm(modes.drive)
    slowing, patterns = np.linalg.eigh(np.diag(modes.rates) - np.outer(across, across))
    shapes = (patterns / root[:, None]) * (patterns.T @ (root * state[:-1]))
    held = np.zeros((1, shapes.shape[1] + 1))
    held[0, -1] = state[-1]
    shapes = np.concatenate([np.pad(shapes, ((0, 0), (0, 1))), held])
    return Interval(start, end_time, np.append(-slowing, 0.0).astype(complex), shapes.astype(complex), 0.0)
