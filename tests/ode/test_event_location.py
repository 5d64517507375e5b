"""Where in a step a value is zero: the root of the cubic, and the step that ends there, whichever side the first guess is on."""
import math

import numpy as np
import pytest

from fieldsolve.ode import SDIRK2, end_step_at_zero, hermite_root, take_step
from fieldsolve.ode.event_location import MAX_TRIALS, ZERO_TOLERANCE


@pytest.mark.parametrize(("length", "root"), [(1.0, 0.3), (2.5, 0.7), (1e-6, 0.55)])
def test_the_root_of_a_cubic_is_exact(length, root):
    """y = (x - root)(x^2 + x + 1) of x = t / length has one zero."""
    def slope(x):
        return ((x**2 + x + 1) + (x - root) * (2 * x + 1)) / length
    assert hermite_root(length, -root, slope(0.0), 3 * (1 - root), slope(1.0)) == pytest.approx(root * length, rel=1e-12)


def falling(length, count=None):
    """A step of y' = -3 y - 1 from y = 1, and no stages."""
    if count is not None:
        count.append(length)
    step = take_step(SDIRK2, lambda t, base, g: (-3 * base - 1) / (1 + 3 * g), 0.0, np.array([1.0]), length)
    return step, ()


@pytest.mark.parametrize("share", [0.5, 0.55])           # a little before the zero
def test_the_step_ends_at_the_zero(share):
    """y = (4 exp(-3 t) - 1) / 3 is zero at ln(4) / 3; the one step to it differs by its own error."""
    trials = []
    step, stages = end_step_at_zero(lambda length: falling(length, trials), share * 0.8, 1.0, falling(0.8)[0], 0, 1.0)
    assert abs(step.value[0]) < ZERO_TOLERANCE and stages == ()
    assert step.length == pytest.approx(math.log(4) / 3, rel=0.15) and trials[-1] == step.length
    assert len(trials) < MAX_TRIALS


def test_the_tolerance_is_measured_by_the_scale():
    step, _ = end_step_at_zero(falling, 0.1, 1.0, falling(0.8)[0], 0, 1e8)
    assert step.length == 0.1
