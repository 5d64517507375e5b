"""Linear Gaussian inference: mean and covariance of unknowns from data with noise and discrepancy, weighed over the latter's sizes."""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Posterior:
    """A normal distribution of unknowns.

    mean        (k,)
    covariance  (k, k)
    evidence    logarithm of the probability density of the data
    """

    mean: np.ndarray
    covariance: np.ndarray
    evidence: float

    def deviations(self, rows: np.ndarray) -> np.ndarray:
        """Standard deviations (n,) of linear functions (n, k) of the unknowns."""
        return np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, self.covariance, rows), 0.0))


def condition(jacobian: np.ndarray, data: np.ndarray, variances: np.ndarray, deviations: np.ndarray) -> Posterior:
    """Independent normal unknowns of mean zero, given  data = jacobian unknowns + errors, which are independent, too.

    jacobian (n, k), data (n,), variances (n,) of the errors, deviations (k,) of the unknowns before the data

        A = S J^T V^-1 J S + 1,     covariance = S A^-1 S,     mean = covariance J^T V^-1 d

    Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), 2.1 and A.3 (from memory).
    """
    from scipy.linalg import cho_factor, cho_solve

    scaled = jacobian * deviations
    weighed = scaled / variances[:, None]
    factor = cho_factor(np.eye(len(deviations)) + scaled.T @ weighed, lower=True, check_finite=False)
    pull = weighed.T @ data
    standard = cho_solve(factor, pull, check_finite=False)
    evidence = -0.5 * (float(data @ (data / variances)) - float(pull @ standard)) - float(np.log(np.diag(factor[0])).sum()) \
        - 0.5 * float(np.log(variances).sum()) - 0.5 * len(data) * math.log(2 * math.pi)
    inverse = cho_solve(factor, np.eye(len(deviations)), check_finite=False)
    return Posterior(deviations * standard, inverse * np.outer(deviations, deviations), evidence)


def mixture(posteriors: Iterable[Posterior], weights: np.ndarray) -> tuple[Posterior, np.ndarray]:
    """Mean and covariance of several posteriors, each with its prior weight times the probability of the data; and these weights (m,)."""
    posteriors = list(posteriors)
    evidence = np.array([posterior.evidence for posterior in posteriors]) + np.log(weights)
    shares = np.exp(evidence - evidence.max())
    total = float(shares.sum())
    shares /= total
    means = np.array([posterior.mean for posterior in posteriors])
    mean = shares @ means
    spread = np.einsum("m,mij->ij", shares, np.array([posterior.covariance for posterior in posteriors]))
    return Posterior(mean, spread + (means - mean).T @ ((means - mean) * shares[:, None]), float(evidence.max() + np.log(total))), shares
