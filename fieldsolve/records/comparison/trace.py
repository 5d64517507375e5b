"""Peaks, zero crossings, damping and integral of a ringing current, each with its standard uncertainty from the noise."""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

BLOCKS_OF_RISE = 25        # means from the start to the first peak, by which half-waves are found
SIGN_LEVEL = 0.12          # of the largest value, beyond which a sample has a sign
PEAK_LEVEL, CROSSING_LEVEL = 0.8, 0.4       # of a peak: the samples above, and those below about a crossing, are fitted
PEAK_DEGREE, CROSSING_DEGREE = 4, 3         # of the polynomials
LARGEST_GAP = 0.15         # of what is fitted: over a larger gap in the samples nothing is fitted
MOST_CROSSINGS = 6


@dataclass(frozen=True)
class Reading:
    """A number read from a trace and its standard uncertainty from the noise."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class HalfWave:
    """Samples of one sign, by number in the averaged trace; `peak` is that of the largest magnitude."""

    first: int
    last: int
    peak: int


@dataclass(frozen=True, eq=False)
class Trace:
    """A current over time.

    times, values  (n,) seconds and ampere
    """

    times: np.ndarray
    values: np.ndarray

    def until(self, end: float) -> Trace:
        """The samples from time 0 to `end` in seconds."""
        within = (self.times >= 0) & (self.times <= end)
        return Trace(self.times[within], self.values[within])


@dataclass(frozen=True, eq=False)
class Fit:
    """A polynomial fitted to some samples, in (t - middle) / half, with the covariance of its coefficients and the noise left over."""

    coefficients: np.ndarray
    covariance: np.ndarray
    middle: float
    half: float
    noise: float

    def value(self, x: float, derivative: int = 0) -> float:
        """The polynomial or its derivative at x from -1 to 1."""
        return float(np.polyval(np.polyder(self.coefficients, derivative), x))

    def deviation(self, x: float, derivative: int = 0) -> float:
        """Standard deviation of the same."""
        degree = len(self.coefficients) - 1
        row = np.array([math.perm(k, derivative) * x ** (k - derivative) if k >= derivative else 0.0 for k in range(degree, -1, -1)])
        return math.sqrt(max(0.0, float(row @ self.covariance @ row)))


def read_trace(trace: Trace, block: float) -> dict[str, Reading]:
    """What can be read from a trace that begins at time 0: peak, its time, zero crossings, second peak over first, integral of I^2.

    block  seconds over which noise is averaged before half-waves are found, see `block_length`
    """
    smooth = averaged(trace, block)
    waves = list(half_waves(smooth.values))
    readings: dict[str, Reading] = {}
    peaks = [_read_peak(trace, smooth, wave) for wave in waves[:2]]
    if peaks and peaks[0]:
        readings["peak"], readings["time of peak"], _ = peaks[0]
    if len(peaks) > 1 and peaks[0] and peaks[1]:
        readings["second peak over first"] = _ratio(peaks[1][0], peaks[0][0])
    for number, (before, after) in enumerate(pairwise(waves), start=1):
        if number <= MOST_CROSSINGS and (crossing := _read_crossing(trace, smooth, before, after)):
            readings[f"zero crossing {number}"] = crossing
    if not has_gap(trace.times, LARGEST_GAP * (smooth.times[waves[0].last] - smooth.times[0]) if waves else 0.0):
        readings["integral of I^2 dt"] = read_action(trace, peaks[0][2] if peaks and peaks[0] else 0.0)
    return readings


def read_peak(trace: Trace, block: float, number: int) -> Reading | None:
    """Peak of a half-wave, counted from 0; None where the trace does not show it."""
    smooth = averaged(trace, block)
    waves = list(half_waves(smooth.values))
    found = _read_peak(trace, smooth, waves[number]) if number < len(waves) else None
    return found and found[0]


def half_waves(values: np.ndarray) -> Iterator[HalfWave]:
    """Runs of samples of one sign: a sample has a sign where it is beyond SIGN_LEVEL, and keeps the one before where it is not."""
    level = SIGN_LEVEL * np.abs(values).max(initial=0.0)
    marked = np.flatnonzero(np.abs(values) > level)
    if not len(marked) or level == 0.0:
        return
    for run in np.split(marked, np.flatnonzero(np.diff(np.sign(values[marked]))) + 1):
        yield HalfWave(int(run[0]), int(run[-1]), int(run[np.abs(values[run]).argmax()]))


def has_gap(times: np.ndarray, longest: float) -> bool:
    """Whether samples are missing for longer than `longest` in seconds."""
    return bool(len(times) < 2 or np.diff(times).max() > max(longest, 4 * float(np.median(np.diff(times)))))


def read_action(trace: Trace, noise: float) -> Reading:
    """Integral of I^2 dt by trapezoids, less what the noise itself adds: sigma^2 T."""
    from scipy.integrate import trapezoid

    steps = np.gradient(trace.times)
    value = float(trapezoid(trace.values**2, trace.times)) - noise**2 * float(np.ptp(trace.times))
    return Reading(value, 2 * noise * math.sqrt(float(np.sum((trace.values * steps) ** 2))))


def fit_polynomial(times: np.ndarray, values: np.ndarray, degree: int) -> Fit | None:
    """Least squares; None where there are too few samples or they have a gap.

    The covariance is that of independent noise times (1 + rho) / (1 - rho), rho the residual's correlation from sample to sample.
    """
    if len(times) < 2 * (degree + 1) or has_gap(times, LARGEST_GAP * float(np.ptp(times))):
        return None
    middle, half = 0.5 * float(times[0] + times[-1]), 0.5 * float(np.ptp(times))
    design = np.vander((times - middle) / half, degree + 1)
    coefficients = np.linalg.lstsq(design, values, rcond=None)[0]
    residual = values - design @ coefficients
    noise2 = float(residual @ residual) / (len(times) - degree - 1)
    return Fit(coefficients, noise2 * noise_inflation(residual) * np.linalg.inv(design.T @ design), middle, half, math.sqrt(noise2))


def noise_inflation(residual: np.ndarray) -> float:
    """(1 + rho) / (1 - rho) of a residual, rho its correlation from sample to sample: by it a variance is larger than of white noise."""
    total = float(residual @ residual)
    correlation = float(residual[1:] @ residual[:-1]) / total if total > 0 else 0.0
    return (1 + max(0.0, correlation)) / (1 - min(0.95, max(0.0, correlation)))


def block_length(computed: Trace) -> float:
    """Seconds over which a record is averaged to find its half-waves: a share of the computed rise."""
    wave = next(half_waves(computed.values), None)
    top = len(computed.times) - 1 if wave is None else wave.peak
    return float(computed.times[top] - computed.times[0]) / BLOCKS_OF_RISE


def averaged(trace: Trace, block: float) -> Trace:
    """Means over blocks of samples, so that noise has no half-waves of its own."""
    size = max(1, round(block / float(np.median(np.diff(trace.times))))) if len(trace.times) > 1 else 1
    count = len(trace.times) // size
    return Trace(*(column[:count * size].reshape(count, size).mean(axis=1) for column in (trace.times, trace.values)))


def _read_peak(trace: Trace, smooth: Trace, wave: HalfWave) -> tuple[Reading, Reading, float] | None:
    """Value and time of a half-wave's peak, and the noise; None where it is not within the samples."""
    level, sign = PEAK_LEVEL * abs(smooth.values[wave.peak]), np.sign(smooth.values[wave.peak])
    low = [k for k in range(len(smooth.values)) if sign * smooth.values[k] <= level]
    before, after = [k for k in low if k < wave.peak], [k for k in low if k > wave.peak]
    if not before or not after:
        return None
    fit = _fit_between(trace, smooth.times[before[-1]], smooth.times[after[0]], PEAK_DEGREE)
    if fit is None:
        return None
    roots = np.roots(np.polyder(fit.coefficients))
    inside = [float(root.real) for root in roots if abs(root.imag) < 1e-9 and abs(root.real) < 1]
    if not inside:
        return None
    x = max(inside, key=lambda root: sign * fit.value(root))
    time_deviation = fit.half * fit.deviation(x, 1) / abs(fit.value(x, 2)) if fit.value(x, 2) else math.inf
    return Reading(fit.value(x), fit.deviation(x)), Reading(fit.middle + fit.half * x, time_deviation), fit.noise


