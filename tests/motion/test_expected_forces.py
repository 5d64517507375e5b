"""Forces over a step to come: extrapolation, and how what was missed is made up for."""
import numpy as np
import pytest

from fieldsolve.motion.expected_forces import ExpectedForces, ExpectedHeat


def history(values, times, missed=0.0):
    return ExpectedForces(tuple(times), tuple((np.full((1, 2), values(t)),) for t in times), (np.full((1, 2), missed),))


def test_a_parabola_is_extrapolated_as_it_is():
    def values(t):
        return 3.0 - 2.0 * t + 0.5 * t**2
    expected = history(values, (4.0, 2.5, 1.0))
    assert expected.at(6.0)[0] == pytest.approx(np.full((1, 2), values(6.0)), rel=1e-12)
    assert expected.surplus(6.0, (np.full((1, 2), values(6.0) + 0.25),))[0] == pytest.approx(np.full((1, 2), 0.25), rel=1e-9)


@pytest.mark.parametrize("last, length", [(1.0, 1.0), (0.5, 1.0)])
def test_a_free_body_is_after_the_next_step_where_the_whole_force_would_have_brought_it(last, length):
    """A kilogram that missed S h/2 of impulse and S h^2/6 of way: both are made up for."""
    surplus = 0.3
    first, end = (float(f[0][0, 0]) for f in history(lambda t: 0.0, (last, 0.0), 0.5 * surplus * last).over(length))
    impulse, way = 0.5 * length * (first + end), length**2 * (2 * first + end) / 6
    assert impulse == pytest.approx(0.5 * surplus * last, rel=1e-12)
    assert way == pytest.approx(surplus * last**2 / 6 + 0.5 * surplus * last * length, rel=1e-12)


def test_after_a_long_step_a_short_one_makes_up_for_the_impulse():
    first, end = (float(f[0][0, 0]) for f in history(lambda t: 0.0, (1.0, 0.0), 2.0).over(1e-3))
    assert 0.5 * 1e-3 * (first + end) == pytest.approx(2.0, rel=1e-12) and abs(first) < 7 * 2.0 / 1e-3


def test_heat_that_was_not_expected_is_known_afterwards():
    heat = ExpectedHeat((np.array([2.0]),), (np.array([1.0]),))
    assert heat.over(4.0)[0] == 4.0
    assert heat.missed(4.0, (np.array([5.0]),))[0] == 4.0
    assert heat.followed_by(4.0, (np.array([6.0]),)).rate[0] == 1.0
