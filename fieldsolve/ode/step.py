"""One step in time of M y' = f(t, y) by a diagonally implicit Runge-Kutta method; it knows no physics."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.ode.tableau import Tableau

SolveStage = Callable[[float, np.ndarray, float], np.ndarray]      # (t, base, g) -> k that solves M k = f(t, base + g k)


@dataclass(frozen=True, eq=False)
class Step:
    """A step from `start` of `length` seconds: the new value (n,), each stage's derivative (n,) and the embedded error (n,)."""

    start: float
    length: float
    value: np.ndarray
    derivatives: tuple[np.ndarray, ...]
    error: np.ndarray


def take_step(method: Tableau, solve_stage: SolveStage, start: float, value: np.ndarray, length: float,
              derivative: np.ndarray | None = None) -> Step:
    """One step of length h from y(start) = value.

    Stage i solves M k_i = f(start + c_i h, y + h sum_j A_ij k_j).  The new value is that of the last stage, the embedded error
    h sum_i (b_i - b_embedded_i) k_i, both taken over k_i - k_1, since the weights sum to zero.

    Parameters
    ----------
    method : Tableau
    solve_stage : callable
        (t, base, g) -> k with M k = f(t, base + g k).
    start, length : float
        Seconds.
    value : ndarray (n,)
    derivative : ndarray (n,)
        y' at the start; needed by a method whose first stage is explicit.
    """
    found: list[np.ndarray] = []
    end = value
    for row, node in zip(method.A, method.c, strict=True):
        base = value
        for coefficient, k in zip(row, found, strict=False):
            base = base + coefficient * length * k
        gamma = row[len(found)]
        k = derivative if gamma == 0 else solve_stage(start + node * length, base, gamma * length)
        end = base + gamma * length * k
        found.append(k)
    weights = [b - embedded for b, embedded in zip(method.b, method.b_embedded, strict=True)]
    error = sum(weight * length * (k - found[0]) for weight, k in zip(weights[1:], found[1:], strict=True))
    return Step(start, length, end, tuple(found), error)
