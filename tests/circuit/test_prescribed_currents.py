"""Prescribed currents: the rows of their network against the equations written out, the rate at corners, scales, bad input."""
import math

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.circuit.equations import NO_LEADS, Switches
from fieldsolve.circuit.prescribed_currents import PrescribedCurrentNetwork, increasing_times
from fieldsolve.errors import InputError
from fieldsolve.ode import SDIRK3, take_step

END = 40e-6
SWITCHES = Switches((), ())
TABLE = ([0.0, 10e-6, 20e-6], [0.0, 30e3, 10e3])
RESISTANCE = {"coil": 12e-3, "ring": 3e-3}
INDUCTANCE = 2e-6                   # of the coil, far from the ring


def sine(time):
    return 50e3 * math.sin(2e5 * time + 0.3)


def network(end_time=END, **currents):
    return PrescribedCurrentNetwork(fs.PrescribedCurrents(currents), end_time)


def integrate(circuit, x, steps, end=END):
    """x at the end of equal steps, the coil's induced voltage that of a constant inductance."""
    for k in range(steps):
        def solve_stage(time, base, g):
            E, A, b = circuit.matrices(SWITCHES, RESISTANCE, time)
            E[0, 0] += INDUCTANCE
            return np.linalg.solve(E + g * A, b - A @ base)
        x = take_step(SDIRK3, solve_stage, k * end / steps, x, end / steps).value
    return x


def test_a_current_follows_its_function_and_its_voltage_is_that_of_the_coil():
    """v = R I + L dI/dt."""
    circuit = network(coil=sine)
    current, voltage = integrate(circuit, circuit.initial_state(), 400)
    assert current == pytest.approx(sine(END), rel=1e-6)
    assert voltage == pytest.approx(12e-3 * sine(END) + INDUCTANCE * 1e10 * math.cos(2e5 * END + 0.3), rel=1e-4)


def test_a_current_that_differs_returns_with_the_relaxation_time():
    """dI/dt + (I - I_0) / tau = dI_0/dt: a difference decays as exp(-t / tau), tau a fifth of the run."""
    circuit = network(coil=sine)
    off, _ = integrate(circuit, circuit.initial_state() + np.array([1e3, 0.0]), 400)
    assert off - sine(END) == pytest.approx(1e3 * math.exp(-5.0), rel=1e-2)


def test_the_rows_of_several_coils_do_not_mix():
    """R I - v = 0 and dI/dt + (I - I_0) / tau = dI_0/dt for each."""
    circuit = network(coil=sine, ring=TABLE)
    assert (circuit.size, circuit.coil_names, circuit.branches) == (4, ("coil", "ring"), (("coil",), ("ring",)))
    assert [circuit.branch_current_index(k) for k in (0, 1)] == [0, 1] == list(range(4))[circuit.currents]
    assert not list(range(4))[circuit.voltages] and circuit.banks == () and circuit.crowbar is None and circuit.leads == NO_LEADS
    assert circuit.initial_state() == pytest.approx([sine(0.0), 0.0, 0.0, 0.0])
    E, A, b = circuit.matrices(SWITCHES, RESISTANCE, 5e-6)
    x, rate, tau = np.array([4e3, -7e3, 90.0, 60.0]), np.array([2e9, 3e9, 1e6, -1e6]), 0.2 * END
    (I, J, v, w), (dI, dJ, *_) = x, rate
    assert E @ rate + A @ x - b == pytest.approx([
        12e-3 * I - v, 3e-3 * J - w, dI + (I - sine(5e-6)) / tau - 1e10 * math.cos(1.3), dJ + (J - 15e3) / tau - 3e9], rel=1e-6)


def rates(circuit, time):
    """dI_0/dt of each coil: what the last rows are beyond I_0 / tau."""
    values = np.array([prescribed(time) for prescribed in circuit.drive.waveforms.values()])
    return circuit.matrices(SWITCHES, RESISTANCE, time)[2][len(values):] - values / (0.2 * END)


@pytest.mark.parametrize("time", [0.0, 1e-9, 3e-6, END])
def test_the_rate_of_a_function_is_exact_to_second_order(time):
    assert rates(network(coil=sine), time) == pytest.approx(1e10 * math.cos(2e5 * time + 0.3), rel=1e-6)


def test_at_a_corner_the_rate_is_that_of_the_step_that_ends_there():
    circuit = network(coil=TABLE)
    assert circuit.corner_times == (0.0, 10e-6, 20e-6)
    found = [float(rates(circuit, time)[0]) for time in (0.0, 10e-6, 10.1e-6, 20e-6, 20.1e-6)]
    assert found == pytest.approx([3e9, 3e9, -2e9, -2e9, 0.0], rel=1e-5, abs=1e3)


