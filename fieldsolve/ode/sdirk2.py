"""One step in time of M y' = f(t, y): knows no physics.

SDIRK2 with gamma = 1 - 1/sqrt(2): two implicit stages, L-stable, second order, stiffly accurate (the second stage is the new value).
R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006.  The embedded error h gamma (k2 - k1) compares with the first-order solution.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

GAMMA = 1 - 1 / math.sqrt(2)
SAFETY, MAX_GROWTH, MIN_GROWTH = 0.9, 2.0, 0.2


@dataclass(frozen=True, eq=False)
class Step:
    """A step from `start` of length `length`: the new value, the stage derivatives and the embedded error."""

    start: float
    length: float
    value: np.ndarray
    derivatives: tuple[np.ndarray, np.ndarray]
    error: np.ndarray


def take_step(solve_stage: Callable[[float, np.ndarray, float], np.ndarray], start: float, value: np.ndarray, length: float) -> Step:
    """One step; `solve_stage(t, base, g)` returns the k that solves M k = f(t, base + g k)."""
    # 1. stage at start + gamma h
    first = solve_stage(start + GAMMA * length, value, GAMMA * length)
    # 2. stage at start + h
    base = value + (1 - GAMMA) * length * first
    second = solve_stage(start + length, base, GAMMA * length)
    return Step(start, length, base + GAMMA * length * second, (first, second), GAMMA * length * (second - first))


STAGE_SHARES = (1 - GAMMA, GAMMA)       # weights of the stages' rates in an integral over the step


def next_length(length: float, error: float) -> float:
    """Step length that brings the embedded error (in units of its tolerance, of order h^2) to one."""
    return length * min(MAX_GROWTH, max(MIN_GROWTH, SAFETY / math.sqrt(max(error, 1e-12))))


def hermite_root(length: float, before: float, slope_before: float, after: float, slope_after: float) -> float:
    """Time in (0, length) where the cubic through two values and slopes of opposite sign crosses zero."""
    cubic = np.polynomial.Polynomial([before, slope_before * length,
                                      3 * (after - before) - length * (2 * slope_before + slope_after),
                                      2 * (before - after) + length * (slope_before + slope_after)])
    roots = [float(root.real) for root in cubic.roots() if abs(root.imag) < 1e-9 and 0 < root.real < 1]
    return length * (min(roots) if roots else before / (before - after))
