"""The group of flowing metal: closed forms against what is known of them, no case left out, and every one comes out."""
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchmarks import flow, tables
from benchmarks.cases import load
from benchmarks.closed_forms import plasticity

CASES = load("flow.toml")
SLOW = ("thin-can-collapse", "washer-first-yield")


def test_every_case_has_a_recipe():
    assert set(flow.FIELDS) | set(flow.FORMULAS) == set(CASES)


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow if name in SLOW else ()) for name in CASES])
def test_cases(name):
    found = list(flow.checks([name]))
    assert {check.quantity for check in found} == set(CASES[name].quantities)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


@pytest.mark.parametrize(("poisson", "root", "within"), [(0.0, 1.8411837813406593, 1e-12), (0.31, 2.05, 2.5e-3),
                                                         (1.0, 2.404825557695773, 1e-12)])
def test_root_of_the_free_disc(poisson, root, within):
    """First zeros of J1' and of J0 at the ends (NIST Digital Library of Mathematical Functions, table 10.21); 2.05 at nu = 0.31 in the IRE
    Standards on Piezoelectric Crystals (1961), from memory."""
    assert plasticity.free_disc_root(poisson) == pytest.approx(root, rel=within)


@pytest.mark.parametrize("name", ["plastic-ring-constant-pressure", "thin-can-collapse"])
def test_the_ring_obeys_its_equation_of_motion(name):
    """rho r'' = p L_0 (r_0/r)^(1/2)/(L_0 h_0) r/r_0 - Y/r (signs as it moves), integrated, against the first integral."""
    setup, expected = CASES[name].setup, CASES[name].expected
    keys = "radius_m", "thickness_m", "height_m", "density_kg_per_m3", "flow_stress_Pa", "pressure_Pa"
    ring = plasticity.RigidPlasticRing(*(setup[key] for key in keys))
    way = math.copysign(1.0, ring.pressure)

    def slopes(_, state):
        r, v = state
        push = ring.pressure * r * math.sqrt(ring.radius / r) / (ring.radius * ring.thickness)
        return [v, (push - way * ring.flow_stress / r) / ring.density]

    def ends(_, state):
        return state[0] - setup["between_radii_m"][1]

    ends.terminal = True
    run = solve_ivp(slopes, (0, 1e-3), [ring.radius, 0.0], events=ends, dense_output=True, method="DOP853", rtol=1e-12, atol=1e-15)
    start = np.interp(0.0, *np.array([way * (run.y[0] - setup["between_radii_m"][0]), run.t]))
    for _ in range(20):                                  # Newton's method on the dense output
        r, v = run.sol(start)
        start -= (r - setup["between_radii_m"][0]) / v
    assert run.t[-1] - start == pytest.approx(expected["time_between_s"], rel=1e-8)
    assert abs(run.y[1, -1]) == pytest.approx(ring.speed(setup["between_radii_m"][1]), rel=1e-8)
    assert [ring.speed(radius) for radius in setup["at_radius_m"]] == pytest.approx(expected["speed_m_per_s"], rel=1e-12)
    assert ring.time_between(*setup["between_radii_m"]) == pytest.approx(expected["time_between_s"], rel=1e-9)


def test_yield_pressures_of_lame():
    """Hoop stress at the bore of a washer under rim pressure: -2 p/(1 - k^2); without a hole it doubles that of the solid disc."""
    assert plasticity.disc_yield_pressure(1.0) == CASES["disc-first-yield"].expected["first_yield_over_flow_stress"]
    expected = CASES["washer-first-yield"].expected["first_yield_over_flow_stress"]
    assert plasticity.washer_yield_pressure(1.0, 1 / 3) == pytest.approx(expected, rel=1e-12)
    assert plasticity.washer_yield_pressure(1.0, 1e-9) == pytest.approx(0.5)


@pytest.mark.parametrize(("name", "law"), [("johnson-cook-adiabatic-path", plasticity.johnson_cook),
                                           ("zerilli-armstrong-copper-adiabatic-path", plasticity.zerilli_armstrong),
                                           ("zerilli-armstrong-iron-adiabatic-path", plasticity.zerilli_armstrong)])
def test_the_adiabatic_path_of_the_reference(name, law):
    setup, expected = CASES[name].setup, CASES[name].expected
    path = plasticity.adiabatic_path(law(setup), *(setup[key] for key in ("shear_modulus_Pa", "heat_per_kelvin_J_per_m3_K", "heat_share",
                                                                          "rate_per_s", "strain", "temperature_K")))
    assert path == pytest.approx(list(expected.values()), rel=1e-11)
    slow = law(setup).stress(0.2, 3e3, 350.0)
    assert law(setup).rate(slow, 0.2, 350.0) == pytest.approx(3e3, rel=1e-9)


def test_figures_of_the_free_disc():
    setup, expected = CASES["free-disc-radial-swing"].setup, CASES["free-disc-radial-swing"].expected
    keys = "radius_m", "youngs_modulus_Pa", "poissons_ratio", "density_kg_per_m3"
    assert plasticity.free_disc_frequency(*(setup[key] for key in keys)) == pytest.approx(expected["frequency_Hz"], rel=1e-12)
