"""A response surface through computed values: a Gaussian process with a linear trend, its lengths by maximum likelihood.

    y(x) = b_0 + b . x + z(x),      cov(z(x), z(x')) = s^2 k(d),      d^2 = sum over k of ((x_k - x'_k) / l_k)^2
    k(d) = (1 + sqrt(5) d + 5/3 d^2) exp(-sqrt(5) d)                  (Matern, nu = 5/2)

The trend's coefficients and s^2 are the generalized least-squares estimates, the lengths l_k and the share of noise maximize the
likelihood.  Source: C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, 2.7 and 4.2.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LENGTHS = (0.05, 20.0)          # of the unit cube, least and largest
NOISE = (1e-10, 1e-3)           # share of the variance
STARTS = (0.5, 2.0)             # lengths from which the likelihood is climbed
EXACT = 1e-9                    # of the values: where a trend leaves less there are no lengths to find
TREND = 1e-2                    # of the least deviation: the trend alone is as near to the values
LEAST_DEVIATION = 1e-6          # of a response, as a share of the spread of its values


@dataclass(frozen=True)
class Response:
    """A response surface; made by `fit_response`.

    x        (n, free values), from 0 to 1;  lengths  (free values,)
    factor   Cholesky factor of the correlations (n, n);  noise  share of the variance
    trend    (free values + 1,);  weights  (n,) of the correlations;  variance  s^2
    half     solution of the factor for the trend's columns, (n, free values + 1)
    """

    x: np.ndarray
    lengths: np.ndarray
    noise: float
    factor: np.ndarray
    trend: np.ndarray
    weights: np.ndarray
    variance: float
    half: np.ndarray
    least_deviation: float

    def at(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and standard deviation at points (m, free values); each (m,)."""
        from scipy.linalg import solve_triangular

        columns = _trend_columns(x)
        if self._is_trend:
            return columns @ self.trend, np.full(len(x), self.least_deviation)
        correlation = _correlation(x, self.x, self.lengths)
        mean = columns @ self.trend + correlation @ self.weights
        solved = solve_triangular(self.factor, correlation.T, lower=True)
        of_trend = columns.T - self.half.T @ solved
        gram = np.linalg.inv(self.half.T @ self.half + 1e-12 * np.eye(columns.shape[1]))
        share = 1.0 - (solved**2).sum(axis=0) + np.einsum("km,kl,lm->m", of_trend, gram, of_trend)
        return mean, np.sqrt(np.maximum(self.variance * share, self.least_deviation**2))

    def mean_at(self, x: np.ndarray) -> np.ndarray:
        """The mean alone (m,), which is quicker."""
        mean = _trend_columns(x) @ self.trend
        return mean if self._is_trend else mean + _correlation(x, self.x, self.lengths) @ self.weights

    @property
    def _is_trend(self) -> bool:
        """Whether the trend alone goes through the values, as the logarithm of an energy does over those of voltage and capacitance."""
        return self.variance < (TREND * self.least_deviation) ** 2


def fit_response(x: np.ndarray, y: np.ndarray, least_length: float = LENGTHS[0]) -> Response:
    """The response through values (n,) at points (n, free values), at least one more than the trend has coefficients.

    least_length  of each free value: of values on few planes the likelihood may want them unrelated to each other
    """
    from scipy.optimize import minimize

    dimensions = x.shape[1]
    if trend_scatter(x, y) < EXACT * max(float(np.abs(y).max()), 1e-12):
        return response_with(np.ones(dimensions), NOISE[0], x, y)
    bounds = [tuple(np.log([least_length, LENGTHS[1]]))] * dimensions + [tuple(np.log(NOISE))]
    found = [minimize(_negative_likelihood, [np.log(start)] * dimensions + [np.log(1e-7)], args=(x, y), bounds=bounds, method="L-BFGS-B")
             for start in STARTS]
    best = min(found, key=lambda result: result.fun)
    return response_with(np.exp(best.x[:-1]), float(np.exp(best.x[-1])), x, y)


def trend_scatter(x: np.ndarray, y: np.ndarray) -> float:
    """Root mean square of what a linear trend alone leaves of values (n,) at points (n, free values)."""
    columns = _trend_columns(x)
    return float(np.sqrt(np.mean((y - columns @ np.linalg.lstsq(columns, y, rcond=None)[0]) ** 2)))


def _negative_likelihood(parameters: np.ndarray, x: np.ndarray, y: np.ndarray) -> float:
    try:
        response = response_with(np.exp(parameters[:-1]), float(np.exp(parameters[-1])), x, y)
    except np.linalg.LinAlgError:
        return 1e10
    return 0.5 * len(y) * np.log(max(response.variance, 1e-300)) + np.log(np.diag(response.factor)).sum()


def response_with(lengths: np.ndarray, noise: float, x: np.ndarray, y: np.ndarray) -> Response:
    """The response with given lengths and share of noise."""
    from scipy.linalg import solve_triangular

    factor = np.linalg.cholesky(_correlation(x, x, lengths) + (noise + 1e-12) * np.eye(len(x)))
    half, target = (solve_triangular(factor, side, lower=True) for side in (_trend_columns(x), y))
    trend = np.linalg.lstsq(half, target, rcond=None)[0]
    rest = target - half @ trend
    variance = float(rest @ rest) / max(len(y) - len(trend), 1)
    return Response(x, lengths, noise, factor, trend, solve_triangular(factor.T, rest, lower=False), variance, half,
                    LEAST_DEVIATION * max(float(np.ptp(y)), 1e-12))


def _trend_columns(x: np.ndarray) -> np.ndarray:
    return np.column_stack([np.ones(len(x)), x])


def _correlation(x: np.ndarray, other: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    difference = (x[:, None, :] - other[None, :, :]) / lengths
    distance = np.sqrt(5.0 * (difference**2).sum(axis=2))
    return (1.0 + distance + distance**2 / 3.0) * np.exp(-distance)
