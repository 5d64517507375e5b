"""Rates of stages: what is expected of the next one."""
import numpy as np
import pytest

from fieldsolve.shot.integrator.stage_rates import StageRates

NODES = 0.3, 1.0


def rate(number, time):
    """A cubic in time, with an error of its own in each stage."""
    return np.array([1 + 2 * time - time**2 + 0.5 * time**3, 3 * time]) + number * np.array([0.4 - time, 0.2 * time**2])


def after(times, lengths, of=rate):
    rates = StageRates()
    for start, length in zip(times, lengths, strict=True):
        for number, node in enumerate(NODES):
            time = start + node * length
            rates = rates.followed_by(number, time, of(number, time), 2)
    return rates


def test_a_cubic_is_met_by_each_stage_though_the_stages_differ_and_the_steps_are_uneven():
    lengths = [0.1, 0.12, 0.09, 0.1, 0.11, 0.1]
    starts = np.cumsum([0.0, *lengths])
    rates = after(starts[:-1], lengths)
    for number, node in enumerate(NODES):
        time = starts[-1] + 0.1 * node
        assert rates.expected(number, time) == pytest.approx(rate(number, time), rel=1e-10)
        rates = rates.followed_by(number, time, rate(number, time), 2)


def test_what_the_stage_before_was_missed_by_is_added():
    def with_jump(number, time):
        return rate(number, time) + (5.0 if time > 0.6 else 0.0)
    rates = after(0.1 * np.arange(6), [0.1] * 6, with_jump)
    rates = rates.followed_by(0, 0.63, with_jump(0, 0.63), 2)
    assert rates.expected(1, 0.7) == pytest.approx(with_jump(1, 0.7), rel=1e-3)           # a jump of 5 in 2


def test_a_rejected_step_leaves_nothing_that_lies_ahead():
    accepted = after(0.1 * np.arange(6), [0.1] * 6)
    rejected = accepted.followed_by(1, 0.9, np.array([1e9, 1e9]), 2)
    again = rejected.followed_by(0, 0.63, rate(0, 0.63), 2)
    assert again.expected(1, 0.7) == pytest.approx(rate(1, 0.7), rel=2e-3)               # by one instant less: a parabola
    assert 0.9 not in [time for time, _ in again.followed_by(1, 0.7, rate(1, 0.7), 2).by_number[1]]


def test_rates_that_jump_about_are_not_extrapolated_by_a_high_degree():
    noise = np.random.default_rng(5)
    rates = StageRates()
    for k in range(30):
        rates = rates.followed_by(0, 0.1 * k, noise.normal(size=200), 200)
    assert rates.degree == 0


def test_nothing_is_expected_of_a_stage_that_was_never_solved():
    assert StageRates().expected(0, 1.0) is None
    assert after([0.0], [0.1]).expected(2, 1.0) is None
