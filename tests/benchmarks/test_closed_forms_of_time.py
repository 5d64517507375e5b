"""Closed forms of discharges and field steps against the reference figures, digit for digit; no solver here."""
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchmarks.cases import load
from benchmarks.closed_forms import discharge, steps

CASES = {**load("circuit.toml"), **load("transient.toml")}
ROUNDED = {"opposite_swing_ratio": 1.5e-5, "T2_over_T1": 2e-8, "peak_over_Ip": 5e-6, "T1_s": 1e-5, "T2_s": 3e-5}     # few digits printed


def assert_digits(name, found, digits=1e-11):
    expected = CASES[name].expected
    assert set(found) == set(expected)
    for quantity, value in found.items():
        assert value == pytest.approx(expected[quantity], rel=ROUNDED.get(quantity, digits)), quantity


def bank(name):
    setup = CASES[name].setup
    return discharge.SeriesDischarge(setup["capacitance_F"], setup["voltage_V"], setup["inductance_H"], setup["resistance_ohm"])


def test_ringing_bank():
    circuit = bank("underdamped-bank")
    (first, first_time), (second, second_time) = circuit.peak(), circuit.peak(1)
    assert_digits("underdamped-bank", {
        "decay_rate_per_s": circuit.decay_rate,
        "angular_frequency_rad_per_s": circuit.angular_frequency,
        "frequency_Hz": circuit.angular_frequency / (2 * math.pi),
        "peak_current_A": first, "peak_time_s": first_time, "second_peak_current_A": second, "second_peak_time_s": second_time,
        "current_at_probe_A": circuit.current(CASES["underdamped-bank"].setup["probe_time_s"]),
        "first_half_cycle_charge_C": circuit.charge(circuit.half_period),
        "first_half_cycle_action_A2s": circuit.action(circuit.half_period),
        "total_action_A2s": circuit.total_action,
    }, 1e-10)


@pytest.mark.parametrize("name", ["overdamped-bank", "critical-bank"])
def test_aperiodic_bank(name):
    peak, time = bank(name).peak()
    assert_digits(name, {"peak_current_A": peak, "peak_time_s": time})
    with pytest.raises(ValueError, match="one peak"):
        bank(name).peak(1)


@pytest.mark.parametrize("name", ["underdamped-bank", "overdamped-bank", "critical-bank"])
def test_a_discharge_obeys_its_equations(name):
    circuit = bank(name)
    solved = solve_ivp(lambda t, y: [(y[1] - circuit.resistance * y[0]) / circuit.inductance, -y[0] / circuit.capacitance, y[0] ** 2],
                       (0.0, 4e-4), [0.0, circuit.voltage, 0.0], method="DOP853", t_eval=np.linspace(1e-6, 4e-4, 30), rtol=1e-12, atol=1e-9)
    assert circuit.current(solved.t) == pytest.approx(solved.y[0], rel=1e-9, abs=1e-6)
    assert circuit.bank_voltage(solved.t) == pytest.approx(solved.y[1], rel=1e-9, abs=1e-7)
    assert circuit.action(solved.t) == pytest.approx(solved.y[2], rel=1e-9)
    assert circuit.charge(4e-4) == pytest.approx(circuit.capacitance * (circuit.voltage - solved.y[1, -1]), rel=1e-9)


def test_damping_next_to_critical_is_smooth():
    critical = bank("critical-bank")
    for share in (1 - 1e-9, 1 + 1e-9):
        near = discharge.SeriesDischarge(critical.capacitance, critical.voltage, critical.inductance, share * critical.resistance)
        assert near.current(3e-5) == pytest.approx(critical.current(3e-5), rel=1e-8)
        assert near.peak_time() == pytest.approx(critical.peak_time(), rel=1e-8)


def test_impulse_of_a_circuit():
    setup = CASES["impulse-8-20-rlc"].setup
    circuit = discharge.circuit_of_impulse(setup["T1_s"], setup["T2_s"], setup["capacitance_F"])
    natural = 1 / math.sqrt(circuit.inductance * circuit.capacitance)
    (peak, time), (swing, _) = circuit.peak(), circuit.peak(1)
    assert_digits("impulse-8-20-rlc", {
        "damping_ratio": circuit.decay_rate / natural, "natural_angular_frequency_rad_per_s": natural, "peak_time_s": time,
        "opposite_swing_ratio": -swing / peak, "inductance_H": circuit.inductance, "resistance_ohm": circuit.resistance,
        "peak_current_per_volt_A_per_V": peak,
    }, 1e-9)
    shape = discharge.impulse(circuit.current, time, circuit.half_period)
    assert (shape.front_time, shape.tail_time) == pytest.approx((setup["T1_s"], setup["T2_s"]), rel=1e-12)


def test_tail_to_front_ratio():
    shapes = [discharge.damped_impulse(ratio) for ratio in CASES["impulse-tail-to-front-ratio"].setup["damping_ratio"]]
    assert_digits("impulse-tail-to-front-ratio", {"T2_over_T1": [shape.tail_time / shape.front_time for shape in shapes]})


def test_cubic_impulse():
    shape = discharge.cubic_impulse(0.01243e18, CASES["impulse-8-20-cubic-exponential"].setup["tau_s"])
    assert_digits("impulse-8-20-cubic-exponential", {"peak_over_Ip": shape.peak, "T1_s": shape.front_time, "T2_s": shape.tail_time})


