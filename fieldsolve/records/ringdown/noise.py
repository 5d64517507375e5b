"""Noise of a record from the residual of a fit: its level, how far it is correlated, and what it does to the fitted parameters."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_LAG = 0.02                   # of the samples, to which correlation is looked for


@dataclass(frozen=True)
class Noise:
    """Standard deviation, and over how many samples it is correlated (0 for white noise).

    first_correlation   between neighbouring samples
    """

    deviation: float
    correlated_samples: int
    first_correlation: float


def residual_noise(residual: np.ndarray, parameters: int) -> Noise:
    """Noise of the samples from what a fit of so many parameters leaves."""
    freedom = max(len(residual) - parameters, 1)
    correlation = autocorrelation(residual, max(int(MOST_LAG * len(residual)), 12))
    return Noise(float(np.sqrt(residual @ residual / freedom)), correlation_length(correlation, len(residual)), float(correlation[1]))


def autocorrelation(residual: np.ndarray, most: int) -> np.ndarray:
    """Autocorrelation at the lags 0 to `most`."""
    size = len(residual)
    transform = np.fft.rfft(residual, 2 * size)
    covariance = np.fft.irfft(np.abs(transform)**2)[:max(most, 1) + 1]
    return covariance / covariance[0] if covariance[0] else np.eye(1, max(most, 1) + 1)[0]


def correlation_length(correlation: np.ndarray, size: int, quiet: int = 5) -> int:
    """The last lag before `quiet` lags without significant correlation.

    Source: D. N. Politis and H. White, Econometric Reviews 23 (2004) 53, on the width of flat-top windows (from memory).
    """
    significant = np.abs(correlation[1:]) > 2 * np.sqrt(np.log10(size) / size)
    run = 0
    for lag, is_significant in enumerate(significant):
        run = 0 if is_significant else run + 1
        if run == quiet:
            return lag + 1 - quiet
    return len(correlation) - 1


def score_covariance(jacobian: np.ndarray, residual: np.ndarray, length: int, parameters: int) -> np.ndarray:
    """Covariance of J^T r, noise that varies along the record and is correlated over `length` samples being allowed.

        sum over lags of w(lag) G(lag),   G(lag) = sum_t g_t g_(t+lag)^T,   g_t = J_t r_t

    w is 1 up to `length` and falls to 0 at twice that.
    Source: W. K. Newey and K. D. West, Econometrica 55 (1987) 703; flat-top window as `correlation_length` (from memory).
    """
    scores = jacobian * residual[:, None]
    total = scores.T @ scores
    diagonal = total.diagonal().copy()
    for lag in range(1, min(2 * length, len(scores) - 1)):
        weight = min(1.0, 2.0 - lag / length)
        term = scores[:-lag].T @ scores[lag:]
        total += weight * (term + term.T)
    if (np.linalg.eigvalsh(total / np.sqrt(np.outer(diagonal, diagonal) + 1e-300)) <= 0).any():
        total = _bartlett(scores, length)
    return total * len(residual) / max(len(residual) - parameters, 1)


def _bartlett(scores: np.ndarray, length: int) -> np.ndarray:
    """The same with the triangular window, which is never indefinite."""
    total = scores.T @ scores
    for lag in range(1, min(2 * length, len(scores) - 1)):
        term = scores[:-lag].T @ scores[lag:]
        total += (1 - lag / (2 * length)) * (term + term.T)
    return total
