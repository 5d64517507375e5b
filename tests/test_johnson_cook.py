"""The flow stress and the return to it: the published law, its floors, the implicit equation, and the path of one point of metal."""
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fieldsolve.motion.johnson_cook import MOLTEN_FLOOR, flow_of, flow_stress, plastic_strain_increment, softening
from tests.metal import COPPER

SHEAR = 43.7e9


def law(**changed):
    return flow_of([replace(COPPER, **changed)], np.zeros(1, dtype=int))


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
    strain, soft = 0.02, softening(law(), np.array([temperature]))
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


def test_adiabatic_path_of_one_point():
    """Uniaxial flow at 1e4 /s from the flow stress on: implicit steps, extrapolated, against the differential equations.

    s' = 3 G (e' - p'),   p' = exp((s/((A + B p^n)(1 - T*^m)) - 1)/C),   T' = 0.9 s p'/(density c)
    """
    rate, start, end, heat_capacity = 1e4, 0.1, 0.3, 8960 * 383.0

    def flow_rate(stress, strain, temperature):
        return np.exp((stress / written_out(strain, 0.0, temperature) - 1) / 0.025)

    def slopes(_, y):
        flowing = flow_rate(*y)
        return [3 * SHEAR * (rate - flowing), flowing, 0.9 * y[0] * flowing / heat_capacity]

    first = [written_out(start, rate, 400.0), start, 400.0]
    exact = solve_ivp(slopes, (0.0, (end - start) / rate), first, method="Radau", rtol=1e-13, atol=1e-13).y[:, -1]
    table = [stepped(first, rate, (end - start) / rate, 250 * 2**k, heat_capacity) for k in range(7)]
    for order in range(1, 7):
        table = [(2**order * fine - coarse) / (2**order - 1) for coarse, fine in pairwise(table)]
    assert table[-1] == pytest.approx(exact, rel=1e-10)


def stepped(first, rate, duration, steps, heat_capacity):
    """Stress, plastic strain and temperature after implicit steps of the return."""
    flow, dt = law(), duration / steps
    stress, strain, temperature, increment = *(np.array([value]) for value in first), np.array([rate * dt])
    for _ in range(steps):
        trial = stress + 3 * SHEAR * rate * dt
        increment = plastic_strain_increment(flow, trial, np.array([3 * SHEAR]), strain, softening(flow, temperature), dt, increment)
        before, stress, strain = stress, trial - 3 * SHEAR * increment, strain + increment
        temperature = temperature + 0.9 * 0.5 * (before + stress) * increment / heat_capacity
    return np.concatenate([stress, strain, temperature])
