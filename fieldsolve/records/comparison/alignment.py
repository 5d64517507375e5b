"""The time zero of a record, by a fit of its rise to the computed one; gain and offset are free, so that a wrong scale shifts nothing."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.comparison.trace import Trace, half_waves

RISE = 0.7                       # of the first peak, up to which the rise is fitted
OTHER_RISES = (0.5, 0.85)        # the time zero that these give tells how far it depends on that
FEWEST_SAMPLES = 8               # of the rise
FEWEST_BEFORE = 5                # samples before the start, from which an offset is taken


@dataclass(frozen=True)
class Alignment:
    """How a record lies beside a computed current.

    shift        seconds of the record's own time at which the current starts
    uncertainty  of it, standard
    gain         measured over computed in the rise
    offset       ampere taken off the record: its mean before the start; 0 where there are too few samples
    offset_uncertainty  of it, standard
    """

    shift: float
    uncertainty: float
    gain: float
    offset: float
    offset_uncertainty: float


def align(measured: Trace, computed: Trace, name: str) -> Alignment:
    """Time zero and offset of a measured current; InputError where it does not rise as the computed one does."""
    start = _rough_start(measured, name)
    pieces = [_fit_rise(measured, computed, start, rise, name) for rise in (RISE, *OTHER_RISES)]
    shift, deviation, gain = pieces[0]
    if gain < 0:
        raise InputError(f"{name}: the record's current starts with the sign opposite to the computed one's: give its channel a scale "
                         "with the other sign")
    spread = max(abs(other[0] - shift) for other in pieces[1:])
    before = measured.values[measured.times < shift - 3 * deviation]
    enough = len(before) >= FEWEST_BEFORE
    return Alignment(shift, math.hypot(deviation, spread / math.sqrt(3)), gain, float(before.mean()) if enough else 0.0,
                     float(before.std() / math.sqrt(len(before))) if enough else 0.0)


def _rough_start(measured: Trace, name: str) -> float:
    """Where the straight line through the rise from a fifth to a half of the first peak is zero."""
    size = max(1, len(measured.times) // 2000)
    count = len(measured.times) // size
    times, values = (column[:count * size].reshape(count, size).mean(axis=1) for column in (measured.times, measured.values))
    values = values - np.median(values[:max(3, count // 100)])
    wave = next(half_waves(values), None)
    if wave is None:
        raise InputError(f"{name}: no current is seen in the record; is it the right channel, and its scale in ampere?")
    height = abs(values[wave.peak])
    rising = np.abs(values[:wave.peak + 1])
    first, second = (int(np.flatnonzero(rising < level * height)[-1]) if (rising < level * height).any() else 0 for level in (0.2, 0.5))
    if second <= first:
        return float(times[first])
    slope = (rising[second] - rising[first]) / (times[second] - times[first])
    return float(times[first] - rising[first] / slope) if slope > 0 else float(times[first])


def _fit_rise(measured: Trace, computed: Trace, start: float, rise: float, name: str) -> tuple[float, float, float]:
    """Shift, its standard deviation and the gain of  i(t) = gain i_computed(t - shift) + offset  over the rise."""
    from scipy.optimize import least_squares

    top = int(np.abs(computed.values[:_first_peak(computed) + 1]).argmax())
    until = float(np.interp(rise, np.abs(computed.values[:top + 1]) / abs(computed.values[top]), computed.times[:top + 1]))
    within = (measured.times >= start - until) & (measured.times <= start + until)
    times, values = measured.times[within], measured.values[within]
    if np.count_nonzero(times > start) < FEWEST_SAMPLES:
        raise InputError(f"{name}: only {np.count_nonzero(times > start)} samples in the rise of the current; {FEWEST_SAMPLES} are needed "
                         "to find its time zero")

    def model(shift: float) -> np.ndarray:
        return np.interp(times - shift, computed.times, computed.values, left=0.0)

    def linear(shift: float) -> tuple[np.ndarray, np.ndarray]:
        design = np.column_stack([model(shift), np.ones(len(times))])
        return design, np.linalg.lstsq(design, values, rcond=None)[0]

    def residual(shift: np.ndarray) -> np.ndarray:
        design, factors = linear(float(shift[0]) * until)
        return (values - design @ factors) / abs(computed.values[top])
    found = least_squares(residual, [start / until], diff_step=1e-4)
    shift = float(found.x[0]) * until
    design, factors = linear(shift)
    left = values - design @ factors
    slope = factors[0] * (model(shift - 1e-3 * until) - model(shift + 1e-3 * until)) / (2e-3 * until)
    full = np.column_stack([slope, design])
    noise2 = float(left @ left) / max(1, len(times) - 3)
    correlation = float(left[1:] @ left[:-1]) / float(left @ left) if noise2 > 0 else 0.0
    inflation = (1 + max(0.0, correlation)) / (1 - min(0.95, max(0.0, correlation)))
    covariance = noise2 * inflation * np.linalg.pinv(full.T @ full)
    return shift, math.sqrt(max(0.0, float(covariance[0, 0]))), float(factors[0])


def _first_peak(computed: Trace) -> int:
    wave = next(half_waves(computed.values), None)
    return len(computed.values) - 1 if wave is None else wave.peak
