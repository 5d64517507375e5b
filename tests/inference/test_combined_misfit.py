"""Misfit of several records together: Fisher's sum, and what a calibration says of it."""
import math

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.inference.statistics.misfit import LEVEL


def alone(p_value):
    return fs.MisfitTest(p_value=p_value, current=1e-3, motion=0.1)


def test_one_record_says_what_it_said():
    assert fs.combined_misfit([alone(0.37)]) == pytest.approx(0.37, rel=1e-12)


def test_two_records_follow_the_closed_form():
    """P(p1 p2 <= w) = w (1 - ln w) for two numbers that are evenly spread from 0 to 1."""
    product = 0.2 * 0.03
    assert fs.combined_misfit([alone(0.2), alone(0.03)]) == pytest.approx(product * (1 - math.log(product)), rel=1e-12)


def test_right_models_are_accused_as_often_as_the_level_says():
    draws = np.random.default_rng(2).uniform(size=(4000, 10))
    accused = np.mean([fs.combined_misfit(map(alone, row)) < LEVEL for row in draws])
    assert accused == pytest.approx(LEVEL, abs=3 * math.sqrt(LEVEL / len(draws)))


def test_no_record_is_no_test():
    with pytest.raises(ValueError, match="give the misfit of each record"):
        fs.combined_misfit([])