def _read_crossing(trace: Trace, smooth: Trace, before: HalfWave, after: HalfWave) -> Reading | None:
    """Time of the zero between two half-waves."""
    level = CROSSING_LEVEL * min(abs(smooth.values[wave.peak]) for wave in (before, after))
    between = np.arange(before.peak, after.peak + 1)
    beyond = between[np.abs(smooth.values[between]) >= level]
    first = beyond[beyond <= before.last].max(initial=before.peak)
    last = beyond[beyond >= after.first].min(initial=after.peak)
    fit = _fit_between(trace, smooth.times[first], smooth.times[last], CROSSING_DEGREE)
    if fit is None:
        return None
    roots = [float(root.real) for root in np.roots(fit.coefficients) if abs(root.imag) < 1e-9 and abs(root.real) < 1]
    if not roots:
        return None
    x = min(roots, key=abs)
    return Reading(fit.middle + fit.half * x, fit.half * fit.deviation(x) / abs(fit.value(x, 1)))


def _fit_between(trace: Trace, start: float, end: float, degree: int) -> Fit | None:
    within = (trace.times >= start) & (trace.times <= end)
    return fit_polynomial(trace.times[within], trace.values[within], degree)


def _ratio(second: Reading, first: Reading) -> Reading:
    value = abs(second.value / first.value)
    return Reading(value, value * math.hypot(second.uncertainty / second.value, first.uncertainty / first.value))
