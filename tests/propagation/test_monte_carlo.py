"""Monte Carlo with adaptive stopping, held against the examples of JCGM 101:2008 and against closed forms."""
import math

import numpy as np
import pytest

from fieldsolve.propagation.inputs import InputGroup
from fieldsolve.propagation.monte_carlo import coverage_interval, linear_interval, numerical_tolerance, propagate

MOST = 200_000


def rectangular(u):
    return InputGroup(("x",), np.zeros(1), np.array([[u**2]]), rectangular=True, signed=(True,))


def normal(value, u):
    return InputGroup(("x",), np.array([value]), np.array([[u**2]]), signed=(True,))


def summed(groups, digits=2, seed=0):
    """Standard uncertainty and interval of the sum of independent inputs, by Monte Carlo and by linear propagation."""
    def draw(count, batch):
        generators = np.random.default_rng((seed, batch)).spawn(len(groups))
        return np.hstack([group.draw(generator, count) for group, generator in zip(groups, generators, strict=True)])
    found = propagate(lambda x, batch: x.sum(axis=1, keepdims=True), draw, digits=digits, most=2_000_000)
    covariance = np.diag([float(group.covariance[0, 0]) for group in groups])
    return found, found.outputs.std(), *(end.item() for end in coverage_interval(found.outputs)), linear_interval(
        np.zeros(1), np.ones((len(groups), 1)), covariance)


@pytest.mark.parametrize(("groups", "u", "end", "linear_end"), [
    ([normal(0, 1)] * 4, 2.00, 3.92, 3.92),                     # JCGM 101:2008, table 2 (from memory): four normal inputs
    ([rectangular(1)] * 4, 2.00, 3.88, 3.92),                   # table 3 (from memory): four rectangular inputs
    ([rectangular(1)] * 3 + [rectangular(10)], 10.1, 17.0, 19.9),          # table 4 (from memory): the fourth is ten times as wide
])
def test_the_additive_model_of_the_guide(groups, u, end, linear_end):
    found, uncertainty, low, high, (linear_low, linear_high, linear_u) = summed(groups)
    assert found.settled.all() and found.batches >= 5
    delta = found.tolerance[0]
    assert uncertainty == pytest.approx(u, abs=delta + 0.005)
    assert high == pytest.approx(end, abs=delta + 0.05 * (u > 5)) and low == pytest.approx(-end, abs=delta + 0.05 * (u > 5))
    assert linear_high[0] == pytest.approx(linear_end, abs=0.2 * (u > 5) + 0.01) and linear_low[0] == -linear_high[0]
    assert linear_u[0] == pytest.approx(u, abs=0.06)


def test_the_exact_interval_of_four_rectangular_inputs():
    """The sum of four uniform variables on [0, 1] has  F(x) = sum_k (-1)^k C(4, k) (x - k)^4 / 4!  (Irwin and Hall): solved for 2.5 %."""
    from scipy.optimize import brentq

    def distribution(x):
        return sum((-1) ** k * math.comb(4, k) * (x - k) ** 4 for k in range(int(x) + 1)) / 24
    exact = (brentq(lambda x: distribution(x) - 0.025, 0.1, 2) - 2) * math.sqrt(12)
    found, _, low, high, _ = summed([rectangular(1)] * 4)
    assert low == pytest.approx(exact, abs=found.tolerance[0]) and high == pytest.approx(-exact, abs=found.tolerance[0])


def test_where_the_model_is_quadratic_linear_propagation_gives_nothing():
    """JCGM 101:2008, 9.4 (from memory): y = x1^2 + x2^2 at 0 with u = 0.005 has y = u(y) = 50e-6; exactly, y / u^2 is chi-squared of 2."""
    groups = [normal(0, 0.005)] * 2

    def draw(count, batch):
        return np.hstack([group.draw(np.random.default_rng((k, batch)), count) for k, group in enumerate(groups)])
    found = propagate(lambda x, batch: (x**2).sum(axis=1, keepdims=True), draw, digits=1, most=2_000_000)
    assert found.outputs.mean() == pytest.approx(50e-6, rel=0.02) and found.outputs.std() == pytest.approx(50e-6, rel=0.03)
    low, high = coverage_interval(found.outputs)
    assert [low.item(), high.item()] == pytest.approx([-2 * math.log(0.975) * 25e-6, -2 * math.log(0.025) * 25e-6], rel=0.03)
    assert linear_interval(np.zeros(1), np.zeros((2, 1)), np.eye(2))[2][0] == 0.0


def test_more_digits_take_more_draws_and_the_largest_number_holds():
    def draw(count, batch):
        return np.random.default_rng(batch).normal(0.0, 4.7, (count, 1))

    def run(digits, most):
        return propagate(lambda x, batch: x, draw, digits=digits, batch=1000, most=most)
    coarse, fine, stopped = run(1, MOST), run(2, MOST), run(2, 3000)
    assert coarse.settled.all() and fine.batches > coarse.batches
    assert len(stopped.outputs) == 3000 and not stopped.settled.any()


@pytest.mark.parametrize(("u", "digits", "delta"), [(0.35, 1, 0.05), (0.35, 2, 0.005), (10.05, 2, 0.5), (9.99e-7, 1, 5e-7), (0.0, 1, 0.0)])
def test_the_tolerance_is_half_of_the_last_digit(u, digits, delta):
    assert numerical_tolerance(u, digits) == pytest.approx(delta, rel=1e-12)
