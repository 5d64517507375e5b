"""The time zero of a record, by a fit of its rise to the computed one.

Gain, offset and a stretch of time are free, so that neither a wrong scale nor another frequency shifts the time zero.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.comparison.trace import Trace, averaged, block_length, half_waves, noise_inflation

RISE = 0.9                       # of the first peak, up to which the rise is fitted
OTHER_RISES = (0.8, 0.96)        # the time zero that these give tells how far it depends on that
FEWEST_SAMPLES = 8               # of the rise
FEWEST_BEFORE = 5                # samples before the start, from which an offset is taken


@dataclass(frozen=True)
class Alignment:
    """How a record lies beside a computed current.

    shift        seconds of the record's own time at which the current starts
    uncertainty  of it, standard
    offset       ampere taken off the record: its mean before the start; 0 where there are too few samples
    offset_uncertainty  of it, standard
    """

    shift: float
    uncertainty: float
    offset: float
    offset_uncertainty: float


def align(measured: Trace, computed: Trace, name: str) -> Alignment:
    """Time zero and offset of a measured current; InputError where it does not rise as the computed one does."""
    smooth = averaged(measured, block_length(computed))
    start = _rough_start(smooth, name)
    pieces = [_fit_rise(measured, smooth, computed, start, rise, name) for rise in (RISE, *OTHER_RISES)]
    shift, deviation, gain = pieces[0]
    if gain < 0:
        raise InputError(f"{name}: the record's current starts with the sign opposite to the computed one's: give its channel a scale "
                         "with the other sign")
    spread = max(abs(other[0] - shift) for other in pieces[1:])
    sampling = float(np.median(np.diff(measured.times)))
    before = measured.values[measured.times < shift - 3 * deviation]
    enough = len(before) >= FEWEST_BEFORE
    return Alignment(shift, math.hypot(deviation, spread / math.sqrt(3), sampling / math.sqrt(12)),
                     float(before.mean()) if enough else 0.0, float(before.std() / math.sqrt(len(before))) if enough else 0.0)


def _rough_start(smooth: Trace, name: str) -> float:
    """Where the straight line through the rise from a fifth to a half of the first peak is zero."""
    times, values = smooth.times, smooth.values - np.median(smooth.values[:max(3, len(smooth.values) // 100)])
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


def _fit_rise(measured: Trace, smooth: Trace, computed: Trace, start: float, rise: float, name: str) -> tuple[float, float, float]:
    """Shift, its standard deviation and the gain of  i(t) = gain i_computed(stretch (t - shift)) + offset  over the rise."""
    from scipy.optimize import least_squares

    top = int(np.abs(computed.values[:_first_peak(computed) + 1]).argmax())
    until = float(np.interp(rise, np.abs(computed.values[:top + 1]) / abs(computed.values[top]), computed.times[:top + 1]))
    within = (measured.times >= start - until) & (measured.times <= _reaches(smooth, start, rise))
    times, values = measured.times[within], measured.values[within]
    if np.count_nonzero(times > start) < FEWEST_SAMPLES:
        raise InputError(f"{name}: only {np.count_nonzero(times > start)} samples in the rise of the current; {FEWEST_SAMPLES} are needed "
                         "to find its time zero")
    scale = abs(computed.values[top])

    def residual(unknowns: np.ndarray) -> np.ndarray:
        shift, stretch, gain, offset = unknowns
        model = np.interp(stretch * (times - shift * until), computed.times, computed.values / scale, left=0.0)
        return gain * model + offset - values / scale
    gain = float(np.interp(start + until, measured.times, measured.values)) / (rise * computed.values[top])
    found = least_squares(residual, [start / until, 1.0, gain, 0.0], x_scale=[0.01, 0.01, 0.01, 0.01], diff_step=1e-5)
    covariance = noise_inflation(found.fun) * 2 * found.cost / max(1, len(times) - 4) * np.linalg.pinv(found.jac.T @ found.jac)
    return float(found.x[0]) * until, until * math.sqrt(max(0.0, float(covariance[0, 0]))), float(found.x[2])


def _reaches(smooth: Trace, start: float, rise: float) -> float:
    """When a measured current reaches a share of its own first peak."""
    times, values = smooth.times, smooth.values
    after = times >= start
    wave = next(half_waves(values[after]), None)
    times, values = times[after], np.abs(values[after])
    top = len(values) - 1 if wave is None else wave.peak
    below = np.flatnonzero(values[:top + 1] <= rise * values[top])
    return float(times[below[-1]]) if len(below) else float(times[top])


def _first_peak(computed: Trace) -> int:
    wave = next(half_waves(computed.values), None)
    return len(computed.values) - 1 if wave is None else wave.peak
