"""The iterative solver of the complex system: exact on small matrices, and few steps where the eigenvalues are near together."""
import numpy as np
import pytest

from fieldsolve.field.harmonic.gmres import MOST_STEPS, TOLERANCE, minimize_residual


def test_it_solves_a_full_matrix_with_any_preconditioner():
    rng = np.random.default_rng(1)
    matrix, right = np.eye(40) + 0.1 * rng.normal(size=(40, 40)), rng.normal(size=40)
    for weights in (np.ones(40), rng.uniform(0.5, 2.0, 40)):
        found = minimize_residual(lambda x: matrix @ x, lambda b, weights=weights: weights * b, right)
        assert found == pytest.approx(np.linalg.solve(matrix, right), rel=1e-9)


def test_it_takes_few_steps_where_the_eigenvalues_are_between_a_half_and_one():
    diagonal, right, steps = np.linspace(0.5, 1.0, 500), np.ones(500), []

    def product(x):
        steps.append(x)
        return diagonal * x

    found = minimize_residual(product, lambda b: b, right)
    assert np.linalg.norm(diagonal * found - right) <= 2 * TOLERANCE * np.linalg.norm(right)
    assert len(steps) < 25 < MOST_STEPS
