"""Where in a step an entry of its value is zero, and the step that ends there."""
from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fieldsolve.ode.step import Step
from geometries.errors import SolveError

ZERO_TOLERANCE = 1e-8       # of its scale: what is less is zero
MAX_TRIALS = 40             # most that the tests need is 19, with a first guess far from the zero


def hermite_root(length: float, before: float, slope_before: float, after: float, slope_after: float) -> float:
    """Earliest time in (0, length) where the cubic through two values and slopes of opposite sign crosses zero.

    With x = t / length the equation is solved for 1/x, whose leading coefficient is `before`: that of x may be nothing but rounding.
    """
    bend = 3 * (after - before) - length * (2 * slope_before + slope_after)
    twist = 2 * (before - after) + length * (slope_before + slope_after)
    inverses = np.roots([before, length * slope_before, bend, twist])
    return length / max((root.real for root in inverses if root.imag == 0 and root.real > 1), default=1.0)       # none: at the end


def end_step_at_zero(make_step: Callable[[float], tuple[Step, tuple]], length: float, before: float, step: Step, index: int,
                     scale: float) -> tuple[Step, tuple]:
    """The step, and its stages, that ends where entry `index` of its value is zero.

    Secants on its length between an end before the zero and one beyond it.  An end that stays has its value lessened, so that
    the next secant comes to lie beyond the zero: N. Anderson and A. Bjorck, BIT 13 (1973) 253.

    make_step  a step of a given length, with its stages;  length  a first guess;  before  the entry at the start
    step       one that goes beyond the zero;  scale  what the entry is measured by
    Raises SolveError where no zero is found.
    """
    opposite, value_opposite, last, value_last = 0.0, before, step.length, step.value[index]
    for _ in range(MAX_TRIALS):
        trial, stages = make_step(length)
        value = trial.value[index]
        if abs(value) < ZERO_TOLERANCE * scale:
            return trial, stages
        if value * value_last < 0:
            opposite, value_opposite = last, value_last
        else:
            value_opposite *= 1 - value / value_last if abs(value) < abs(value_last) else 0.5
        last, value_last = length, value
        length = last - (last - opposite) * value / (value - value_opposite)
    raise SolveError(f"the zero of the current near {step.start + length:.6g} s could not be located in {MAX_TRIALS} steps")
