"""The loop's constants from the fitted waveform, with everything that is uncertain about them.

    L = 1 / (C (omega^2 + alpha^2)),   R = 2 alpha L,   q = b / (2 a_0) = V_a / (V_0 - V_a)

With the record's scale known  V_0 - V_a = a_0 omega L;  with the voltage known  V_a = V_0 q / (1 + q)  and the gain of the record is
a_0 omega L / (V_0 - V_a).
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.estimate import QUANTILE, Interval
from fieldsolve.records.ringdown.least_squares import SHARED, SINGLE, Solution
from fieldsolve.records.ringdown.noise import score_covariance
from fieldsolve.records.ringdown.truncated_normal import quadrant_interval, quadrant_mode

STEP = 1e-6
FLAT = 1e-9                       # singular value over the largest, below which nothing is determined
SMALL_UNDETERMINED = 1e6          # relative deviation from which on a value is no value


@dataclass(frozen=True)
class Given:
    """What a person gives with its standard uncertainty: capacitance in farad, voltage in volt or None, the relative one of the scale."""

    capacitance: float
    capacitance_uncertainty: float = 0.0
    voltage: float | None = None
    voltage_uncertainty: float = 0.0
    scale_uncertainty: float = 0.0


@dataclass(frozen=True, eq=False)
class Constants:
    """Intervals by name; the values that fit best without regard to sign, and their covariance, in that order."""

    intervals: dict[str, Interval]
    values: np.ndarray
    covariance: np.ndarray


UNITS = {"inductance": "H", "resistance": "ohm", "arc_voltage": "V", "initial_voltage": "V", "gain": "", "arc_ratio": "",
         "start_time": "s", "offset": "A", "droop_rate": "1/s", "frequency": "Hz", "capacitance": "F"}


def loop_constants(solution: Solution, given: Given, length: int) -> Constants:
    """Constants of the loop with 95 % intervals; `length` samples over which the noise is correlated."""
    uncertain = np.array([1.0, 1.0, 1.0])                                   # of capacitance, voltage and scale, relative
    point = np.concatenate([solution.vector, uncertain])
    values = _values(point, solution, given)
    gradient = _gradient(point, solution, given, list(values))
    covariance = gradient @ _point_covariance(solution, given, length) @ gradient.T
    names, mean = list(values), np.array(list(values.values()))
    return Constants(_intervals(names, mean, covariance, effective_current(solution)), mean, covariance)


def effective_current(solution: Solution) -> float:
    """Ampere: integral of i^2 over that of abs(i), by which a resistance takes the energy that an arc voltage takes."""
    squares = lengths = 0.0
    for waveform, trace in zip(solution.waveforms, solution.traces, strict=True):
        current = np.abs(waveform.at(trace.times) - waveform.offset)
        squares, lengths = squares + float(current @ current), lengths + float(current.sum())
    return squares / lengths if lengths else 0.0


def _values(point: np.ndarray, solution: Solution, given: Given) -> dict[str, float]:
    """The constants at a point: the fit's vector, then relative capacitance, voltage and scale."""
    vector, (of_capacitance, of_voltage, of_scale) = point[:-3], point[-3:]
    omega, alpha = solution.omega * math.exp(vector[0]), solution.omega * vector[1]
    capacitance = given.capacitance * of_capacitance
    inductance = 1 / (capacitance * (omega**2 + alpha**2))
    singles = vector[SHARED:].reshape(-1, SINGLE)
    reactance = omega * inductance * solution.current * of_scale
    polarity = math.copysign(1.0, singles[0, 1])
    drive, arc = abs(singles[0, 1]) * reactance, 0.5 * polarity * vector[2] * reactance
    ratio = arc / (drive + arc)
    values = {"inductance": inductance, "resistance": 2 * alpha * inductance}
    if given.voltage is not None:
        voltage = given.voltage * of_voltage
        values |= {"arc_voltage": voltage * ratio, "gain": polarity * drive / (voltage * (1 - ratio)) / of_scale}
    elif math.isfinite(given.scale_uncertainty):
        values |= {"arc_voltage": arc, "initial_voltage": drive + arc}
    values["arc_ratio"] = ratio
    values |= {"start_time": singles[0, 0] / solution.omega, "offset": singles[0, 2] * solution.current}
    for number, single in enumerate(singles[1:], start=2):
        if "initial_voltage" in values:
            values[f"initial_voltage {number}"] = abs(single[1]) * reactance + arc
        values |= {f"start_time {number}": single[0] / solution.omega, f"offset {number}": single[2] * solution.current}
    values |= {"droop_rate": vector[3] * solution.omega, "frequency": omega / (2 * math.pi)}
    return values | ({"capacitance": capacitance} if given.capacitance_uncertainty else {})


