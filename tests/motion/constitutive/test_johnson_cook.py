"""The flow stress and the return to it: the published law, its floors, and the implicit equation."""
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from fieldsolve.motion.constitutive.johnson_cook import (
    MOLTEN_FLOOR,
    flow_stress,
    flow_stress_arrays,
    plastic_strain_increment,
    thermal_softening,
)
from tests.motion.sample_metal import COPPER

SHEAR = 43.7e9


def law(**changed):
    return flow_stress_arrays([replace(COPPER, **changed)], np.zeros(1, dtype=int))


def written_out(strain, rate, temperature, scale=1.0):
    homologous = min(max((temperature - 293.15) / (1356.0 - 293.15), 0.0), 1.0)
    return scale * (90e6 + 292e6 * strain**0.31) * (1 + 0.025 * np.log(max(rate, 1.0))) * (1 - homologous**1.09)


@pytest.mark.parametrize("state", [(0.1, 1.0, 293.15), (0.3, 2e4, 700.0), (1.2, 1e5, 1200.0), (0.05, 0.0, 250.0)])
def test_the_law_as_written(state):
    for scale in (1.0, 0.8):
        assert flow_stress(law(scale=scale), *map(np.array, zip(state)))[0] == pytest.approx(written_out(*state, scale), rel=1e-14)


def test_nothing_is_below_one_percent_of_a():
    molten = flow_stress(law(), np.array([0.5]), np.array([1e4]), np.array([2000.0]))[0]
    assert molten == pytest.approx(MOLTEN_FLOOR * 90e6 * (1 + 0.025 * np.log(1e4)), rel=1e-12)


def test_without_strain_the_stress_is_a_and_its_slope_finite():
    stress = flow_stress(law(), np.array([0.0, 1e-9]), np.zeros(2), np.full(2, 293.15))
    assert stress[0] == 90e6
    assert 0 < stress[1] - stress[0] < 1e-9 * 292e6 * 1e-6 ** (0.31 - 1) * (1 + 1e-9) + 1e-3


@pytest.mark.parametrize("duration", [1e-9, 4e-8, 1e-3, 10.0])
@pytest.mark.parametrize("temperature", [293.15, 1300.0, 2000.0])
def test_the_return_solves_its_equation(duration, temperature):
    """Against bisection, from guesses far off on both sides, from elastic to ten times the flow stress; at fast and at slow rates."""
    trial = np.concatenate([np.geomspace(1e3, 3e9, 60), 90e6 * (1 + np.geomspace(1e-9, 1e-1, 20))])
    strain, soft = 0.02, thermal_softening(law(), np.array([temperature]))
    for guess in (0.0, 1.0):
        found = plastic_strain_increment(law(), trial, np.array([3 * SHEAR]), np.full(80, strain), soft, duration, np.full(80, guess))
        floor = MOLTEN_FLOOR * 90e6 / (90e6 + 292e6 * (strain + duration) ** 0.31)

        def excess(increment, stress, floor=floor):
            factor = max(float(soft[0]), floor) * (1 + 0.025 * np.log(max(increment / duration, 1.0)))
            return stress - 3 * SHEAR * increment - factor * (90e6 + 292e6 * (strain + increment) ** 0.31)

        exact = [brentq(excess, 0.0, 1.0, (stress,), xtol=1e-18) if excess(0.0, stress) > 0 else 0.0 for stress in trial]
        assert found == pytest.approx(exact, rel=1e-9, abs=1e-15)


def test_a_point_below_the_flow_stress_stays_elastic():
    found = plastic_strain_increment(law(), np.array([89.9e6, 90.1e6]), np.array([3 * SHEAR]), np.zeros(2), np.ones(1), 1e-8, np.zeros(2))
    assert found[0] == 0.0
    assert found[1] > 0
