"""Linear Gaussian inference: mean and covariance of unknowns from data with noise and discrepancy, weighed over the latter's sizes."""
from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.inference.statistics.discrepancy import CurrentModes, Sizes


@dataclass(frozen=True, eq=False)
class ErringTrace:
    """Samples of one channel among the data, which may err as a Gaussian process.

    first   their first row
    scale   largest magnitude, SI
    modes   of the error by correlation length in seconds
    """

    first: int
    scale: float
    modes: Mapping[float, CurrentModes]

    def rows(self, length: float) -> slice:
        """Their rows among the data."""
        return slice(self.first, self.first + len(self.modes[length].variances))


@dataclass(frozen=True, eq=False)
class LinearData:
    """Everything that was measured, linear in the unknowns:  data = jacobian unknowns + noise + errors of the traces.

    jacobian, data, variances   (n, k), (n,) and (n,), the latter of the noise
    noise                       standard deviation of a mean of the current, ampere
    traces                      samples among the data, those of the current first
    """

    jacobian: np.ndarray
    data: np.ndarray
    variances: np.ndarray
    noise: float
    traces: tuple[ErringTrace, ...]

    def turned(self, length: float) -> tuple[np.ndarray, np.ndarray]:
        """Jacobian and data in the modes of the traces' errors, which are independent."""
        jacobian, data = self.jacobian.copy(), self.data.copy()
        for trace in self.traces:
            rows, modes = trace.rows(length), trace.modes[length].modes
            jacobian[rows], data[rows] = modes.T @ self.jacobian[rows], modes.T @ self.data[rows]
        return jacobian, data

    def turned_variances(self, sizes: Sizes) -> np.ndarray:
        """Variances (n,) of noise and errors in these modes."""
        found = self.variances.copy()
        for number, trace in enumerate(self.traces):
            share = sizes.other if number else sizes.current
            found[trace.rows(sizes.length)] += (share * trace.scale) ** 2 * trace.modes[sizes.length].variances
        return found


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
