"""The peak of a noisy trace: a polynomial fitted to the samples round it, its vertex, and the standard uncertainty of both."""
from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

DEGREE = 4                  # of the polynomial: round the top of a damped sine it is right to 1e-4 of the peak
TOP_SHARE = 0.7             # of the peak: the fit takes the samples above it
BLOCKS = 60                 # blocks of samples whose means find the peak's neighbourhood
FEWEST_SAMPLES = 4 * DEGREE     # for a fit: of fewer the parabola through the largest sample and its neighbours is taken
FEWEST_BEFORE = 8           # samples before the start that make a baseline


@dataclass(frozen=True)
class PeakFit:
    """A peak of a trace with its sign: value and time in seconds, and the standard uncertainty of both from the scatter of the samples."""

    value: float
    time: float
    value_uncertainty: float = 0.0
    time_uncertainty: float = 0.0


def fit_peak(times: np.ndarray, values: np.ndarray) -> PeakFit:
    """The peak of largest magnitude of a trace, by least squares over the samples round it.

    Parameters
    ----------
    times, values : ndarray
        Increasing times in seconds and finite values, three or more.

    Returns
    -------
    PeakFit
        Vertex of the polynomial; of a trace with few samples round its peak the vertex of a parabola through three of them, and at the
        trace's end its last value.

    Examples
    --------
    >>> t = np.linspace(0.0, 0.6, 1201)
    >>> noise = np.random.default_rng(1).normal(0.0, 0.02, len(t))
    >>> fitted = fit_peak(t, np.sin(2 * np.pi * t) + noise)
    >>> bool(abs(fitted.value - 1) < 4 * fitted.value_uncertainty), bool(abs(fitted.time - 0.25) < 4 * fitted.time_uncertainty)
    (True, True)
    """
    sign = _sign_of_peak(values)
    top = _samples_of_top(sign * values)
    if top.stop - top.start < FEWEST_SAMPLES:
        return _three_point_peak(times, sign * values, sign)
    return _polynomial_peak(times[top], values[top], sign)


def measured_baseline(times: np.ndarray, values: np.ndarray, start: float = 0.0) -> float | None:
    """Mean of a trace before it starts, at `start` in seconds; None where it holds too few samples of it.

    >>> measured_baseline(np.linspace(-1, 1, 101), np.full(101, 3.0))
    3.0
    """
    before = values[times < start]
    return float(before.mean()) if len(before) >= FEWEST_BEFORE else None


def _blocks(values: np.ndarray) -> list[slice]:
    edges = np.linspace(0, len(values), min(BLOCKS, len(values)) + 1).round().astype(int)
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def _sign_of_peak(values: np.ndarray) -> float:
    means = np.array([values[block].mean() for block in _blocks(values)])
    return math.copysign(1.0, means[np.abs(means).argmax()])


def _samples_of_top(values: np.ndarray) -> slice:
    """Samples of the blocks round the highest one whose means are above TOP_SHARE of it."""
    blocks = _blocks(values)
    means = np.array([values[block].mean() for block in blocks])
    highest = int(means.argmax())
    low = highest - np.argmin(np.append(means[highest::-1] > TOP_SHARE * means[highest], False)) + 1
    high = highest + np.argmin(np.append(means[highest:] > TOP_SHARE * means[highest], False)) - 1
    return slice(blocks[low].start, blocks[high].stop)


def _polynomial_peak(times: np.ndarray, values: np.ndarray, sign: float) -> PeakFit:
    """Vertex of the polynomial through samples, and its standard uncertainty from their scatter about it."""
    middle, half = (times[0] + times[-1]) / 2, (times[-1] - times[0]) / 2
    x = (times - middle) / half
    basis = np.vander(x, DEGREE + 1, increasing=True)
    coefficients, *_ = np.linalg.lstsq(basis, values, rcond=None)
    polynomial = np.polynomial.Polynomial(coefficients)
    slope, curvature = polynomial.deriv(1), polynomial.deriv(2)
    stationary = [root.real for root in slope.roots() if abs(root.imag) < 1e-9 and abs(root.real) <= 1]
    vertex = max([*stationary, -1.0, 1.0], key=lambda place: sign * polynomial(place))
    noise = np.sqrt(((values - basis @ coefficients) ** 2).sum() / (len(x) - DEGREE - 1))
    inverse = np.linalg.inv(basis.T @ basis)
    at_vertex = vertex ** np.arange(DEGREE + 1)
    of_slope = np.arange(DEGREE + 1) * vertex ** np.maximum(np.arange(DEGREE + 1) - 1, 0)
    place = noise * math.sqrt(of_slope @ inverse @ of_slope) / abs(curvature(vertex)) if curvature(vertex) else 0.0
    return PeakFit(float(polynomial(vertex)), float(middle + half * vertex), float(noise * math.sqrt(at_vertex @ inverse @ at_vertex)),
                   float(half * place))


def _three_point_peak(times: np.ndarray, values: np.ndarray, sign: float) -> PeakFit:
    """Vertex of the parabola through the largest sample and its neighbours; the sample itself at an end."""
    k = int(values.argmax())
    if not 0 < k < len(values) - 1:
        return PeakFit(float(sign * values[k]), float(times[k]))
    t = times[k - 1:k + 2] - times[k]
    a, b, c = np.polyfit(t, values[k - 1:k + 2], 2)
    vertex = float(np.clip(-b / (2 * a), t[0], t[2])) if a else 0.0
    return PeakFit(float(sign * (c + b * vertex / 2)), float(times[k] + vertex))