def _gradient(point: np.ndarray, solution: Solution, given: Given, names: list[str]) -> np.ndarray:
    """Derivatives of the constants (names, point), by central differences."""
    columns = []
    for k in range(len(point)):
        ahead, behind = point.copy(), point.copy()
        ahead[k], behind[k] = point[k] + STEP, point[k] - STEP
        up, down = _values(ahead, solution, given), _values(behind, solution, given)
        columns.append([(up[name] - down[name]) / (2 * STEP) for name in names])
    return np.array(columns).T


def _point_covariance(solution: Solution, given: Given, length: int) -> np.ndarray:
    jacobian = solution.jacobian * solution.weights[:, None]
    _, singular, right = np.linalg.svd(jacobian, full_matrices=False)
    inverse = (right.T / np.maximum(singular, FLAT * singular[0]) ** 2) @ right
    scores = score_covariance(jacobian, solution.residual * solution.weights, length, len(solution.vector))
    size = len(solution.vector)
    covariance = np.zeros((size + 3, size + 3))
    covariance[:size, :size] = inverse @ scores @ inverse
    relative = (given.capacitance_uncertainty / given.capacitance,
                given.voltage_uncertainty / given.voltage if given.voltage else 0.0,
                given.scale_uncertainty if math.isfinite(given.scale_uncertainty) else 0.0)
    covariance[range(size, size + 3), range(size, size + 3)] = np.square(relative)
    return covariance


def _intervals(names: list[str], mean: np.ndarray, covariance: np.ndarray, current: float) -> dict[str, Interval]:
    """Intervals of all; resistance and arc are cut off at 0, and undetermined where their interval is as wide as what the other takes.

    Of an arc of exactly 0 all of the distribution that is left is on one side: the interval of the arc is the shortest of what is left,
    which then begins at 0, that of the resistance stays the one that was not cut, or it would leave the truth on its end.
    """
    deviations = np.sqrt(np.maximum(covariance.diagonal(), 0.0))
    resistance, arc = names.index("resistance"), names.index("arc_voltage" if "arc_voltage" in names else "arc_ratio")
    best = quadrant_mode(mean, covariance, resistance, arc)
    intervals = {name: Interval(float(best[k]), *_ends(mean[k], deviations[k]), UNITS[name.split(" ")[0]])
                 for k, name in enumerate(names)}
    volts = mean[arc] if "arc_voltage" in names else None
    width = 2 * QUANTILE * deviations
    pair = [arc, resistance]
    intervals[names[arc]] = Interval(float(best[arc]), *quadrant_interval(mean[pair], covariance[np.ix_(pair, pair)]), UNITS[names[arc]])
    slope = covariance[resistance, arc] / covariance[arc, arc] if covariance[arc, arc] else 0.0
    without_arc = float(np.sqrt(max(covariance[resistance, resistance] - slope * covariance[resistance, arc], 0.0)))
    intervals["resistance"] = _not_negative(intervals["resistance"], 0.0 if best[arc] else QUANTILE * without_arc)
    if volts is not None and current:
        whole = max(volts, 0.0) + max(mean[resistance], 0.0) * current       # volt that an arc alone, or a resistance alone, would take
        for k, wide in ((resistance, width[resistance] * current), (arc, width[arc])):
            if wide > whole:
                intervals[names[k]] = Interval(float(best[k]), None, None, UNITS[names[k]])
    return intervals


def _not_negative(interval: Interval, margin: float) -> Interval:
    """The interval without what is below 0, and with its value in it and a margin about that."""
    if interval.value is None or interval.low is None or interval.high is None:
        return interval
    low, high = min(interval.low, interval.value - margin), max(interval.high, interval.value + margin)
    return Interval(interval.value, max(low, 0.0), high, interval.unit)


def _ends(mean: float, deviation: float) -> tuple[float | None, float | None]:
    if not math.isfinite(deviation) or (mean and deviation > SMALL_UNDETERMINED * abs(mean)):
        return None, None
    return float(mean - QUANTILE * deviation), float(mean + QUANTILE * deviation)
