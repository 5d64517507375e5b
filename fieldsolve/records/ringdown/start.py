"""Starting values of the fit: half-waves from crossings, then the best of a coarse grid of waveforms."""
from __future__ import annotations

import itertools

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.ringdown.waveform import Waveform

COARSE = 400                      # samples that the grid looks at
RATIOS = np.geomspace(0.6, 1.6, 15)            # of the frequency to that of the crossings
STARTS = np.linspace(-1.1, 1.1, 23)            # of the start, in half-waves from that of the crossings
DAMPINGS = (0.01, 0.05, 0.12)     # alpha over omega
LEVEL = 0.25                      # of the largest value, beyond which a sample belongs to a half-wave


def starting_waveform(times: np.ndarray, values: np.ndarray, name: str) -> Waveform:
    """A waveform near the record's, its first half-wave positive or negative as there.  InputError where nothing rings."""
    times, values = block_means(times, values, max(len(times) // COARSE, 1))
    start, half = _first_half_wave(times, values, name)
    grid = itertools.product(np.pi / half * RATIOS, start + half * STARTS, DAMPINGS)
    candidates = [(*_linear(times, values, omega, alpha * omega, begin), omega, alpha * omega, begin) for omega, begin, alpha in grid]
    _, first, offset, omega, alpha, begin = min(candidates, key=lambda entry: entry[0])
    return Waveform(omega, alpha, first, 0.0, begin, offset)


def block_means(times: np.ndarray, values: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Means of blocks of `size` neighbouring samples; blocks across a gap are left out."""
    if size <= 1:
        return times, values
    count = len(times) // size
    t, y = times[:count * size].reshape(count, size), values[:count * size].reshape(count, size)
    span = t[:, -1] - t[:, 0]
    whole = span <= 2 * np.median(span)
    return t[whole].mean(axis=1), y[whole].mean(axis=1)


def _first_half_wave(times: np.ndarray, values: np.ndarray, name: str) -> tuple[float, float]:
    """Start and length of the first half-wave, seconds, from the times at which the signal changes its sign."""
    signal = values - np.median(values)
    width = max(len(signal) // 100, 1)
    signal = np.convolve(signal, np.ones(width) / width, mode="same")
    strong = np.flatnonzero(np.abs(signal) > LEVEL * np.abs(signal).max(initial=0.0))
    if len(strong) < 4:
        raise InputError(f"{name}: no ringing current is to be seen; does the channel hold the current, and the record the shot?")
    turns = np.flatnonzero(np.diff(np.sign(signal[strong])))
    crossings = 0.5 * (times[strong[turns]] + times[strong[turns + 1]])
    if len(crossings) == 0:
        raise InputError(f"{name}: the current does not reverse; a ring-down needs at least one zero crossing after the first peak")
    half = float(np.median(np.diff(crossings))) if len(crossings) > 1 else float(crossings[0] - times[strong[0]])
    return float(crossings[0]) - half, half


def _linear(times: np.ndarray, values: np.ndarray, omega: float, alpha: float, start: float) -> tuple[float, float, float]:
    """Sum of squares, first amplitude and offset of the waveform that fits best."""
    shape = Waveform(omega, alpha, 1.0, 0.0, start).at(times)
    matrix = np.stack([shape, np.ones_like(shape)])
    try:
        solution = np.linalg.solve(matrix @ matrix.T, matrix @ values)
    except np.linalg.LinAlgError:
        return np.inf, 0.0, 0.0
    residual = values - solution @ matrix
    return float(residual @ residual), float(solution[0]), float(solution[1])
