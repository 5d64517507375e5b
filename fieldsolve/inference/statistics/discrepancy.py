"""How a model can be wrong: errors of the current, of the push and of the flow stress, whose sizes the record itself must tell.

The model's errors are Gaussian processes with squared-exponential covariances (Kennedy and O'Hagan 2001).  That of the current is a
share of its peak, over time.  That of the push is a share of it, over time; that of the flow stress a share of it, over the logarithm of
the strain: laws fitted to one metal differ so.  Both move the radius as the run itself tells, see `motion_shapes`.  Their sizes are not
fitted but weighed: each pair counts by its prior weight times the probability of the record.
"""
from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

CURRENT_SIZES = (0.0001, 0.0003, 0.001, 0.003, 0.01, 0.03)      # of the peak, standard deviations
CURRENT_SCALE = 0.0001          # of their prior, a half-Cauchy distribution: most models err little, some err much
MOTION_SIZES = (0.02, 0.05, 0.1, 0.2)           # of push and flow stress, equally probable: their logarithm is evenly distributed
CURRENT_LENGTHS = (0.35, 1.0)   # correlation lengths in times of the current's peak
PUSH_LENGTH, LONGEST = 1.0, 4.0                 # the same; and the time in these units, from which on the push's share stays
STRAIN_LENGTH, LEAST_STRAIN = 1.0, 0.003        # correlation length of the logarithm of the strain, below which strain all is one
MOVING = 0.02                   # of the largest speed: with less the flow stress does nothing
NODES, MODES = 60, 8            # of the piecewise linear share, and its modes that are kept


@dataclass(frozen=True)
class Sizes:
    """One choice of the sizes of the model's errors.

    current, length   share of the peak, and correlation length in seconds
    other             share of the largest value of the other channels, of the same length
    motion            share of the push and of the flow stress
    weight            before any record
    """

    current: float
    length: float
    other: float
    motion: float
    weight: float


def all_sizes(rise: float, others: bool = False, motions: Sequence[float] = MOTION_SIZES) -> tuple[Sizes, ...]:
    """Every choice, for a current that peaks at `rise` in seconds, with or without other channels.

    Source: A. Gelman, Bayesian Analysis 1, 515 (2006), for the half-Cauchy prior of a standard deviation; the sizes are evenly spaced in
    their logarithm, so that a weight is the density times the size.
    """
    currents = np.array(CURRENT_SIZES) / CURRENT_SCALE
    weights = currents / (1 + currents**2)
    traces = list(zip(CURRENT_SIZES, weights / weights.sum(), strict=True))
    choices = list(product(traces, traces if others else [(0.0, 1.0)], motions, CURRENT_LENGTHS))
    return tuple(Sizes(current, share * rise, other, motion, float(weight * beside) / len(motions) / len(CURRENT_LENGTHS))
                 for (current, weight), (other, beside), motion, share in choices)


def covariance(times: np.ndarray, length: float) -> np.ndarray:
    """Squared-exponential covariance (n, n) of unit variance."""
    return np.exp(-0.5 * ((times[:, None] - times[None, :]) / length) ** 2)


@dataclass(frozen=True, eq=False)
class CurrentModes:
    """The principal modes of the current's error of one correlation length, at the times of a record's samples.

        K = Q diag(variances) Q^T

    modes      (n, n) Q
    variances  (n,) for an error of unit size
    """

    modes: np.ndarray
    variances: np.ndarray


def current_modes(times: np.ndarray, length: float) -> CurrentModes:
    """Modes of an error that grows from zero at time 0."""
    taper = 1 - np.exp(-0.5 * (np.maximum(times, 0.0) / length) ** 2)
    variances, modes = np.linalg.eigh(covariance(times, length) * np.outer(taper, taper))
    return CurrentModes(modes, np.maximum(variances, 0.0))


def motion_shapes(times: np.ndarray, radius: np.ndarray, current: np.ndarray, stress_slope: np.ndarray, rise: float) -> np.ndarray:
    """Errors (n, 2 MODES) of the radius in metres that errors of unit size make: first those of the push, then of the flow stress.

    stress_slope  (n,) derivative of the radius by the logarithm of the flow stress

    With the push P and the resistance Y for each mass the radius obeys  r'' = Y - P.  Both twice as large make it move twice as far: its
    derivatives by ln P and by ln Y add up to r - r(0).  Shares a(t) and b(strain) of them change its speed by

        (r' - s') A + s' B,     s = dr / d ln Y

    A and B are the means of a and b so far: of a weighted by the square of the current, of b over the time in motion.  The modes of a and
    b are the same for every shot, so that several shots can share them.  That a smaller body is pushed less is left out: the error of the
    push comes out up to a fifth too large where the radius shrinks by a fifth.
    """
    speed, slope = np.gradient(radius, times), np.gradient(stress_slope, times)
    strain = np.maximum(np.maximum.accumulate(np.abs(radius - radius[0])) / radius[0], LEAST_STRAIN)
    push = _mean_so_far(_shares(times / rise, np.linspace(0.0, LONGEST, NODES), PUSH_LENGTH), current**2)
    strains = np.linspace(math.log(LEAST_STRAIN), 0.0, NODES)
    law = _mean_so_far(_shares(np.log(strain), strains, STRAIN_LENGTH), np.abs(speed) > MOVING * np.abs(speed).max())
    rates = np.column_stack([(speed - slope)[:, None] * push, slope[:, None] * law])
    steps = (rates[1:] + rates[:-1]) / 2 * np.diff(times)[:, None]
    return np.vstack([np.zeros(rates.shape[1]), np.cumsum(steps, axis=0)])


def _shares(places: np.ndarray, nodes: np.ndarray, length: float) -> np.ndarray:
    """The largest MODES on these nodes of a process of unit variance, each times its deviation, at places (n,): (n, MODES)."""
    variances, modes = np.linalg.eigh(covariance(nodes, length))
    largest = np.argsort(variances)[::-1][:MODES]
    columns = modes[:, largest] * np.sqrt(np.maximum(variances[largest], 0.0))
    return np.column_stack([np.interp(places, nodes, column) for column in columns.T])


def _mean_so_far(shares: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Weighted means (n, k) of what came before each instant; zero before there is any weight."""
    total = np.cumsum(weights)[:, None]
    return np.cumsum(shares * weights[:, None], axis=0) / np.where(total > 0, total, 1.0)
