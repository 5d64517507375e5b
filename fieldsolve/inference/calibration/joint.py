"""The posteriors of several records that share their parameters and the errors of their model, put together."""
from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldsolve.inference.fit import ShotFit
from fieldsolve.inference.statistics.discrepancy import MOTION_SIZES
from fieldsolve.inference.statistics.posterior import Posterior, mixture

DETERMINED = 1.0                  # information over the prior's, from which on a record tells a combination of the unknowns


@dataclass(frozen=True, eq=False)
class Joint:
    """What all records tell of what they share: p parameters in standard deviations of their priors, then k errors of the motion.

    count             p
    nearest           (p,) the parameters of a model whose push and flow stress are right
    mean, covariance  (p + k,) and (p + k, p + k)
    shares            (records, p) of what is known of each parameter that a record brought
    disagreement      root of chi squared of the records over its degrees of freedom, at least 1
    current_error, motion_error  expected sizes of the model's errors
    """

    count: int
    nearest: np.ndarray
    mean: np.ndarray
    covariance: np.ndarray
    shares: np.ndarray
    disagreement: float
    current_error: float
    motion_error: float

    @property
    def parameters(self) -> np.ndarray:
        """Means (p,) of the parameters."""
        return self.mean[:self.count]

    @property
    def parameter_covariance(self) -> np.ndarray:
        """Theirs, (p, p)."""
        return self.covariance[:self.count, :self.count]

    def distance(self, step: np.ndarray) -> float:
        """Length of a step in standard deviations of the parameters."""
        return math.sqrt(max(0.0, float(step @ np.linalg.solve(self.parameter_covariance, step))))


def _shared_unknowns(fit: ShotFit) -> np.ndarray:
    """Numbers of the unknowns of a record that all records share."""
    seen = fit.observation
    return np.r_[:len(seen.parameters), seen.motion]


def join(fits: Sequence[ShotFit], count: int) -> Joint:
    """Product of the records' likelihoods with the prior, over all sizes of the errors of the motion."""
    shared = [_shared_unknowns(fit) for fit in fits]
    products = [_product([_part(fit.by_motion[number], own) for fit, own in zip(fits, shared, strict=True)],
                         np.where(np.arange(len(shared[0])) < count, 1.0, size)) for number, size in enumerate(MOTION_SIZES)]
    nearest, _ = _product([_part(fit.nearest, np.arange(count)) for fit in fits], np.ones(count))
    posterior, shares = mixture([product for product, _ in products], np.full(len(products), 1 / len(products)))
    factor = float(shares @ [factor for _, factor in products])
    current = np.mean([math.sqrt(fit.shares @ np.square([size.current for size in fit.sizes])) for fit in fits])
    return Joint(count, nearest.mean, posterior.mean, factor * posterior.covariance, _parts(fits, count), math.sqrt(factor), float(current),
                 math.sqrt(shares @ np.square(MOTION_SIZES)))


def _part(posterior: Posterior, chosen: np.ndarray) -> Posterior:
    """The posterior of some of the unknowns."""
    return Posterior(posterior.mean[chosen], posterior.covariance[np.ix_(chosen, chosen)], posterior.evidence)


def _product(found: Sequence[Posterior], deviations: np.ndarray) -> tuple[Posterior, float]:
    """The posterior of the shared unknowns, and chi squared of the records over its degrees of freedom, at least 1.

    found       of each record
    deviations  of the shared unknowns before any record

        Lambda_i = C_i^-1 - P^-1,   h_i = C_i^-1 m_i,   C = (P^-1 + sum Lambda_i)^-1,   m = C sum h_i

    in units of the prior's deviations, in which P = 1.
    """
    means = [each.mean / deviations for each in found]
    spreads = [each.covariance / np.outer(deviations, deviations) for each in found]
    one = np.eye(len(deviations))
    gained = [_without_negative(np.linalg.inv(spread) - one) for spread in spreads]
    pulls = [(each + one) @ mean for each, mean in zip(gained, means, strict=True)]
    total = sum(pulls)
    covariance = np.linalg.inv(one + sum(gained))
    mean = covariance @ total
    evidence = sum(each.evidence + 0.5 * (np.linalg.slogdet(gain + one)[1] - float(pull @ own))
                   for each, gain, pull, own in zip(found, gained, pulls, means, strict=True))
    evidence += 0.5 * (np.linalg.slogdet(covariance)[1] + float(total @ mean))
    return Posterior(deviations * mean, covariance * np.outer(deviations, deviations), float(evidence)), _chi_squared(gained, pulls, mean)


def _chi_squared(gained: Sequence[np.ndarray], pulls: Sequence[np.ndarray], mean: np.ndarray) -> float:
    """How far the records lie from their common mean, over the degrees of freedom; of combinations that a record tells, at least 1."""
    squared, freedom = 0.0, -int(np.sum(np.linalg.eigvalsh(sum(gained)) > DETERMINED))
    for gain, pull in zip(gained, pulls, strict=True):
        values, vectors = np.linalg.eigh(gain)
        determined = values > DETERMINED
        squared += float(np.sum((vectors.T @ (pull - gain @ mean))[determined] ** 2 / values[determined]))
        freedom += int(determined.sum())
    return max(1.0, squared / freedom) if freedom > 0 else 1.0


def _parts(fits: Sequence[ShotFit], count: int) -> np.ndarray:
    """Shares (records, p) of what is known of each parameter, that the records brought; the rest is the prior's."""
    gained = np.array([np.diag(_without_negative(np.linalg.inv(fit.posterior.covariance[:count, :count]) - np.eye(count))) for fit in fits])
    return gained / (1 + gained.sum(axis=0))


def _without_negative(matrix: np.ndarray) -> np.ndarray:
    """A symmetric matrix without its negative part: no record takes away what is known."""
    values, vectors = np.linalg.eigh((matrix + matrix.T) / 2)
    return (vectors * np.maximum(values, 0.0)) @ vectors.T
