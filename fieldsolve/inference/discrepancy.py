"""How a model can be wrong: smooth deviations of the current and of the radius, whose sizes the record itself must tell.

The model's error is a Gaussian process with a squared-exponential covariance (Kennedy and O'Hagan 2001).  That of the current is a
share a of its peak; that of the radius is a share s of the way that the metal has moved.  Their sizes are not fitted but weighed: each
pair counts by its prior weight times the probability of the record.
"""
from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

CURRENT_SIZES = (0.0003, 0.001, 0.002, 0.004, 0.008, 0.016, 0.03)      # of the peak, standard deviations
CURRENT_WEIGHTS = (0.35, 0.25, 0.18, 0.1, 0.06, 0.04, 0.02)
RADIUS_SIZES = (0.002, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16)            # of the displacement
RADIUS_WEIGHTS = (0.35, 0.25, 0.16, 0.1, 0.07, 0.04, 0.03)
CURRENT_LENGTHS = (0.35, 1.0)                    # correlation lengths in times of the current's peak
RADIUS_LENGTH = 1.0                              # the same
NODES = 24                                       # of the piecewise linear deviation of the radius


@dataclass(frozen=True)
class Sizes:
    """One choice of the sizes of the model's errors.

    current, length   share of the peak, and correlation length in seconds
    radius            share of the displacement
    weight            before any record
    """

    current: float
    length: float
    radius: float
    weight: float


def all_sizes(rise: float) -> tuple[Sizes, ...]:
    """Every choice, for a current that peaks at `rise` in seconds; the first one is that of a good model."""
    return tuple(Sizes(current, share * rise, radius, one * other / len(CURRENT_LENGTHS))
                 for (current, one), (radius, other), share in product(
                     zip(CURRENT_SIZES, CURRENT_WEIGHTS, strict=True), zip(RADIUS_SIZES, RADIUS_WEIGHTS, strict=True), CURRENT_LENGTHS))


def covariance(times: np.ndarray, length: float) -> np.ndarray:
    """Squared-exponential covariance (n, n) of unit variance."""
    return np.exp(-0.5 * ((times[:, None] - times[None, :]) / length) ** 2)


def current_covariance(times: np.ndarray, length: float) -> np.ndarray:
    """The same of the current, whose error grows from zero at time 0."""
    taper = 1 - np.exp(-0.5 * (np.maximum(times, 0.0) / length) ** 2)
    return covariance(times, length) * np.outer(taper, taper)


def radius_shapes(times: np.ndarray, displacement: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Deviations (n, k) of the radius in metres, a hat function times the displacement each; and the nodes' times (k,)."""
    nodes = np.linspace(times[0], times[-1], NODES)
    hats = np.maximum(0.0, 1 - np.abs(times[:, None] - nodes[None, :]) / (nodes[1] - nodes[0]))
    return hats * displacement[:, None], nodes
