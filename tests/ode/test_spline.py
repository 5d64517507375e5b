"""The spline through a series."""
import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from fieldsolve.ode.spline import cubic_spline


@pytest.mark.parametrize("count", [4, 5, 60])
def test_it_is_that_of_scipy(count):
    rng = np.random.default_rng(count)
    x, y = np.cumsum(rng.uniform(0.01, 1.0, count)), rng.normal(size=count)
    at = np.concatenate([np.linspace(x[0], x[-1], 301), x])
    assert cubic_spline(x, y, at) == pytest.approx(CubicSpline(x, y)(at), rel=1e-10, abs=1e-10)


def test_a_cubic_is_its_own_spline():
    x = np.array([0.0, 0.1, 0.5, 0.6, 2.0])
    assert cubic_spline(x, x**3 - x, np.array([0.3, 1.7])) == pytest.approx([0.3**3 - 0.3, 1.7**3 - 1.7])
