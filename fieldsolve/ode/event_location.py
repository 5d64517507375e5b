"""Where in a step an entry of its value is zero, and the step that ends there."""
from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fieldsolve.ode.step import Step
from geometries.errors import SolveError

ZERO_TOLERANCE = 1e-8       # of its scale: what is less is zero
MAX_TRIALS = 20


def hermite_root(length: float, before: float, slope_before: float, after: float, slope_after: float) -> float:
    """Time in (0, length) where the cubic through two values and slopes of opposite sign crosses zero."""
    cubic = np.polynomial.Polynomial([before, slope_before * length,
                                      3 * (after - before) - length * (2 * slope_before + slope_after),
                                      2 * (before - after) + length * (slope_before + slope_after)])
    roots = [float(root.real) for root in cubic.roots() if abs(root.imag) < 1e-9 and 0 < root.real < 1]
    return length * (min(roots) if roots else before / (before - after))


def end_step_at_zero(make_step: Callable[[float], tuple[Step, tuple]], length: float, before: float, step: Step, index: int,
                     scale: float) -> tuple[Step, tuple]:
    """The step, and its stages, that ends where entry `index` of its value is zero: secants on its length, kept between both signs.

    make_step  a step of a given length, with its stages;  length  a first guess;  before  the entry at the start
    step       one that goes beyond the zero;  scale  what the entry is measured by
    Raises SolveError where no zero is found.
    """
    short, value_short, long, value_long = 0.0, before, step.length, step.value[index]
    for _ in range(MAX_TRIALS):
        trial, stages = make_step(length)
        value = trial.value[index]
        if abs(value) < ZERO_TOLERANCE * scale:
            return trial, stages
        if value * value_short > 0:
            short, value_short = length, value
        else:
            long, value_long = length, value
        length = short + (long - short) * value_short / (value_short - value_long)
    raise SolveError(f"the zero of the current near {step.start + length:.6g} s could not be located in {MAX_TRIALS} steps")
