"""Impulses between turns: the complementarity problem they solve, against non-negative least squares of scipy."""
import numpy as np
import pytest
from scipy.optimize import nnls

from fieldsolve.motion.hoops.contact import Contacts, complementary


@pytest.mark.parametrize("seed", range(40))
def test_impulses_solve_the_complementarity_problem(seed):
    rng = np.random.default_rng(seed)
    rows = rng.normal(size=(rng.integers(1, 10), 12))
    matrix, missing = rows @ rows.T + 1e-9 * np.eye(len(rows)), rng.normal(size=len(rows))
    found = complementary(matrix, missing, likely=rng.random(len(rows)) < 0.5)
    surplus = matrix @ found - missing
    assert (found >= 0).all() and surplus.min() > -1e-9 and np.abs(found * surplus).max() < 1e-9 * max(found.max(), 1)
    lower = np.linalg.cholesky(matrix)
    assert found == pytest.approx(nnls(lower.T, np.linalg.solve(lower, missing))[0], rel=1e-6, abs=1e-9)


def test_turns_that_part_get_no_impulse():
    contacts = Contacts(np.array([[-1.0, 1.0]]), np.ones(2))
    for likely in (True, False):
        changes, press = contacts.velocity_changes(np.zeros(1), np.array([-1.0, 2.0]), np.array([likely]))
        assert not changes.any() and not press.any()


def test_turns_that_meet_go_on_together():
    """Masses of 1 and 3 kg: momentum is kept."""
    contacts, speeds = Contacts(np.array([[-1.0, 1.0]]), np.array([1.0, 1 / 3])), np.array([4.0, 0.0])
    changes, press = contacts.velocity_changes(np.zeros(1), speeds, np.array([False]))
    assert speeds + changes == pytest.approx([1.0, 1.0], rel=1e-9) and press.all()
