"""Where in a step a value is zero: the root of the cubic, and the step that ends there, whichever side the first guess is on."""
import itertools
import math

import numpy as np
import pytest

from fieldsolve.errors import SolveError
from fieldsolve.ode import SDIRK2, SDIRK3, TR_BDF2, end_step_at_zero, hermite_root, take_step
from fieldsolve.ode.event_location import MAX_TRIALS, ZERO_TOLERANCE

METHODS = (SDIRK2, TR_BDF2, SDIRK3)
FIRST_GUESSES = (1e-6, 0.2, 0.55, 0.9, 1.0)               # of the step


def root_of(length, value, slope):
    """The root that is found of a function of x = t / length and its slope in x."""
    return hermite_root(length, value(0.0), slope(0.0) / length, value(1.0), slope(1.0) / length) / length


@pytest.mark.parametrize("length", [1e-6, 1.0, 2.5])
@pytest.mark.parametrize("root", [1e-9, 0.3, 0.7, 1 - 1e-9])
@pytest.mark.parametrize("bend", [0.0, 1e-15, 1e-8, 1.0, 30.0])            # from a straight line to a strong curve
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_root_of_a_cubic_is_exact(length, root, bend, sign):
    """y = (x - root) (bend x^2 + 1) has one zero."""
    found = root_of(length, lambda x: sign * (x - root) * (bend * x**2 + 1),
                    lambda x: sign * (bend * x**2 + 1 + (x - root) * 2 * bend * x))
    assert found == pytest.approx(root, rel=1e-12, abs=1e-14)


def test_of_three_zeros_the_earliest_is_found():
    """y = (x - 0.2) (x - 0.5) (x - 0.9)."""
    cubic = np.polynomial.Polynomial.fromroots([0.2, 0.5, 0.9])
    assert root_of(3.0, cubic, cubic.deriv()) == pytest.approx(0.2, rel=1e-12)


def test_a_zero_at_the_very_end_is_found():
    assert root_of(2.0, lambda x: (1 - x) * (2 - x), lambda x: 2 * x - 3) == pytest.approx(1.0, rel=1e-12)
    assert hermite_root(2.0, 1.0, 0.0, 0.0, 0.0) == pytest.approx(2.0, abs=1e-6)      # flat there


class Decay:
    """Steps of y' = -rate (y + pull) from y = 1 or, with the opposite sign, of -y."""

    def __init__(self, method, rate, pull, sign=1.0):
        self.method, self.rate, self.pull, self.sign, self.trials = method, rate, pull, sign, []

    def __call__(self, length):
        self.trials.append(length)
        derivative = np.array([-self.sign * self.rate * (1 + self.pull)])
        return take_step(self.method, self._solve_stage, 0.0, np.array([self.sign]), length, derivative), (length,)

    def _solve_stage(self, time, base, g):
        return -self.rate * (base + self.sign * self.pull) / (1 + self.rate * g)

    def end_at_zero(self, guess, length, scale=1.0):
        """Step to the zero and its stages, from a first guess and a step of `length` beyond it."""
        return end_step_at_zero(self, guess, self.sign, self(length)[0], 0, scale)


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
@pytest.mark.parametrize("rate", [1e-3, 0.1, 1.0, 3.0, 10.0, 100.0])              # times the step: from straight to all but a jump
@pytest.mark.parametrize("where", [0.03, 0.3, 0.9, 0.999])                        # of the step: the zero of the exact solution
def test_the_step_ends_at_the_zero(method, rate, where):
    """y = (1 + pull) exp(-rate t) - pull is zero at ln(1 + 1 / pull) / rate; the one step to it differs by its own error."""
    for length, share, sign in itertools.product((1e-7, 0.8), FIRST_GUESSES, (1.0, -1.0)):
        decay = Decay(method, rate / length, 1 / math.expm1(rate * where), sign)
        if decay(length)[0].value[0] * sign > 0:                                  # the long step's error hides the zero
            continue
        decay.trials.clear()
        step, stages = decay.end_at_zero(share * length, length)
        assert abs(step.value[0]) < ZERO_TOLERANCE and stages == (step.length,) == (decay.trials[-1],)
        assert 0 < step.length <= length and decay.trials[1] == share * length
        assert len(decay.trials) <= 20                                            # the long step among them
        assert rate * where > 0.1 or step.length == pytest.approx(where * length, rel=1e-3)


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
@pytest.mark.parametrize("rate", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("where", [0.1, 0.5, 0.9])
def test_the_cubic_guesses_so_well_that_few_steps_are_tried(method, rate, where):
    decay = Decay(method, rate, 1 / math.expm1(rate * where))
    long = decay(1.0)[0]
    guess = hermite_root(1.0, 1.0, -decay.rate * (1 + decay.pull), long.value[0], long.derivatives[-1][0])
    assert guess == pytest.approx(where, rel=0.1)
    decay.end_at_zero(guess, 1.0)
    assert len(decay.trials) <= 6                                                 # two of them the long step


def test_the_tolerance_is_measured_by_the_scale():
    step, _ = Decay(SDIRK2, 3.0, 1 / 3).end_at_zero(0.1, 0.8, scale=1e8)
    assert step.length == 0.1


def test_a_jump_without_a_zero_is_an_error_that_says_where():
    def jump(length):
        trials.append(length)
        return take_step(SDIRK2, lambda t, base, g: np.array([0.0]), 2e-6, np.array([1.0 if length < 0.4e-6 else -1.0]), length), ()
    trials = []
    with pytest.raises(SolveError, match=rf"near 2\.4e-06 s could not be located in {MAX_TRIALS} steps"):
        end_step_at_zero(jump, 0.5e-6, 1.0, jump(1e-6)[0], 0, 1.0)
    assert len(trials) == MAX_TRIALS + 1
