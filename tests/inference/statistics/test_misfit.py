"""The test of misfit: its probabilities are even where the model is right, and it tells errors of the size that it says."""
import numpy as np
import pytest

from fieldsolve.inference.statistics.discrepancy import CurrentModes, covariance
from fieldsolve.inference.statistics.misfit import misfit_test
from fieldsolve.inference.statistics.posterior import ErringTrace, LinearData

COUNT, LENGTH = 100, 0.1
TIMES = np.linspace(0.0, 1.0, COUNT)
JACOBIAN = np.column_stack([np.sin(TIMES), np.cos(TIMES), 0.05 * np.sin(7 * TIMES), 0.05 * np.sin(9 * TIMES)])
MOTION = slice(2, 4)
NOISE = 0.01
VARIANCES, MODES = np.linalg.eigh(covariance(TIMES, LENGTH))
TRACE = ErringTrace(0, 1.0, {LENGTH: CurrentModes(MODES, np.maximum(VARIANCES, 0.0))})


def p_value(rng, current=0.0, motion=0.0):
    unknowns = rng.normal(size=4) * [1.0, 1.0, motion, motion]
    error = current * MODES @ (np.sqrt(np.maximum(VARIANCES, 0.0)) * rng.normal(size=COUNT))
    data = JACOBIAN @ unknowns + error + rng.normal(0, NOISE, COUNT)
    return misfit_test(LinearData(JACOBIAN, data, np.full(COUNT, NOISE**2), NOISE, (TRACE,)), MOTION, LENGTH)


def test_probabilities_are_even_where_the_model_is_right():
    rng = np.random.default_rng(1)
    values = np.sort([p_value(rng).p_value for _ in range(60)])
    assert np.abs(values - np.linspace(0, 1, 60)).max() < 1.63 / 60**0.5           # Kolmogorov and Smirnov, 1 %


@pytest.mark.parametrize("family", ["current", "motion"])
def test_an_error_of_the_size_it_says_is_shown_in_every_second_case(family):
    rng = np.random.default_rng(2)
    size = getattr(p_value(rng), family)
    shown = [p_value(rng, **{family: size}).contradicts for _ in range(50)]
    assert 0.3 < np.mean(shown) < 0.7
    assert np.mean([p_value(rng, **{family: 10 * size}).contradicts for _ in range(20)]) > 0.8


def test_no_error_of_a_family_without_effect_is_ever_seen():
    linear = LinearData(JACOBIAN[:, :2], np.zeros(COUNT), np.full(COUNT, NOISE**2), NOISE, (TRACE,))
    assert misfit_test(linear, slice(2, 2), LENGTH).motion == np.inf
