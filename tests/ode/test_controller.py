"""The length of the next step, and counts of work."""
import math
from dataclasses import asdict

import numpy as np
import pytest

from fieldsolve.ode import SDIRK2, SDIRK3, StepController, WorkCounts, take_step

CONTROLLER = StepController(error_order=2, min_length=1e-9)


@pytest.mark.parametrize(("time", "due", "length", "ends"), [
    (0.0, 5.0, 1.0, False),             # there is room
    (2.9, 5.0, 1.0, False),
    (3.1, 5.0, 0.95, False),            # two even steps, not a long and a tiny one
    (4.0, 5.5, 0.75, False),
    (4.5, 5.0, 0.5, True),
    (4.0, 5.0, 1.0, True),
    (4.0 - 1e-13, 5.0, 1.0, True),      # a rest that is only rounding is no step
    (4.0 - 1e-6, 5.0, 0.5, False),
])
def test_a_step_is_fitted_to_what_comes_next(time, due, length, ends):
    fitted, reaches = CONTROLLER.fit(1.0, time, due)
    assert fitted == pytest.approx(length, rel=1e-5) and reaches is ends
    assert not reaches or time + fitted == due


def test_steps_from_event_to_event_end_on_each():
    time, ends, lengths = 0.0, [], []
    for due in (3.7, 4.0, 11.1):
        reaches = False
        while not reaches:
            length, reaches = CONTROLLER.fit(1.0, time, due)
            time += length
            lengths.append(length)
        ends.append(time)
    assert ends == pytest.approx([3.7, 4.0, 11.1]) and min(lengths) >= 0.3 - 1e-12 and max(lengths) <= 1.0


def test_a_step_is_taken_again_where_its_error_is_too_large():
    assert CONTROLLER.rejects(1.0, 1.001) and not CONTROLLER.rejects(1.0, 1.0) and not CONTROLLER.rejects(1.0, 0.5)
    assert not CONTROLLER.rejects(1e-10, 1e3) and not CONTROLLER.rejects(1e-9, 1e3) and CONTROLLER.rejects(1.1e-9, 1e3)


def test_a_fixed_length_is_kept_whatever_the_error():
    fixed = StepController(2, 1e-9, fixed_length=0.1)
    assert not fixed.rejects(0.1, 9.0) and fixed.fit(5.0, 0.0, 1.0) == (0.1, False) and fixed.fit(5.0, 0.95, 1.0)[1]
    assert fixed.next_length(0.05, 9.0) == fixed.next_length(0.05, 0.0) == 0.1


@pytest.mark.parametrize("order", [2, 3])
def test_the_next_length_brings_the_error_to_one_with_a_margin(order):
    """The error goes as the length to its order: at the new length it is the margin's power."""
    controller = StepController(order, 1e-9)
    for error in (0.1, 0.5, 1.0, 2.0, 5.0):
        ratio = controller.next_length(3e-6, error) / 3e-6
        assert error * ratio**order == pytest.approx(0.9**order)


def test_a_length_changes_by_no_more_than_its_limits():
    assert CONTROLLER.next_length(2.0, 1e9) == pytest.approx(0.4) and CONTROLLER.next_length(2.0, 0.0) == 8.0
    assert CONTROLLER.next_length(2.0, math.inf) == pytest.approx(0.4)


@pytest.mark.parametrize("method", [SDIRK2, SDIRK3], ids=lambda method: method.name)
def test_an_error_kept_below_its_tolerance(method):
    """y' = -50 (y - cos t) with steps as the controller chooses them: few are rejected, and the value stays near cos t."""
    tolerance, controller = 1e-4, StepController(method.error_order, 1e-9)
    time, length, y, accepted, rejected = 0.0, 1e-3, np.array([0.0]), 0, 0
    while time < 2.0:
        length, _ = controller.fit(length, time, 2.0)
        step = take_step(method, lambda t, base, g: -50 * (base - math.cos(t)) / (1 + 50 * g), time, y, length)
        error = abs(float(step.error[0])) / tolerance
        if controller.rejects(length, error):
            rejected += 1
        else:
            time, y, accepted = time + length, step.value, accepted + 1
        length = controller.next_length(length, error)
    exact = (2500 * math.cos(2.0) + 50 * math.sin(2.0)) / 2501
    assert y[0] == pytest.approx(exact, abs=20 * tolerance) and rejected <= 0.2 * accepted and accepted < 400


def test_counts_begin_at_zero_and_are_added():
    assert set(asdict(WorkCounts()).values()) == {0} and len(asdict(WorkCounts())) == 6
    counts = WorkCounts(steps=2, stages=5).plus(steps=1, rejected_steps=3).plus(stages=4)
    assert counts == WorkCounts(steps=3, rejected_steps=3, stages=9)
