"""Linear Gaussian inference: mean and covariance of unknowns from data with noise and discrepancy, weighed over the latter's sizes."""
from __future__ import annotations

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


def condition(jacobian: np.ndarray, data: np.ndarray, noise: np.ndarray, mean: np.ndarray, covariance: np.ndarray) -> Posterior:
    """Normal unknowns with a prior mean and covariance, given  data = jacobian unknowns + error  with the covariance `noise` (n, n).

    Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), A.2 and 2.7 (from memory).
    """
    from scipy.linalg import cho_factor, cho_solve

    spread = covariance @ jacobian.T
    factor = cho_factor(noise + jacobian @ spread, lower=True)
    residual = data - jacobian @ mean
    solved = cho_solve(factor, residual)
    evidence = -0.5 * float(residual @ solved) - float(np.log(np.diag(factor[0])).sum()) - 0.5 * len(data) * np.log(2 * np.pi)
    return Posterior(mean + spread @ solved, covariance - spread @ cho_solve(factor, spread.T), evidence)


def mixture(posteriors: Iterable[Posterior], weights: np.ndarray) -> tuple[Posterior, np.ndarray]:
    """Mean and covariance of several posteriors, each with its prior weight times the probability of the data; and these weights (m,)."""
    posteriors = list(posteriors)
    evidence = np.array([posterior.evidence for posterior in posteriors]) + np.log(weights)
    shares = np.exp(evidence - evidence.max())
    total = float(shares.sum())
    shares /= total
    mean = sum(share * posterior.mean for share, posterior in zip(shares, posteriors, strict=True))
    spread = sum(share * (posterior.covariance + np.outer(posterior.mean - mean, posterior.mean - mean))
                 for share, posterior in zip(shares, posteriors, strict=True))
    return Posterior(mean, spread, float(evidence.max() + np.log(total))), shares
