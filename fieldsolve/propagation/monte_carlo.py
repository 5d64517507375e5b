"""Propagation of distributions by Monte Carlo with adaptive stopping (JCGM 101:2008, 7.9), for any function of the inputs."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.estimate import QUANTILE

PROBABILITY = 0.95
FEWEST_BATCHES = 5          # the standard's two agree by chance too often: the procedure then stops early
Draw = Callable[[int, int], np.ndarray]


@dataclass(frozen=True, eq=False)
class Propagated:
    """Draws of inputs and outputs, and how well they settle the outputs' distributions.

    inputs     (n, d)
    outputs    (n, m)
    tolerance  (m,) numerical tolerance delta of each output, JCGM 101, 7.9.2
    spread     (m,) twice the largest standard deviation of mean, standard uncertainty and ends of the interval
    batches    number of batches
    """

    inputs: np.ndarray
    outputs: np.ndarray
    tolerance: np.ndarray
    spread: np.ndarray
    batches: int

    @property
    def settled(self) -> np.ndarray:
        """Whether each output (m,) is settled to its tolerance."""
        return self.spread <= self.tolerance


def propagate(evaluate: Callable[[np.ndarray, int], np.ndarray], draw: Draw, *, digits: int = 1, batch: int = 10_000,
              most: int = 1_000_000, watched: np.ndarray | None = None) -> Propagated:
    """Draw inputs and evaluate them, batch by batch, until all outputs are settled to `digits` significant digits, or `most` are drawn.

    evaluate  function of inputs (n, d) and the batch's number, gives outputs (n, m)
    draw      function of a count and the batch's number, gives inputs (count, d)
    watched   (m,) of bool: outputs that must be settled; default all

    Source: JCGM 101:2008, 7.9.4; its letters stand beside the steps.  On stopping early: G. Wuebbeler et al., Metrologia 47, 317 (2010)
    (from memory).
    """
    inputs, outputs, results = [], [], []                                               # b), c)
    while True:
        number = len(inputs)
        inputs.append(draw(batch, number))                                              # d)
        outputs.append(np.asarray(evaluate(inputs[-1], number), dtype=float))
        results.append(_results(outputs[-1]))                                           # e)
        spread, tolerance = _spread(results), _tolerance(outputs, digits)
        wide = spread > tolerance if watched is None else (spread > tolerance) & watched
        if (len(outputs) >= FEWEST_BATCHES and not wide.any()) or batch * (len(outputs) + 1) > most:  # f), k)
            return Propagated(np.concatenate(inputs), np.concatenate(outputs), tolerance, spread, len(outputs))


def coverage_interval(values: np.ndarray, probability: float = PROBABILITY) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the probabilistically symmetric interval of draws (n, ...), along the first axis.  Source: JCGM 101, 7.7."""
    tail = 0.5 * (1 - probability)
    low, high = np.quantile(values, (tail, 1 - tail), axis=0)
    return low, high


def numerical_tolerance(uncertainty: float, digits: int) -> float:
    """Half of the last of `digits` significant decimal digits of a standard uncertainty: u = c 10^l, delta = 10^l / 2.

    Source: JCGM 101:2008, 7.9.2.

    >>> numerical_tolerance(0.035, 2), numerical_tolerance(0.035, 1), numerical_tolerance(9.97, 1)
    (0.0005, 0.005, 5.0)
    """
    if not uncertainty > 0:
        return 0.0
    exponent = int(f"{uncertainty:.{digits - 1}e}".split("e")[1]) - digits + 1
    return float(f"5e{exponent - 1}")


def linear_interval(value: np.ndarray, gradient: np.ndarray, covariance: np.ndarray,
                    variance: np.ndarray | float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Low end, high end and standard uncertainty (m,) by the law of propagation of uncertainty and a normal distribution.

    u^2 = g^T V g + s^2,     value +- 1.96 u

    gradient  (d, m);  covariance  V (d, d);  variance  s^2 (m,) that no input causes.  Source: JCGM 100:2008, 5.2.
    """
    uncertainty = np.sqrt(np.maximum(np.einsum("im,ij,jm->m", gradient, covariance, gradient) + variance, 0.0))
    return value - QUANTILE * uncertainty, value + QUANTILE * uncertainty, uncertainty


def _results(values: np.ndarray) -> np.ndarray:
    """Mean, standard uncertainty and ends of the interval of draws (n, m): (4, m)."""
    return np.array([values.mean(axis=0), values.std(axis=0, ddof=1), *coverage_interval(values)])


def _spread(results: list[np.ndarray]) -> np.ndarray:
    """Twice the largest standard deviation of the means of the batches' results: steps g), h) and k)."""
    if len(results) < 2:
        return np.full(results[0].shape[1], math.inf)
    return 2 * (np.std(results, axis=0, ddof=1) / math.sqrt(len(results))).max(axis=0)


def _tolerance(outputs: list[np.ndarray], digits: int) -> np.ndarray:
    """Steps i) and j)."""
    count = sum(map(len, outputs))
    mean = sum(values.sum(axis=0) for values in outputs) / count
    squares = sum(((values - mean) ** 2).sum(axis=0) for values in outputs)
    return np.array([numerical_tolerance(u, digits) for u in np.sqrt(squares / (count - 1))])
