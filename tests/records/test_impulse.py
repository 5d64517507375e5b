"""Impulse currents by IEC 60060-1 / 62475: on the standards' analytic waveforms, with noise, offset and steps."""
from __future__ import annotations

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.closed_forms.discharge import circuit_of_impulse, cubic_impulse, impulse
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.errors import InputError
from fieldsolve.records.impulse import impulse_current

SHAPES = [(8e-6, 20e-6), (4e-6, 10e-6), (1e-6, 20e-6 / 8), (30e-6, 80e-6)]              # T1, T2 of impulse currents


def record(current, end, samples=4001, scope=None):
    times = np.linspace(-0.1 * end, end, samples)
    true = lambda t: np.where(t > 0, current(np.maximum(t, 0.0)), 0.0)                   # noqa: E731
    values = true(times) if scope is None else scope.samples(true, times, np.random.default_rng(1))
    return fs.Record(times=times, values={"current": values})


@pytest.mark.parametrize(("front", "tail"), SHAPES)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_damped_discharge_of_given_front_and_tail(front, tail, sign):
    circuit = circuit_of_impulse(front, tail, 10e-6)
    found = impulse_current(record(lambda t: sign * circuit.current(t), 2.2 * tail))
    assert found.front_time == pytest.approx(front, rel=2e-3)
    assert found.tail_time == pytest.approx(tail, rel=1e-3)
    assert found.peak == pytest.approx(sign * circuit.peak()[0], rel=1e-3)
    assert found.peak_time == pytest.approx(circuit.peak_time(), rel=5e-3)
    assert found.reversal == pytest.approx(abs(circuit.peak(1)[0] / circuit.peak()[0]), rel=1e-2)


def test_the_cubic_waveform_of_eight_twenty():
    """i = A I t^3 exp(-t / tau), A = 0.01243 /us^3, tau = 3.911 us: IEEE C62.41.2."""
    exact = cubic_impulse(0.01243, 3.911)
    found = impulse_current(record(lambda t: 0.01243 * (1e6 * t) ** 3 * np.exp(-1e6 * t / 3.911), 100e-6))
    assert found.peak == pytest.approx(exact.peak, rel=1e-3) and found.peak == pytest.approx(1.0, abs=2e-3)
    assert 1e6 * found.front_time == pytest.approx(exact.front_time, rel=2e-3)
    assert 1e6 * found.tail_time == pytest.approx(exact.tail_time, rel=1e-3)


def test_noise_offset_and_steps_move_it_little():
    circuit = circuit_of_impulse(8e-6, 20e-6, 10e-6)
    found = impulse_current(record(circuit.current, 60e-6, scope=Oscilloscope(noise=0.01, offset=0.05)))
    exact = impulse(circuit.current, circuit.peak_time(), circuit.half_period)
    assert found.peak == pytest.approx(exact.peak, rel=5e-3)
    assert found.front_time == pytest.approx(exact.front_time, rel=0.01)
    assert found.tail_time == pytest.approx(exact.tail_time, rel=0.01)
    assert found.baseline == pytest.approx(0.05 * exact.peak, rel=0.05)


def test_a_record_that_ends_too_early_is_refused():
    circuit = circuit_of_impulse(8e-6, 20e-6, 10e-6)
    with pytest.raises(InputError, match="50 % behind its peak"):
        impulse_current(record(circuit.current, 14e-6))


def test_a_current_that_rests_is_refused():
    times = np.linspace(-1e-6, 9e-6, 200)
    with pytest.raises(InputError, match="the current does not change; is it the right column"):
        impulse_current(fs.Record(times=times, values={"current": np.full(200, 3.0)}))


def test_few_samples_a_front_are_enough():
    circuit = circuit_of_impulse(8e-6, 20e-6, 10e-6)
    found = impulse_current(record(circuit.current, 60e-6, samples=41))
    assert found.front_time == pytest.approx(8e-6, rel=0.1) and found.tail_time == pytest.approx(20e-6, rel=0.05)
