"""The cubic spline through a series, on its own because `scipy.interpolate` takes longer to load than all splines of a shot to compute."""
from __future__ import annotations

import numpy as np


def cubic_spline(x: np.ndarray, y: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Values at places within x of the cubic spline through four points (x, y) or more, not-a-knot at its ends.

    C. de Boor, A Practical Guide to Splines (1978), chapter IV: slopes s from a tridiagonal system, here by elimination.
    """
    slopes = _slopes(x, y)
    k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    width = x[k + 1] - x[k]
    t, secant = (at - x[k]) / width, (y[k + 1] - y[k]) / width
    bend, twist = 3 * secant - 2 * slopes[k] - slopes[k + 1], slopes[k] + slopes[k + 1] - 2 * secant
    return y[k] + width * t * (slopes[k] + t * (bend + t * twist))


def _slopes(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Slopes at the points."""
    dx = np.diff(x)
    secant = np.diff(y) / dx
    first, last = x[2] - x[0], x[-1] - x[-3]
    lower = [0.0, *dx[1:].tolist(), last]
    diagonal = [dx[1], *(2 * (dx[:-1] + dx[1:])).tolist(), dx[-2]]
    upper = [first, *dx[:-1].tolist(), 0.0]
    right = [((dx[0] + 2 * first) * dx[1] * secant[0] + dx[0] ** 2 * secant[1]) / first,
             *(3 * (dx[1:] * secant[:-1] + dx[:-1] * secant[1:])).tolist(),
             (dx[-1] ** 2 * secant[-2] + (2 * last + dx[-1]) * dx[-2] * secant[-1]) / last]
    for k in range(1, len(x)):
        share = lower[k] / diagonal[k - 1]
        diagonal[k] -= share * upper[k - 1]
        right[k] -= share * right[k - 1]
    slopes = [right[-1] / diagonal[-1]]
    for k in reversed(range(len(x) - 1)):
        slopes.append((right[k] - upper[k] * slopes[-1]) / diagonal[k])
    return np.array(slopes[::-1])
