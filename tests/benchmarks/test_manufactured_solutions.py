"""Manufactured solutions: the orders that theory expects, in space, in time, with heat and in moving metal; and that a fault is seen."""
import numpy as np
import pytest

from benchmarks.manufactured import problems, solution
from benchmarks.manufactured.orders import OFF_AXIS, cases
from benchmarks.manufactured.rectangle import SIDE
from benchmarks.manufactured.sources import interpolated_sources
from fieldsolve.motion.moving_mesh.flux_transport import FluxTransport
from fieldsolve.ode import SDIRK2
from fieldsolve.shot.integrator.heating import Heating

SLACK = 0.12            # by which an order may be below that of infinitely small cells
PLACES = {"axis": 0.0, "off-axis": OFF_AXIS}


def is_fast(case, place):
    """Every field in space; of those in time each method and each problem by one of the methods, at one of the places."""
    if case.halved == "cells and steps":
        return "SDIRK2" in case.title and place == ("off-axis" if case.title.startswith("held, two metals") else "axis")
    return case.halved == "cells" or place == "axis"


@pytest.mark.parametrize(("case", "inner_radius"), [
    pytest.param(case, PLACES[place], id=f"{case.title}-{place}", marks=() if is_fast(case, place) else pytest.mark.slow)
    for case in cases() for place in PLACES])
def test_order(case, inner_radius):
    last = case.orders(inner_radius)[-1]
    expected = {"u": case.u, "B": case.B} | ({} if case.heat is None else {"heat": case.heat})
    assert last.keys() == expected.keys()
    assert {name: order for name, order in last.items() if not order > expected[name] - SLACK} == {}


def orders_of(solve):
    coarse, fine = (solve(0.0, SDIRK2, n, n) for n in (8, 16))
    return {name: np.log2(vars(coarse)[name] / vars(fine)[name]) for name in vars(coarse) if vars(coarse)[name] is not None}


def test_without_transport_of_the_flux_the_order_is_lost(monkeypatch):
    monkeypatch.setattr(FluxTransport, "flux_ratio", lambda self, before, after: np.ones(len(before)))
    assert orders_of(problems.moving_errors)["u"] < 0.5


def test_with_cold_conductivity_the_order_is_lost(monkeypatch):
    monkeypatch.setattr(Heating, "conductivity_after", lambda self, energy: self.cold_conductivity.copy())
    assert orders_of(problems.heated_errors)["heat"] < 0.5


@pytest.mark.parametrize("time", [0.3e-3, 2.7e-3, 5e-3])
@pytest.mark.parametrize(("r", "z"), [(0.0, 0.004), (0.3, 0.7), (0.8, 0.2)])
def test_the_prescribed_functions_are_consistent(time, r, z):
    """Derivatives written out by hand against differences."""
    r, z = np.array([r * SIDE]), np.array([z * SIDE])
    step, nu = 1e-6 * SIDE, solution.smooth_reluctivity(1.0)

    def H(r, z):
        B_r, B_z = solution.flux_density(r, z)
        return nu.value(r, z) * B_r, nu.value(r, z) * B_z
    curl = (H(r, z + step)[0] - H(r, z - step)[0] - H(r + step, z)[1] + H(r - step, z)[1]) / (2 * step)
    assert solution.curl_of_field(nu, r, z) == pytest.approx(curl, rel=1e-6, abs=1e-6 * solution.AMPLITUDE / SIDE)

    def psi(at):        # r^2 u of the metal that is at (r, z) at `time`
        s = solution.stretch(at) / solution.stretch(time)
        return (r * s) ** 2 * solution.shape(r * s, z / s**2)[0] * solution.growth(at)
    h = 1e-5 * time
    induced = -(psi(time + h) - psi(time - h)) / (2 * h) / np.where(r > 0, r, 1.0)
    assert solution.electric_field(r, z, time, moves=True) == pytest.approx(induced, rel=1e-6, abs=1e-9)
    heat_rate = (problems.HEATED.enthalpy(r, z, time + h) - problems.HEATED.enthalpy(r, z, time - h)) / (2 * h)
    E = solution.electric_field(r, z, time, moves=False)
    assert heat_rate == pytest.approx(problems.HEATED.hot_conductivity(r, z, time) * E**2, rel=1e-6, abs=1e-6)


def test_a_load_between_its_instants():
    sources = interpolated_sources(lambda time: np.array([1.0, np.cos(1e3 * time)]), 5e-3)
    assert sources.loads @ sources.weights(1.234e-3).ravel() == pytest.approx([1.0, np.cos(1.234)], rel=1e-10)
