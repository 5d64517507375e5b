"""Posteriors of several records put together, against the closed form of independent normal measurements."""
from types import SimpleNamespace

import numpy as np
import pytest

from fieldsolve.inference.calibration.joint import join
from fieldsolve.inference.statistics.discrepancy import MOTION_SIZES
from fieldsolve.inference.statistics.posterior import condition

DEVIATIONS = np.array([0.5, 0.4])           # of what each record tells of its two parameters
ROW = np.array([[1.0, 0.0, 0.3], [0.0, 1.0, 0.0]])          # the last unknown is an error of the motion, which the first hides


def fit_of(values):
    """What stands for the fit of a record that measures both parameters, the first with an error of the motion."""
    def posterior(size):
        return condition(ROW, np.asarray(values), DEVIATIONS**2, np.array([1.0, 1.0, size]))
    return SimpleNamespace(by_motion=tuple(posterior(size) for size in MOTION_SIZES), nearest=posterior(0.0), posterior=posterior(0.1),
                           observation=SimpleNamespace(parameters=(1, 2), motion=slice(2, 3)),
                           shares=np.ones(1), sizes=(SimpleNamespace(current=1e-3),))


def test_records_together_are_all_their_data_at_once():
    data = [(0.3, -0.2), (0.5, 0.1), (0.1, -0.4)]
    found = join([fit_of(values) for values in data], 2)
    stacked, values, spread = np.vstack([ROW] * 3), np.ravel(data), np.tile(DEVIATIONS**2, 3)
    parts = [condition(stacked, values, spread, np.array([1.0, 1.0, size])) for size in MOTION_SIZES]
    weights = np.exp([part.evidence for part in parts])
    weights /= weights.sum()
    assert found.mean == pytest.approx(sum(weight * part.mean for weight, part in zip(weights, parts, strict=True)))
    assert found.nearest == pytest.approx(condition(stacked, values, spread, np.array([1.0, 1.0, 0.0])).mean[:2])
    assert found.disagreement == pytest.approx(1.0, rel=1e-12)
    within = sum(weight * part.covariance for weight, part in zip(weights, parts, strict=True))
    assert np.all(np.diag(found.covariance) >= np.diag(within) - 1e-12)
    assert np.diag(found.covariance) == pytest.approx(np.diag(within), rel=0.05)


def test_records_that_lie_apart_widen_what_they_say():
    apart = join([fit_of((1.5, 1.2)), fit_of((-1.5, -1.2))], 2)
    assert apart.disagreement > 1.5
    assert apart.covariance[1, 1] == pytest.approx(apart.disagreement**2 / (1 + 2 / DEVIATIONS[1] ** 2), rel=0.05)
