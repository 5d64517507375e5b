"""Sensitivity indices, held against the Ishigami function's closed form, and against scipy's."""
import inspect
import math

import numpy as np
import pytest

from fieldsolve.propagation.indices import columns_of, fit_quadratic, sobol_indices

A, B = 7.0, 0.1


def ishigami(x):
    """T. Ishigami, T. Homma, Proc. ISUMA '90, 398 (1990):  sin x1 + a sin^2 x2 + b x3^4 sin x1."""
    return (np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0]))[:, None]


def closed_form():
    """Its indices: of first order 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437."""
    first = 0.5 * (1 + B * math.pi**4 / 5) ** 2
    both = B**2 * math.pi**8 * (1 / 18 - 1 / 50)
    variance = first + A**2 / 8 + both
    return np.array([first, A**2 / 8, 0.0]) / variance, np.array([first + both, A**2 / 8, both]) / variance


def samples(count, inputs, seed=0):
    return np.random.default_rng(seed).uniform(-math.pi, math.pi, (2, count, inputs))


def test_the_closed_form_is_the_published_one():
    first, total = closed_form()
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5) and total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


def test_ishigami():
    found = sobol_indices(ishigami, *samples(2**17, 3), columns_of([1, 1, 1]))
    first, total = closed_form()
    assert found.first_order[:, 0] == pytest.approx(first, abs=0.015) and found.total[:, 0] == pytest.approx(total, abs=0.015)


def test_a_group_is_exchanged_as_one():
    found = sobol_indices(ishigami, *samples(2**17, 3), [[0, 2], [1]])
    first = closed_form()[0]
    assert found.first_order[:, 0] == pytest.approx([1 - first[1], first[1]], abs=0.015)         # x1 with x3 has all that x2 has not
    assert found.total[:, 0] == pytest.approx([1 - first[1], first[1]], abs=0.015)


def test_scipy_finds_the_same():
    from scipy.stats import sobol_indices as of_scipy
    from scipy.stats import uniform

    generator = "rng" if "rng" in inspect.signature(of_scipy).parameters else "random_state"                # before scipy 1.15
    theirs = of_scipy(func=lambda x: ishigami(x.T).T, n=2**14, dists=[uniform(-math.pi, 2 * math.pi)] * 3,
                      **{generator: np.random.default_rng(1)})
    ours = sobol_indices(ishigami, *samples(2**17, 3), columns_of([1, 1, 1]))
    assert ours.first_order[:, 0] == pytest.approx(theirs.first_order.ravel(), abs=0.02)
    assert ours.total[:, 0] == pytest.approx(theirs.total_order.ravel(), abs=0.02)


def test_a_constant_output_has_no_indices():
    found = sobol_indices(lambda x: np.ones((len(x), 1)), *samples(64, 2), columns_of([1, 1]))
    assert not found.first_order.any() and not found.total.any()


def test_a_quadratic_is_fitted_exactly_and_the_rest_of_another_is_unexplained():
    x = np.random.default_rng(0).normal([1.0, 5e-6], [0.1, 1e-6], (500, 2))
    y = np.column_stack([3 + x[:, 0] ** 2 - 4e5 * x[:, 0] * x[:, 1], np.sin(40 * x[:, 0])])
    response = fit_quadratic(x, y)
    assert response(x)[:, 0] == pytest.approx(y[:, 0], rel=1e-9)
    assert response.unexplained[0] < 1e-12 and response.unexplained[1] > 0.1


def test_an_input_alone_explains_no_more_than_all():
    """The estimates are off by some tenths of a percent, upwards too."""
    for seed in range(3):
        samples = np.random.default_rng(seed).uniform(-1.0, 1.0, (2, 2048, 1))
        found = sobol_indices(lambda x: np.hstack([3 * x, x**2]), *samples, [[0]])
        assert (found.total <= 1.0).all() and (found.first_order <= 1.0).all() and found.total.min() > 0.9
