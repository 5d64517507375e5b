"""Does a record contradict its model?  A test of what the fit leaves of it against its noise, and what it could have shown.

A model that is right leaves noise.  What a wrong one leaves besides is smooth: neighbouring samples err alike.  The scatter of
neighbouring samples tells the noise, whatever the model.  The score of the sizes of the model's errors at zero,

    T = |F^T C^-1 d|^2,     C = V + J P J^T,

tests for them (d the data, V the noise, J and P the unknowns' derivatives and variances, F the errors' modes): it is the most powerful
one for small errors.  Where the model is right, T is a sum of squares of normal numbers with known variances.
Source: X. Lin, Biometrika 84, 309 (1997), score tests of variance components (from memory).
"""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fieldsolve.inference.statistics.posterior import LinearData
from geometries.keywords import known_keywords

DRAWS = 20_000                  # of the null distribution; no probability below 1 / DRAWS is told
TRACE_MODES = 12                # of a trace's error
DEGREES = 18 / 35               # of freedom of a noise from second differences, for each sample
LEVEL = 0.01                    # probability, below which a record contradicts its model
DOUBT = 0.05                    # the same, below which it hardly fits
LARGEST = 1.0                   # error that is looked for
SIZES = np.geomspace(1e-5, LARGEST, 101)


@known_keywords
@dataclass(frozen=True)
class MisfitTest:
    """Whether a record contradicts its model.

    Parameters
    ----------
    p_value : float
        How often the record of a right model shows as much or more.
    current : float
        Error of the current, as a share of its peak, that every second such record would show at `LEVEL`; infinite where none would.
    motion : float
        The same of push and flow stress, as a share of them.

    Examples
    --------
    >>> MisfitTest(p_value=0.003, current=1e-3, motion=0.1).contradicts
    True
    """

    p_value: float
    current: float
    motion: float

    @property
    def contradicts(self) -> bool:
        """Whether the model does not explain the record to its noise."""
        return self.p_value < LEVEL

    @property
    def doubtful(self) -> bool:
        """Whether it hardly does."""
        return LEVEL <= self.p_value < DOUBT


@known_keywords
def combined_misfit(tests: Iterable[MisfitTest]) -> float:
    """How often records of a right model together show as much misfit or more: what each hides in its noise, many may show.

        X = -2 sum ln p_k,   chi squared of 2 n degrees of freedom

    Parameters
    ----------
    tests : iterable of MisfitTest
        Of independent records, each with the model fitted to it alone.

    Returns
    -------
    float
        The probability.

    Source: R. A. Fisher, Statistical Methods for Research Workers, 4th ed. (1932), section 21.1 (from memory).

    Examples
    --------
    >>> alone = MisfitTest(p_value=0.1, current=1e-3, motion=0.1)
    >>> alone.doubtful, round(combined_misfit([alone] * 10), 4)
    (False, 0.0008)
    """
    from scipy.special import chdtrc

    logarithms = [math.log(test.p_value) for test in tests]
    if not logarithms:
        raise ValueError("combined_misfit: no test; give the misfit of each record")
    return float(chdtrc(2 * len(logarithms), -2 * math.fsum(logarithms)))


def misfit_test(linear: LinearData, motion: slice, length: float) -> MisfitTest:
    """The test of data whose unknowns have unit variances, and are errors of the motion in the columns `motion`.

    length  correlation length of the traces' errors in seconds
    """
    weights = 1 / np.sqrt(linear.variances)
    jacobian = linear.jacobian * weights[:, None]
    known = np.delete(jacobian, motion, axis=1)
    inner = np.eye(known.shape[1]) + known.T @ known

    def reduced(columns: np.ndarray) -> np.ndarray:
        """C^-1 of columns, in units of the noise."""
        return columns - known @ np.linalg.solve(inner, known.T @ columns)
    families = [weights[:, None] * _trace_modes(linear, length), jacobian[:, motion]]
    totals = [float(np.einsum("ij,ij->", family, reduced(family))) for family in families]
    modes = reduced(np.hstack([family / math.sqrt(total) for family, total in zip(families, totals, strict=True) if total > 0]))
    score = modes.T @ (linear.data * weights)
    spread = modes.T @ (modes + known @ (known.T @ modes))
    draws = np.random.default_rng(0)
    null = _squares(spread, draws) / _noise_factor(linear, draws)
    critical = float(np.quantile(null, 1 - LEVEL))
    return MisfitTest(max(float(np.mean(null >= score @ score)), 1 / DRAWS),
                      *(_detectable(spread, modes.T @ family, critical, draws) for family in families))


def _squares(spread: np.ndarray, draws: np.random.Generator) -> np.ndarray:
    """Draws (DRAWS,) of the square of a normal vector of this covariance."""
    variances = np.maximum(np.linalg.eigvalsh(spread), 0.0)
    return draws.standard_normal((DRAWS, len(variances))) ** 2 @ variances


def _noise_factor(linear: LinearData, draws: np.random.Generator) -> np.ndarray:
    """Draws (DRAWS,) of the variance that the scatter of neighbours tells over the true one."""
    degrees = max(DEGREES * len(linear.data), 1.0)
    return draws.chisquare(degrees, DRAWS) / degrees


def _detectable(spread: np.ndarray, answer: np.ndarray, critical: float, draws: np.random.Generator) -> float:
    """The least size of errors whose score exceeds the critical value in every second draw; answer (k, q) is that of unit modes."""
    variances, turn = np.linalg.eigh(spread)
    noise = draws.standard_normal((DRAWS // 10, len(spread))) * np.sqrt(np.maximum(variances, 0.0)) @ turn.T
    errors = draws.standard_normal((len(noise), answer.shape[1])) @ answer.T
    squares, products, answers = (np.einsum("ij,ij->i", *pair) for pair in ((noise, noise), (noise, errors), (errors, errors)))
    medians = np.median(squares + 2 * SIZES[:, None] * products + SIZES[:, None] ** 2 * answers, axis=1)
    return float(SIZES[np.argmax(medians > critical)]) if medians.max() > critical else math.inf


def _trace_modes(linear: LinearData, length: float) -> np.ndarray:
    """Columns (n, k): errors of unit size of the traces, in SI."""
    found = []
    for trace in linear.traces:
        modes = trace.modes[length]
        largest = np.argsort(modes.variances)[::-1][:TRACE_MODES]
        columns = np.zeros((len(linear.data), len(largest)))
        columns[trace.rows(length)] = trace.scale * modes.modes[:, largest] * np.sqrt(modes.variances[largest])
        found.append(columns)
    return np.hstack(found)
