"""The peak of a noisy current by a local fit, not by its highest sample, and the level on which it rests before the shot."""
from __future__ import annotations

import numpy as np

SMOOTHED = 60                     # windows in a record, by whose means the peak is found
CREST = 0.8                       # of the peak: the samples above it are fitted
DEGREE = 4
FEWEST = 12                       # samples of a crest that are fitted
FEWEST_AT_REST = 8


def local_peak(times: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Value of largest magnitude, with its sign, and its time, by a polynomial of degree four over the crest.

    Parameters
    ----------
    times, values : ndarray (samples,)
        Increasing times in seconds.

    Returns
    -------
    value, time
        Of the fitted peak; of the highest sample where the crest has fewer than 12 samples or reaches the end of the record.

    Examples
    --------
    >>> t = np.linspace(0, 30e-6, 600)
    >>> noise = np.random.default_rng(1).normal(0, 0.05, len(t))
    >>> value, time = local_peak(t, np.sin(np.pi * t / 40e-6) + noise)
    >>> print(f"{value:.1f} at {1e6 * time:.0f} us")
    1.0 at 20 us
    """
    width = max(len(values) // SMOOTHED, 1) | 1
    padded = np.pad(values, width // 2, mode="edge")
    smooth = np.convolve(padded, np.ones(width) / width, mode="valid")
    top = int(np.argmax(np.abs(smooth)))
    sign, low = np.sign(smooth[top]), np.flatnonzero(smooth * np.sign(smooth[top]) < CREST * abs(smooth[top]))
    first, last = low[low < top].max(initial=-1) + 1, low[low > top].min(initial=len(values))
    if last - first < FEWEST or width == 1 or top < width or top > len(values) - 1 - width:
        highest = int(np.argmax(np.abs(values)))
        return float(values[highest]), float(times[highest])
    middle, half = times[top], 0.5 * (times[last - 1] - times[first])
    fit = np.polynomial.Polynomial.fit((times[first:last] - middle) / half, values[first:last], DEGREE)
    roots = [root.real for root in fit.deriv().roots() if abs(root.imag) < 1e-9]
    inside = [x for x in roots if times[first] <= middle + half * x <= times[last - 1]]
    best = max(inside, key=lambda x: sign * fit(x), default=0.0)
    return float(fit(best)), float(middle + half * best)


def baseline(times: np.ndarray, values: np.ndarray, start: float = 0.0) -> float:
    """Mean of the samples before `start`, 0 where there are fewer than 8.

    >>> baseline(np.linspace(-1, 1, 101), np.full(101, 3.0))
    3.0
    """
    before = values[times < start]
    return float(before.mean()) if len(before) >= FEWEST_AT_REST else 0.0
