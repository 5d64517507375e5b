"""Chains of instruments: a known current through droop, delay and gain, a shunt's inductance, a bare Rogowski coil, the case's table."""
from __future__ import annotations

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.closed_forms.discharge import ArcDischarge, SeriesDischarge
from benchmarks.rigs.oscilloscope import Oscilloscope
from benchmarks.studies.ringdown import current_of
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.records.instruments import calibrate_channel, instrument_channels

DISCHARGE = ArcDischarge(SeriesDischarge(120e-6, 3000.0, 600e-9, 8e-3), 60.0)
PEAK = DISCHARGE.peak()[0]
GAIN, DELAY, DROOP = 1 / 5e3, 0.35e-6, 400.0              # V/A, s, 1/s
TIMES = np.linspace(-20e-6, 200e-6, 4401)


def known(times):
    return current_of(DISCHARGE, times)


def write(path, columns):
    path.write_text("time,v\n" + "".join(f"{t:.10e},{v:.9e}\n" for t, v in zip(*columns, strict=True)), encoding="utf-8")
    return path


def chain(noise=0.0, bits=24, offset=0.0):
    """What an integrator of this gain, delay and droop shows."""
    scope = Oscilloscope(noise=noise, droop=DROOP, bits=bits, gain=GAIN, offset=offset)
    return scope.samples(lambda t: known(t - DELAY), TIMES, np.random.default_rng(3))


def test_a_known_chain_is_undone_within_two_permille(tmp_path):
    path = write(tmp_path / "chain.csv", (TIMES, chain(offset=0.02)))
    offset = 0.02 * float(np.abs(chain()).max()) / GAIN
    channel = fs.Channel(column=1, scale=1 / GAIN, delay=DELAY, offset=offset, droop=1 / DROOP)
    record = fs.read_record(path, channels={"current": channel})
    assert np.abs(record.channel("current") - known(record.times)).max() < 2e-3 * PEAK
    without = fs.read_record(path, channels={"current": fs.Channel(column=1, scale=1 / GAIN, delay=DELAY, offset=offset)})
    assert np.abs(without.channel("current") - known(without.times)).max() > 5e-3 * PEAK


@pytest.mark.parametrize(("noise", "bits"), [(0.0, 24), (0.01, 8)])
def test_a_chain_is_found_from_a_known_current_and_undone(tmp_path, noise, bits):
    path = write(tmp_path / "chain.csv", (TIMES, chain(noise, bits, offset=0.02)))
    found = calibrate_channel(fs.read_record(path, channels={"current": fs.Channel(column=1, scale=1.0)}), known)
    for interval, truth in ((found.gain, GAIN), (found.delay, DELAY), (found.droop_rate, DROOP)):
        assert abs(interval.value - truth) < max(3.5 * interval.uncertainty, 2e-3 * truth)
    clean = write(tmp_path / "clean.csv", (TIMES, chain(offset=0.02)))
    back = fs.read_record(clean, channels={"current": found.channel})
    assert np.abs(back.channel("current") - known(back.times)).max() < 2e-3 * PEAK


def test_a_droop_that_the_record_does_not_show_is_not_corrected(tmp_path):
    scope = Oscilloscope(noise=0.02, gain=GAIN)
    path = write(tmp_path / "flat.csv", (TIMES, scope.samples(known, TIMES, np.random.default_rng(5))))
    found = calibrate_channel(fs.read_record(path, channels={"current": fs.Channel(column=1, scale=1.0)}), known)
    assert found.channel.droop is None and found.droop_rate.low < 0 < found.droop_rate.high


def test_the_inductance_of_a_shunt_is_taken_off(tmp_path):
    resistance, inductance = 100e-6, 1e-9
    wave = SeriesDischarge(120e-6, 3000.0, 600e-9, 8e-3)
    times = np.linspace(-5e-6, 60e-6, 6501)
    current = np.where(times > 0, wave.current(np.maximum(times, 0.0)), 0.0)
    volts = resistance * current + inductance * np.gradient(current, times)
    case = fs.read_case({"coil": {"shape": "loop", "radius": "10 mm"},
                         "instruments": {"shunt_resistance": resistance, "shunt_inductance": inductance}})
    record = fs.read_record(write(tmp_path / "shunt.csv", (times, volts)), channels=instrument_channels(case, {"shunt": 1}))
    peak = wave.peak()[0]
    assert np.abs(record.channel("current") - current).max() < 2e-3 * peak
    assert np.abs(volts / resistance - current).max() > 0.3 * peak


def test_a_bare_rogowski_coil_is_integrated(tmp_path):
    case = fs.read_case({"coil": {"shape": "loop", "radius": "10 mm"},
                         "instruments": {"rogowski_turns_per_metre": 1000, "rogowski_area": "1 cm^2"}})
    mutual = MU_0 * 1000 * 1e-4
    rate = np.gradient(known(TIMES), TIMES)
    volts = mutual * rate + np.random.default_rng(1).normal(0.0, 0.002 * mutual * np.abs(rate).max(), len(TIMES)) + 0.01
    record = fs.read_record(write(tmp_path / "rogowski.csv", (TIMES, volts)), channels=instrument_channels(case, {"rogowski": 1}))
    fit = fs.fit_ring_down(record, capacitance=120e-6)
    assert fit.parameters["inductance"].value == pytest.approx(600e-9, rel=2e-3)
    assert fit.parameters["initial_voltage"].value == pytest.approx(3000.0, rel=1e-2)


def test_the_cases_instruments_give_scales_and_what_is_missing_is_named():
    case = fs.read_case({"coil": {"shape": "loop", "radius": "10 mm"}, "instruments": {"divider_ratio": 1000, "loop_turns": 3}})
    assert instrument_channels(case, {"divider": "CH2"})["voltage"] == fs.Channel("CH2", scale=1000.0)
    with pytest.raises(InputError, match="loop_area is missing; the channel behind the loop needs it"):
        instrument_channels(case, {"loop": 1})
    with pytest.raises(InputError, match="did you mean 'rogowski'"):
        instrument_channels(case, {"rogovski": 1})
