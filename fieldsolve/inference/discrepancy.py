"""How a model can be wrong: smooth deviations of the current and of the radius, whose sizes the record itself must tell.

The model's error is a Gaussian process with a squared-exponential covariance (Kennedy and O'Hagan 2001).  That of the current is a
share a of its peak; that of the radius is a share s of the way that the metal has moved.  Their sizes are not fitted but weighed: each
pair counts by its prior weight times the probability of the record.
"""
from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

CURRENT_SIZES = (0.0001, 0.0003, 0.001, 0.002, 0.004, 0.008, 0.016, 0.03)      # of the peak, standard deviations
CURRENT_WEIGHTS = (0.3, 0.25, 0.18, 0.12, 0.07, 0.04, 0.03, 0.01)
RADIUS_SIZES = (0.0005, 0.002, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16)            # of the displacement
RADIUS_WEIGHTS = (0.4, 0.2, 0.14, 0.1, 0.07, 0.05, 0.03, 0.01)
CURRENT_LENGTHS = (0.35, 1.0)                    # correlation lengths in times of the current's peak
RADIUS_LENGTH = 1.0                              # the same
EARLY, EARLY_POWER = 0.05, 4                     # of the displacement while it is small, and how fast that share falls with it
NODES, MODES = 40, 10                            # of the piecewise linear deviation of the radius, and its modes that are kept


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


def radius_shapes(times: np.ndarray, displacement: np.ndarray, length: float) -> np.ndarray:
    """Modes (n, 2 MODES) of the radius's error in metres: first shares of the displacement, of unit size, then the early ones."""
    nodes = np.linspace(times[0], times[-1], NODES)
    variances, modes = np.linalg.eigh(covariance(nodes, length))
    largest = np.argsort(variances)[::-1][:MODES]
    hats = np.maximum(0.0, 1 - np.abs(times[:, None] - nodes[None, :]) / (nodes[1] - nodes[0]))
    moved = displacement / (displacement.max() or 1.0)
    shares = hats @ (modes[:, largest] * np.sqrt(np.maximum(variances[largest], 0.0)))
    return displacement[:, None] * np.column_stack([shares, EARLY * ((1 - moved) ** EARLY_POWER)[:, None] * shares])
