"""The return to the flow stress: its implicit equation for every law, what molten metal keeps, cells that obey different laws."""
import numpy as np
import pytest
from scipy.optimize import brentq

import fieldsolve as fs
from fieldsolve.errors import SolveError
from fieldsolve.materials.flow_stress.cells import law_of_cells
from fieldsolve.motion.constitutive import return_mapping
from fieldsolve.motion.constitutive.return_mapping import MOLTEN_FLOOR, plastic_strain_increment
from tests.motion.sample_metal import COPPER, ZERILLI_COPPER, ZERILLI_IRON, SquareRoot

SHEAR = 43.7e9
LAWS = {"johnson-cook": COPPER, "zerilli-armstrong copper": ZERILLI_COPPER, "zerilli-armstrong iron": ZERILLI_IRON}
ONE_CELL = np.zeros(1, dtype=int)


def returned(law, trial, strain, temperature, duration, guess):
    """Increments of one cell's points, whose trial stresses are given."""
    law = law_of_cells([law], ONE_CELL)
    column = trial[:, None]
    found = plastic_strain_increment(law, column, np.array([3 * SHEAR]), np.full(column.shape, strain),
                                     law.thermal_softening(np.array([temperature])), duration, np.full(column.shape, guess))
    return found[:, 0]


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@pytest.mark.parametrize("duration", [1e-9, 4e-8, 1e-3, 10.0])
@pytest.mark.parametrize("temperature", [293.15, 1300.0, 2000.0])
def test_the_return_solves_its_equation(law, duration, temperature):
    """Against bisection, from guesses far off on both sides, from elastic to ten times the flow stress; at fast and at slow rates."""
    trial = np.concatenate([np.geomspace(1e3, 3e9, 60), 90e6 * (1 + np.geomspace(1e-9, 1e-1, 20))])
    strain, floor = 0.02, MOLTEN_FLOOR * law.initial_stress

    def excess(increment, stress):
        return stress - 3 * SHEAR * increment - max(law.flow_stress(strain + increment, increment / duration, temperature), floor)

    exact = [brentq(excess, 0.0, 1.0, (stress,), xtol=1e-18) if excess(0.0, stress) > 0 else 0.0 for stress in trial]
    for guess in (0.0, 1.0):
        assert returned(law, trial, strain, temperature, duration, guess) == pytest.approx(exact, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_molten_metal_keeps_one_percent_of_its_initial_stress(law):
    increment = returned(law, np.array([1e9]), 0.5, 2000.0, 1e-8, 0.0)
    assert 1e9 - 3 * SHEAR * increment[0] == pytest.approx(0.01 * law.initial_stress, rel=1e-6)


def test_a_point_below_the_flow_stress_stays_elastic():
    found = returned(COPPER, np.array([89.9e6, 90.1e6]), 0.0, 293.15, 1e-8, 0.0)
    assert found[0] == 0.0
    assert found[1] > 0


def test_an_iteration_that_does_not_converge_is_an_error(monkeypatch):
    monkeypatch.setattr(return_mapping, "ITERATIONS", 1)
    with pytest.raises(SolveError, match="did not converge in 1 iterations"):
        returned(COPPER, np.array([1e9]), 0.0, 293.15, 1e-8, 0.0)


def test_cells_of_different_laws_return_each_by_its_own():
    laws, zone = [COPPER, ZERILLI_COPPER, ZERILLI_IRON], np.array([2, 0, 1, 0, 2, 1])
    mixed, trial = law_of_cells(laws, zone), np.linspace(50e6, 2e9, 24).reshape(4, 6)
    temperature, strain, stiffness = np.linspace(250.0, 2000.0, 6), np.full((4, 6), 0.02), np.full(6, 3 * SHEAR)
    together = plastic_strain_increment(mixed, trial, stiffness, strain, mixed.thermal_softening(temperature), 1e-8, np.zeros((4, 6)))
    for cell, number in enumerate(zone):
        alone = returned(laws[number], trial[:, cell], 0.02, temperature[cell], 1e-8, 0.0)
        assert together[:, cell] == pytest.approx(alone, rel=1e-9, abs=1e-15)


def test_a_law_of_the_caller_needs_nothing_but_the_contract():
    """A power law that knows neither rate nor temperature: trial - 3 G d = K (e + d)^(1/2) is a quadratic equation."""
    law = law_of_cells([SquareRoot(400e6)], ONE_CELL)
    trial, strain, k = np.array([[800e6]]), np.array([[0.04]]), 400e6
    found = plastic_strain_increment(law, trial, np.array([3 * SHEAR]), strain, law.thermal_softening(np.array([300.0])), 1e-8,
                                     np.zeros((1, 1)))[0, 0]
    root = np.roots([3 * SHEAR, k, -(trial[0, 0] + 3 * SHEAR * strain[0, 0])]).max()           # of x = (e + d)^(1/2)
    assert found == pytest.approx(root**2 - strain[0, 0], rel=1e-9)
    assert fs.Mechanical(8940.0, 117e9, 0.34, SquareRoot(400e6), (0.3, 0.5)).flow_stress.hardening == 400e6

