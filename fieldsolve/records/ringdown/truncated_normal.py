"""Intervals of two normally distributed parameters that cannot be negative, such as a resistance and an arc voltage."""
from __future__ import annotations

import numpy as np

COVERAGE = 0.95
GRID = 4001
REACH = 7.0                       # standard deviations to either side


def quadrant_mode(mean: np.ndarray, covariance: np.ndarray, one: int, other: int) -> np.ndarray:
    """The most probable vector with components `one` and `other` at 0 or above: (n,) from (n,) and (n, n)."""
    candidates = [mean]
    for bound in ([one], [other], [one, other]):
        block = covariance[np.ix_(bound, bound)]
        candidates.append(mean - covariance[:, bound] @ np.linalg.pinv(block) @ mean[bound])
    allowed = [candidate for candidate in candidates if min(candidate[one], candidate[other]) >= -1e-9 * np.abs(mean).max()]
    inverse = np.linalg.pinv(covariance[np.ix_([one, other], [one, other])])

    def distance(candidate: np.ndarray) -> float:
        off = (candidate - mean)[[one, other]]
        return float(off @ inverse @ off)

    best = min(allowed, key=distance).copy()
    best[[one, other]] = np.maximum(best[[one, other]], 0.0)
    return best


def quadrant_interval(mean: np.ndarray, covariance: np.ndarray) -> tuple[float, float]:
    """The shortest 95 % interval of the first of two components (2,), (2, 2), both cut off below 0.

        p(x) ~ phi((x - m_1) / s_1) Phi((m_2 + c (x - m_1)) / s_(2|1)),   x >= 0,   c = s_12 / s_1^2
    """
    from scipy.special import log_ndtr

    deviation = float(np.sqrt(covariance[0, 0]))
    if not deviation:
        return float(mean[0]), float(mean[0])
    slope = covariance[0, 1] / covariance[0, 0]
    rest = float(np.sqrt(max(covariance[1, 1] - slope * covariance[0, 1], 1e-12 * covariance[1, 1] + 1e-300)))
    low = max(mean[0] - REACH * deviation, 0.0)
    x = np.linspace(low, max(mean[0] + REACH * deviation, low + REACH * deviation), GRID)
    logarithm = -0.5 * ((x - mean[0]) / deviation) ** 2 + log_ndtr((mean[1] + slope * (x - mean[0])) / rest)
    density = np.exp(logarithm - logarithm.max())
    order = np.argsort(density)[::-1]
    kept = order[:int(np.searchsorted(np.cumsum(density[order]), COVERAGE * density.sum())) + 1]
    return float(x[kept.min()]), float(x[kept.max()])
