"""First-order and total sensitivity indices of groups of inputs, by a design of Saltelli."""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

SIZE = 2**15
Columns = Sequence[Sequence[int]]


@dataclass(frozen=True, eq=False)
class Indices:
    """Sobol's indices of each group of inputs for each output, both (groups, m)."""

    first_order: np.ndarray
    total: np.ndarray


def sobol_indices(evaluate: Callable[[np.ndarray], np.ndarray], first: np.ndarray, second: np.ndarray, columns: Columns) -> Indices:
    """Indices of a function of inputs (n, d) with outputs (n, m), from two independent samples (n, d) of the inputs.

    first, second  samples A and B;  columns  of each group, which are exchanged together: inputs within one may be correlated

    S_i = V(E(y | x_i)) / V(y),     T_i = E(V(y | all but x_i)) / V(y)

    Both lie between 0 and 1; the little by which an estimate leaves that is noise of the samples, and is cut off.

    Source: A. Saltelli et al., Comput. Phys. Commun. 181, 259 (2010): the estimators (b) for S_i and (f), Jansen's, for T_i.
    """
    of_first, of_second = evaluate(first), evaluate(second)
    mean = 0.5 * (of_first.mean(axis=0) + of_second.mean(axis=0))
    of_first, of_second = of_first - mean, of_second - mean
    variance = np.var(np.concatenate([of_first, of_second]), axis=0)
    varies = variance > 0
    share = np.divide(1.0, variance, out=np.zeros_like(variance), where=varies)
    first_order, total = [], []
    for group in columns:
        mixed = first.copy()
        mixed[:, group] = second[:, group]
        of_mixed = evaluate(mixed) - mean
        first_order.append(share * np.mean(of_second * (of_mixed - of_first), axis=0))
        total.append(share * 0.5 * np.mean((of_first - of_mixed) ** 2, axis=0))
    return Indices(np.clip(first_order, 0.0, 1.0), np.clip(total, 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class QuadraticResponse:
    """Outputs as polynomials of degree two in the inputs, fitted to draws.

    middle, scale  (d,) of the inputs;  coefficients  (terms, m);  unexplained  (m,) share of the outputs' variance that it leaves
    """

    middle: np.ndarray
    scale: np.ndarray
    coefficients: np.ndarray
    unexplained: np.ndarray

    def __call__(self, inputs: np.ndarray) -> np.ndarray:
        """Outputs (n, m) at inputs (n, d)."""
        return _terms((inputs - self.middle) / self.scale) @ self.coefficients


def fit_quadratic(inputs: np.ndarray, outputs: np.ndarray) -> QuadraticResponse:
    """Least squares of the draws' outputs (n, m) over inputs (n, d)."""
    middle, scale = inputs.mean(axis=0), inputs.std(axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    terms = _terms((inputs - middle) / scale)
    coefficients = np.linalg.lstsq(terms, outputs, rcond=None)[0]
    variance = outputs.var(axis=0)
    left = np.mean((outputs - terms @ coefficients) ** 2, axis=0)
    return QuadraticResponse(middle, scale, coefficients, np.divide(left, variance, out=np.zeros_like(left), where=variance > 0))


def _terms(x: np.ndarray) -> np.ndarray:
    """1, x_i and x_i x_j, i <= j, of standardised inputs (n, d): (n, 1 + d + d (d + 1) / 2)."""
    rows, columns = np.triu_indices(x.shape[1])
    return np.hstack([np.ones((len(x), 1)), x, x[:, rows] * x[:, columns]])


def columns_of(sizes: Sequence[int]) -> list[list[int]]:
    """Columns of groups of the given sizes that stand side by side.

    >>> columns_of([1, 2])
    [[0], [1, 2]]
    """
    return [list(range(start, end)) for start, end in pairwise(np.cumsum([0, *sizes]).tolist())]


def sample_size(inputs: int) -> int:
    """Rows of each of the two samples, a power of two; fewer for very many inputs."""
    return max(2**10, SIZE >> max(0, math.ceil(math.log2(max(inputs, 1) / 16))))
