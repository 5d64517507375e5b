"""The posteriors of several records that share their parameters, put together."""
from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldsolve.inference.fit import ShotFit


@dataclass(frozen=True, eq=False)
class Joint:
    """Parameters in standard deviations of their priors, as all records tell them.

    mean, covariance  (p,) and (p, p)
    shares            (records, p) of what is known of each parameter that a record brought
    disagreement      root of chi squared of the records over its degrees of freedom, at least 1
    current_error, radius_error  expected sizes of the model's errors
    """

    mean: np.ndarray
    covariance: np.ndarray
    shares: np.ndarray
    disagreement: float
    current_error: float
    radius_error: float

    def distance(self, step: np.ndarray) -> float:
        """Length of a step in standard deviations of the parameters."""
        return math.sqrt(max(0.0, float(step @ np.linalg.solve(self.covariance, step))))


def join(fits: Sequence[ShotFit], count: int) -> Joint:
    """Product of the records' likelihoods of the first `count` unknowns with the prior.

        Lambda_i = C_i^-1 - 1,   h_i = C_i^-1 m_i,   C = (1 + sum Lambda_i)^-1,   m = C sum h_i
    """
    inverses = [np.linalg.inv(fit.posterior.covariance[:count, :count]) for fit in fits]
    gained = [_without_negative(inverse - np.eye(count)) for inverse in inverses]
    pulls = [inverse @ fit.posterior.mean[:count] for inverse, fit in zip(inverses, fits, strict=True)]
    covariance = np.linalg.inv(np.eye(count) + sum(gained))
    mean = covariance @ sum(pulls)
    misses = [pull - each @ mean for pull, each in zip(pulls, gained, strict=True)]
    squared = sum(float(miss @ np.linalg.pinv(each + 1e-9 * np.eye(count), hermitian=True) @ miss)
                  for miss, each in zip(misses, gained, strict=True))
    freedom = count * (len(fits) - 1)
    factor = max(1.0, squared / freedom) if freedom else 1.0
    diagonals = np.array([np.diag(each) for each in gained])
    sizes = [[float(np.sqrt(fit.shares @ np.square([getattr(size, name) for size in fit.sizes]))) for name in ("current", "radius")]
             for fit in fits]
    return Joint(mean, factor * covariance, diagonals / (1 + diagonals.sum(axis=0)), math.sqrt(factor), *map(float, np.mean(sizes, axis=0)))


def _without_negative(matrix: np.ndarray) -> np.ndarray:
    """A symmetric matrix without its negative part: no record takes away what is known."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return (vectors * np.maximum(values, 0.0)) @ vectors.T