def test_no_value_before_the_run_is_needed():
    """A record begins at t = 0; a function of it need not know what was before."""
    def begins(time):
        assert time >= 0
        return math.sqrt(time + 1e-6)
    for time in (0.0, 0.5e-10, 1e-10, END):
        rates(network(coil=begins), time)


def test_corners_of_several_tables_are_joined():
    other = ([5e-6, 10e-6], [0.0, 1.0])
    assert network(coil=TABLE, ring=other, loop=sine).corner_times == (0.0, 5e-6, 10e-6, 20e-6)


def test_a_table_is_constant_outside_its_times():
    ramp = fs.PrescribedCurrents({"coil": TABLE}).waveforms["coil"]
    assert [ramp(time) for time in (-1.0, 0.0, 5e-6, 15e-6, 20e-6, 1.0)] == pytest.approx([0, 0, 15e3, 20e3, 10e3, 10e3])
    assert repr(ramp) == "PiecewiseLinear(3 points from 0 s to 2e-05 s)"


def test_scales_are_those_of_the_largest_current():
    current, voltage, energy, first = network(coil=sine, ring=TABLE).scales(INDUCTANCE)
    assert current == pytest.approx(50e3, rel=1e-5) and energy == pytest.approx(0.5 * INDUCTANCE * 50e3**2, rel=1e-5)
    assert voltage > 0 and first == pytest.approx(1e-3 / 2e5, rel=0.1)
    assert network(coil=lambda time: -sine(time)).scales(INDUCTANCE)[0] == pytest.approx(50e3, rel=1e-5)


def test_scales_of_a_field_without_currents_are_positive():
    for currents in ({}, {"coil": lambda time: 0.0}):
        circuit = PrescribedCurrentNetwork(fs.PrescribedCurrents(currents, applied_field=0.5), END)
        current, voltage, energy, first = circuit.scales(INDUCTANCE)
        assert current > 0 and voltage > 0 and energy == 0 and first == pytest.approx(1e-3 * END)
        assert circuit.applied_field == 0.5 and circuit.frequency == pytest.approx(0.1 / END)


@pytest.mark.parametrize("cycles", [1, 3, 8])
def test_the_frequency_of_a_sine_is_its_own(cycles):
    assert network(coil=lambda time: math.sin(2 * math.pi * cycles * time / END)).frequency == pytest.approx(cycles / END, rel=1e-3)


def test_the_frequency_is_that_of_the_fastest_coil_and_at_least_a_cycle_in_ten_runs():
    fast = network(coil=lambda time: 1e-3 * math.sin(2 * math.pi * 8 * time / END), ring=lambda time: 1e3)
    assert fast.frequency == pytest.approx(8 / END, rel=1e-3)
    assert network(ring=lambda time: 1e3).frequency == pytest.approx(0.1 / END)


def constant(time):
    return 1.0


@pytest.mark.parametrize(("call", "words"), [
    (lambda: fs.PrescribedCurrents(), "nothing drives the field: give currents= or applied_field="),
    (lambda: fs.PrescribedCurrents(applied_field=math.nan), "applied_field = nan: give a finite number of tesla"),
    (lambda: fs.PrescribedCurrents({"coil": 5.0}), "coil: give a function of time or"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 1], [0, 1], [0, 1])}), "coil: give a function of time or"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 1e-6], [0, 1, 2])}), r"coil: give as many finite values as times \(2\)"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 1e-6], [0, math.inf])}), r"coil: give as many finite values as times \(2\)"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 0.0], [0, 1])}), "times of coil must be finite numbers that rise, in seconds"),
    (lambda: fs.PrescribedCurrents({"coil": ([], [])}), "times of coil must be finite numbers that rise"),
    (lambda: fs.PrescribedCurrents({"coil": ([[0, 1]], [[0, 1]])}), "times of coil must be finite numbers that rise"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, math.nan], [0, 1])}), "times of coil must be finite numbers that rise"),
    (lambda: fs.PrescribedCurrents({"coil": (["a", "b"], [0, 1])}), "times of coil = .* expected numbers in SI"),
])
def test_bad_input_says_what_and_what_to_do(call, words):
    with pytest.raises(InputError, match=words):
        call()


def test_times_may_lie_before_the_shot_and_a_field_alone_drives():
    assert fs.PrescribedCurrents({"coil": ([-1e-6, 1e-6], [0, 2])}).waveforms["coil"](0.0) == 1.0
    assert fs.PrescribedCurrents({"coil": constant}, applied_field=-0.2).waveforms == {"coil": constant}
    assert fs.PrescribedCurrents(applied_field=-0.2).waveforms == {}


def test_times_of_a_run_rise_from_above_its_start():
    assert increasing_times("times", [1e-6, 2e-6]) == [1e-6, 2e-6] and increasing_times("times", [0.0, 2e-6], first=-1.0) == [0.0, 2e-6]
    with pytest.raises(InputError, match="times must be finite numbers that rise from above 0, in seconds"):
        increasing_times("times", [0.0, 2e-6])
