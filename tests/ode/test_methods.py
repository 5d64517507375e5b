"""Methods in time: rules of a tableau, orders on an equation with a known solution and on a held shot, damping, counts."""
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.ode import SDIRK2, SDIRK3, TR_BDF2, take_step
from geometries.mesher import mesh_section

METHODS = (SDIRK2, TR_BDF2, SDIRK3)


def integrate(method, end, steps, rate=lambda t, y: -2 * t * y, slope=lambda t: -2 * t, y=1.0):
    """y' = slope(t) y from y to `end`; its stages are solved exactly."""
    time, h, k = 0.0, end / steps, np.array([rate(0.0, y)])
    value = np.array([y])
    for _ in range(steps):
        step = take_step(method, lambda t, base, g: slope(t) * base / (1 - g * slope(t)), time, value, h, k)
        time, value, k = time + h, step.value, step.derivatives[-1]
    return float(value[0]), step


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_order(method):
    """y' = -2 t y has the solution exp(-t^2)."""
    errors = [abs(integrate(method, 1.0, steps)[0] - math.exp(-1.0)) for steps in (20, 40, 80)]
    assert np.log2(errors[0] / errors[1]) == pytest.approx(method.order, abs=0.15)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(method.order, abs=0.1)


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_the_embedded_error_has_the_order_that_the_controller_assumes(method):
    def embedded(h):
        step = take_step(method, lambda t, base, g: -2 * t * base / (1 + 2 * g * t), 0.5, np.array([1.0]), h, np.array([-1.0]))
        return abs(float(step.error[0]))
    assert np.log2(embedded(0.02) / embedded(0.01)) == pytest.approx(method.error_order, abs=0.2)


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_what_decays_at_once_does_not_ring(method):
    """L-stable: of y' = -1e8 y nothing is left after one step."""
    step = take_step(method, lambda t, base, g: -1e8 * base / (1 + 1e8 * g), 0.0, np.array([1.0]), 1.0, np.array([-1e8]))
    assert abs(float(step.value[0])) < 1e-6


def conditions(A, b, c):
    """What is left of the conditions up to order 3, by order: sums of b, b c, b c^2 and b A c are 1, 1/2, 1/3 and 1/6."""
    A, b, c = np.array(A), np.array(b), np.array(c)
    return {1: abs(b.sum() - 1), 2: abs(b @ c - 1 / 2), 3: max(abs(b @ c**2 - 1 / 3), abs(b @ A @ c - 1 / 6))}


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_order_conditions(method):
    """E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, section IV.6; of the method and of the embedded formula."""
    for weights, order in ((method.b, method.order), (method.b_embedded, method.embedded_order)):
        left = conditions(method.A, weights, method.c)
        assert all(left[each] < 1e-14 for each in range(1, order + 1)) and (order == 3 or left[order + 1] > 1e-3)
    assert method.first_stage_is_explicit is (method is TR_BDF2) and method.gamma == method.A[-1][-1] > 0


@pytest.mark.parametrize(("change", "rule"), [
    ({"b": (0.5, 0.5)}, "last row must be b"), ({"c": (0.3, 0.9)}, "last node 1"), ({"b_embedded": (0.5, 0.4)}, "sum to 1"),
    ({"b_embedded": SDIRK2.b}, "must differ"),
    ({"A": ((SDIRK2.gamma, 0.1), SDIRK2.b)}, "lower triangular"), ({"A": ((0.2, 0.0), SDIRK2.b)}, "diagonal must be one positive number"),
    ({"c": (0.3, 1.0)}, "each row must sum to its node"),
    ({"A": ((0.0, 0.0), (1.0, 0.0)), "b": (1.0, 0.0), "c": (0.0, 1.0), "b_embedded": (0.0, 1.0)}, "diagonal must be one positive number"),
    ({"A": ((-0.5, 0.0), (1.5, -0.5)), "b": (1.5, -0.5), "c": (-0.5, 1.0)}, "diagonal must be one positive number"),
    ({"A": ((0.3, 0.0, 0.0), (0.1, 0.2, 0.0), (0.4, 0.3, 0.3)), "b": (0.4, 0.3, 0.3), "c": (0.3, 0.3, 1.0), "b_embedded": (1.0, 0.0, 0.0)},
     "diagonal must be one positive number"),
])
def test_a_tableau_that_breaks_a_rule_is_refused(change, rule):
    with pytest.raises(ValueError, match=f"tableau 'SDIRK2': .*{rule}"):
        replace(SDIRK2, **change)


@pytest.fixture(scope="module")
def held_shots():
    """Currents and bank voltage at the end of shots of 20 us with the metal held, by method and number of equal steps."""
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    section = geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))])
    bank = fs.Bank(capacitance=120e-6, voltage=6.5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
    mesh = mesh_section(section)

    @cache
    def end(method, steps):
        shot = fs.solve_shot(section, bank, end_time=20e-6, motion=False, mesh=mesh, step=20e-6 / steps, method=method)
        assert shot.method == method.name and shot.work.steps == steps
        return np.array([shot.series("current", "coil")[-1], shot.series("current", "disc")[-1], shot.series("voltage", "bank")[-1]])
    return end


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.name)
def test_order_in_a_held_shot_that_heats(method, held_shots):
    exact = held_shots(SDIRK3, 80)
    coarse, fine = (np.abs(held_shots(method, steps) / exact - 1) for steps in (10, 20))
    assert (np.log2(coarse / fine) > method.order - 0.25).all()


def test_a_shot_counts_its_work():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    shot = fs.solve_shot(geo.CrossSection([coil]), fs.Bank(capacitance=120e-6, voltage=1e3), end_time=10e-6, motion=False, heating=False,
                         accuracy=3e-2)
    work = shot.work
    assert work.steps == shot.steps == len(shot.times) - 1
    assert work.stages >= 2 * (work.steps + work.rejected_steps)
    assert 1 <= work.factorizations < work.stages                   # a factor serves all steps of like length
    assert work.mechanics_passes == work.remeshes == 0