# --- arc ---------------------------------------------------------------------------------------------------------


def ringing_with_arc(voltage=1000.0, arc=40.0):
    return discharge.ArcDischarge(discharge.SeriesDischarge(120e-6, voltage, 0.55e-6, 6e-3), arc)


def test_an_arc_opposes_the_current_in_every_half_wave():
    """Against numerical integration of one half-wave after the other."""
    arc = ringing_with_arc()
    L, R, C, half = arc.circuit.inductance, arc.circuit.resistance, arc.circuit.capacitance, arc.circuit.half_period
    state, sign = [0.0, 1000.0], 1.0
    for number in range(len(arc.half_waves)):
        span = number * half, (number + 1) * half
        inside = np.linspace(*span, 12)[1:-1]
        solved = solve_ivp(lambda t, y, s=sign: [(y[1] - s * 40.0 - R * y[0]) / L, -y[0] / C], span, state, method="DOP853",
                           t_eval=[*inside, span[1]], rtol=1e-12, atol=1e-9)
        assert arc.current(inside) == pytest.approx(solved.y[0, :-1], rel=1e-9)
        assert arc.bank_voltage(solved.t) == pytest.approx(solved.y[1], rel=1e-9)
        assert solved.y[0, -1] == pytest.approx(0.0, abs=1e-5)
        assert np.abs(arc.current(np.linspace(*span, 4000))).max() == pytest.approx(abs(arc.peak(number)[0]), rel=1e-6)
        state, sign = [0.0, solved.y[1, -1]], -sign
    assert arc.residual_voltage == pytest.approx(state[1], rel=1e-9)
    assert abs(arc.residual_voltage) <= 40.0
    assert arc.current(arc.end_time * 1.01) == 0.0
    assert arc.bank_voltage(2 * arc.end_time) == arc.residual_voltage


def test_energy_of_an_arc_discharge():
    """What the bank loses is resistance times action, and the arc voltage times all charge passed either way."""
    arc = ringing_with_arc()
    circuit, half = arc.circuit, arc.circuit.half_period
    heat = sum(circuit.resistance * wave.action(half) + 40.0 * abs(wave.charge(half)) for wave in arc.half_waves)
    assert heat == pytest.approx(circuit.capacitance / 2 * (circuit.voltage**2 - arc.residual_voltage**2), rel=1e-12)


def test_an_arc_without_a_half_wave_and_one_that_never_ends():
    assert ringing_with_arc(voltage=39.0).half_waves == ()
    assert ringing_with_arc(voltage=39.0).residual_voltage == 39.0
    slow = discharge.ArcDischarge(discharge.SeriesDischarge(1e-4, 1e4, 1e-5, 1.0), 100.0)
    assert (len(slow.half_waves), slow.end_time, slow.residual_voltage) == (1, math.inf, 100.0)
    assert slow.bank_voltage(1.0) == pytest.approx(100.0)
    assert slow.peak()[0] == pytest.approx(0.99 * slow.circuit.peak()[0], rel=1e-12)


def test_mirrored_voltage_mirrors_the_discharge():
    t = np.linspace(0.0, 2e-4, 50)
    assert ringing_with_arc(-1000.0).current(t) == pytest.approx(-ringing_with_arc().current(t))


# --- steps -------------------------------------------------------------------------------------------------------


def test_step_at_a_cylinder():
    setup = CASES["cylinder-step"].setup
    assert_digits("cylinder-step", {
        "example_diffusion_time_s": steps.diffusion_time(setup["example_sigma_S_per_m"], setup["example_radius_m"]),
        "centre_B_over_B0": steps.cylinder_step_field(setup["T"], 0.0),
        "half_radius_B_over_B0": steps.cylinder_step_field(setup["T"], 0.5),
        "mean_B_over_B0": steps.cylinder_step_mean(setup["T"]),
    }, 1e-9)


def test_step_at_a_slab():
    T = CASES["slab-step"].setup["T"]
    assert_digits("slab-step", {"centre_B_over_B0": steps.slab_step_field(T), "mean_B_over_B0": steps.slab_step_mean(T)})


def test_step_at_a_half_space():
    assert_digits("half-space-step", {"B_over_B0": steps.half_space_step_field(CASES["half-space-step"].setup["u"])})


def test_step_at_a_sphere():
    assert_digits("solid-sphere-step", {"moment_ratio": steps.sphere_step_moment(CASES["solid-sphere-step"].setup["T"])})


def test_early_steps_are_those_of_a_half_space():
    """A slab's face before the far one is felt; with two faces the mean rises as 2 sqrt(T / pi)."""
    T, depth = 1e-3, 0.05
    assert steps.slab_step_field(T, 1 - depth) == pytest.approx(steps.half_space_step_field(depth / (2 * math.sqrt(T))), rel=1e-9)
    assert steps.slab_step_mean(T) == pytest.approx(2 * math.sqrt(T / math.pi), rel=1e-9)
    assert steps.cylinder_step_mean(T) == pytest.approx(4 * math.sqrt(T / math.pi) - T, rel=3e-4)         # T: the curvature
