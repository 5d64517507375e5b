"""Error bounds of the peak of a series and of its time.

A peak is the largest magnitude.  Of a long oscillation two runs may take it from half-waves of opposite sign, so magnitudes are compared.
It is off as its series is in the second half of the time up to it.  Its time is off by the slope of the error over the curvature.
"""
from __future__ import annotations

import math
from typing import Any

import numpy as np

from fieldsolve.shot.history import UNITS
from fieldsolve.shot.result.error_model import (
    SAFETY_FACTOR,
    TYPICAL_SHARE,
    RunComparison,
    interpolate_series,
    root_mean_square,
    series_scale,
    unresolved_rise,
)

FLAT_SHARE = 0.15       # of the time around a peak in which its series is within the error bound of it: least error bound of the time


def peak_bounds(comparison: RunComparison, shot: Any, quantity: str, place: str) -> tuple[float, float]:
    """(error bound of a peak, error bound of its time in s), as the comparison of the shot with another run tells them."""
    comparison = comparison.for_quantity(quantity)
    (value, time), (other, other_time) = shot.history.peak(quantity, place), comparison.run.history.peak(quantity, place)
    times, values = shot.times, shot.series(quantity, place)
    difference = values - interpolate_series(comparison.run, quantity, place, times)
    k = int(np.abs(values).argmax())
    near = slice(int(np.searchsorted(times, 0.5 * times[k])), k + 1)
    scale = series_scale(shot.history, quantity, place)
    error = max(float(comparison.bound(abs(value), abs(other), UNITS.get(quantity, ""), scale)),
                SAFETY_FACTOR * comparison.factor * TYPICAL_SHARE * root_mean_square(times[near], difference[near]),
                float(np.max(unresolved_rise(shot.history, quantity, place))))
    if not 0 < k < len(times) - 1:                                      # largest at an end of the record
        return error, SAFETY_FACTOR * abs(time - other_time)
    slope, bend = np.abs(np.gradient(difference, times)[k - 1:k + 2]).max(), _curvature(times, values, k)
    shift = comparison.factor * max(abs(time - other_time), TYPICAL_SHARE * min(slope / bend, times[k + 1] - times[k - 1]) if bend else 0.0)
    flat = FLAT_SHARE * math.sqrt(2 * error / bend) if bend else 0.0
    return error, max(SAFETY_FACTOR * shift, flat, _distance_of_rivals(times, values, k, error))


def _curvature(times: np.ndarray, values: np.ndarray, k: int) -> float:
    """Size of the second derivative at instant k."""
    return 2 * abs(np.polyfit(times[k - 1:k + 2] - times[k], values[k - 1:k + 2], 2)[0])


def _distance_of_rivals(times: np.ndarray, values: np.ndarray, k: int, error: float) -> float:
    """Seconds from the peak at instant k to the farthest other maximum of |values| that comes within the error of it; 0 if none."""
    size = np.abs(values)
    rivals = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > size[k] - error)) + 1
    return float(np.abs(times[rivals] - times[k]).max(initial=0.0))
