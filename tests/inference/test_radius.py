"""The radius from the trace: the linear algebra against closed forms, and a press of lumped elements whose radius is known."""
from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.errors import InputError, SolveError
from fieldsolve.inference.parameters import case_with_parameters, read_parameters, with_flow_stress
from fieldsolve.inference.response import circuit_of, current_response, inductance_slope
from fieldsolve.inference.runs import FIELD_RATE, ShotModel
from fieldsolve.inference.statistics.posterior import condition, mixture
from fieldsolve.report.sheet.radius_page import radius_html
from tests.inference.lumped_press import TABLES, inductance, lumped_run

PRIOR = {"bank.resistance": 0.1, "bank.inductance": 0.02, "bank.arc_voltage": 0.3, "gain": 0.02, "flow_stress of disc": 0.3}
HIDDEN = {"bank.resistance": 8e-3 * 1.08, "bank.inductance": 350e-9 * 0.985, "bank.arc_voltage": 60.0}
STRESS, GAIN = 1.22, 1.013


@cache
def read_tables() -> fs.Case:
    return fs.read_case(TABLES)


@pytest.fixture
def case():
    return read_tables()


@pytest.fixture(autouse=True)
def lumped_shots(monkeypatch):
    """Shots of lumped elements in place of fields."""
    monkeypatch.setattr(ShotModel, "_solve", lambda model, x, coarse: lumped_run(
        case_with_parameters(model.case, model.parameters, x), held=not model.case.run.motion))


def true_run(case, **left_out):
    return lumped_run(with_flow_stress(case.with_values(HIDDEN), "disc", STRESS), **left_out)


def record_of(run, noise=0.01, interval=20e-9, start=0.3e-6, seed=1):
    times = np.arange(-5e-6, run.times[-1], interval)
    current = Oscilloscope(noise=noise).samples(
        lambda at: GAIN * np.where(at > start, np.interp(at - start, run.times, run.series["current"]), 0.0), times,
        np.random.default_rng(seed))
    return fs.Record(times=times, values={"current": current}, units={"current": "A"})


@cache
def beside_other_channels() -> tuple[fs.Record, fs.RadiusFromTrace]:
    """A record of the current, and what it tells alone."""
    record = record_of(true_run(read_tables()), interval=100e-9)
    return record, fs.radius_from_trace(read_tables(), record, part="disc", prior=PRIOR)


def test_conditioning_is_that_of_two_normal_numbers():
    """One unknown of deviation 2, two measurements with variances 1 and 4: precision 1/4 + 1 + 1/4."""
    found = condition(np.ones((2, 1)), np.array([3.0, 1.0]), np.array([1.0, 4.0]), np.array([2.0]))
    assert found.covariance[0, 0] == pytest.approx(1 / 1.5) and found.mean[0] == pytest.approx((3.0 + 0.25) / 1.5)
    spread = np.array([[1.0 + 4.0, 4.0], [4.0, 4.0 + 4.0]])
    data = np.array([3.0, 1.0])
    assert found.evidence == pytest.approx(-0.5 * data @ np.linalg.solve(spread, data) - 0.5 * np.log(np.linalg.det(2 * np.pi * spread)))


def test_a_mixture_is_as_wide_as_its_parts_lie_apart():
    one = np.ones(1)
    parts = [replace(condition(np.ones((1, 1)), value * one, 1e-6 * one, one), evidence=0.0) for value in (-1.0, 1.0)]
    found, shares = mixture(parts, np.array([0.5, 0.5]))
    assert shares.tolist() == [0.5, 0.5] and found.covariance[0, 0] == pytest.approx(1.0, rel=1e-4)


def test_the_response_of_the_current_is_that_of_the_circuit(case):
    """dL/dr comes back from two runs within 10 %; from a third run's radius alone comes the change of its current, within 15 %."""
    model = ShotModel(case=case, parameters=read_parameters(case, {"flow_stress of disc": 0.3}), part="disc", coil="coil")
    base, moved, other = (model.coarse(np.array([x]), "") for x in (0.0, 0.2, -0.3))
    circuit = circuit_of(case, base)
    slope, explained = inductance_slope(circuit, moved.series["radius"] - base.series["radius"],
                                        moved.series["current"] - base.series["current"])
    assert explained > 0.99
    later = slice(150, None)                            # before, little has moved
    assert slope[later] == pytest.approx([inductance(r)[1] for r in base.series["radius"][later]], rel=0.1)
    change = other.series["current"] - base.series["current"]
    answer = current_response(circuit, slope, (other.series["radius"] - base.series["radius"])[:, None])[:, 0]
    assert np.linalg.norm(answer - change) < 0.15 * np.linalg.norm(change)


def test_radius_and_parameters_come_back(case):
    truth = true_run(case)
    seen = fs.radius_from_trace(case, record_of(truth), part="disc", prior=PRIOR)
    true_radius = truth.series["radius"][::3]
    assert np.all(np.abs(seen.radius - true_radius)[1:] <= seen.band.half_width[1:])
    values = {**HIDDEN, "gain": GAIN, "flow_stress of disc": STRESS, "start_time": 0.3e-6, "offset": 0.0}
    assert set(values) == set(seen.parameters)
    assert all(seen.parameters[name].low <= value <= seen.parameters[name].high for name, value in values.items())
    assert seen.settled and seen.determination < 0.3 and seen.band.half_width[-1] < 0.1 * seen.radius[-1]
    assert seen.misfit.p_value > 0.05 and "MISFIT" not in seen.report()
    assert seen.parameters["flow_stress of disc"].uncertainty < 0.06


def test_more_samples_narrow_the_band(case):
    truth = true_run(case)
    widths = [fs.radius_from_trace(case, record_of(truth, interval=interval), part="disc", prior=PRIOR).band.half_width[-1]
              for interval in (100e-9, 4e-9)]
    assert widths[1] < 0.7 * widths[0]


def test_a_wrong_model_widens_the_band_and_is_said(case):
    """A bank whose inductance changes on the way: nothing in the model does that."""
    truth = true_run(case)
    bent = 1 + 0.02 * np.sin(2 * np.pi * truth.times / 25e-6)
    good, bad = (fs.radius_from_trace(case, record_of(run, interval=4e-9), part="disc", prior=PRIOR) for run in (
        truth, replace(truth, series={**truth.series, "current": truth.series["current"] * bent})))
    assert bad.misfit.contradicts and "MISFIT" in bad.report() and bad.current_error > 5 * good.current_error
    assert bad.band.half_width[-1] > 1.5 * good.band.half_width[-1]


def test_another_law_keeps_the_radius_near_the_band(case):
    truth = true_run(case, friction=0.05, hardening=0.15)
    seen = fs.radius_from_trace(case, record_of(truth, interval=4e-9), part="disc", prior=PRIOR)
    assert np.all(np.abs(seen.radius - truth.series["radius"][::3])[1:] <= 1.5 * seen.band.half_width[1:])
    assert seen.band.half_width[-1] < 0.06 * seen.radius[-1]


def test_a_clean_record_shows_another_law(case):
    """At 0.2 % noise the misfit is shown, which the parameters hide at 1 %; a right model is not accused."""
    right, wrong = (fs.radius_from_trace(case, record_of(run, noise=0.002, interval=4e-9), part="disc", prior=PRIOR) for run in (
        true_run(case), true_run(case, friction=0.05, hardening=0.15)))
    assert wrong.misfit.contradicts and "MISFIT" in wrong.report()
    assert right.misfit.p_value > 0.05 and "does not contradict" in right.report()
    assert wrong.misfit.motion < 0.1


@pytest.mark.parametrize("record", [{"noise": 0.2, "interval": 7.5e-6}, {"noise": 0.2, "interval": 15e-6}])
def test_a_record_that_determines_nothing_says_so(case, record):
    """Noise of a fifth of the peak and two or four samples a half-wave."""
    seen = fs.radius_from_trace(case, record_of(true_run(case), **record), part="disc", prior=PRIOR)
    assert seen.determination > 0.8 and "determines NOTHING" in seen.report()
    assert "not determined" in seen.report()


def test_held_metal_determines_nothing(case):
    held = case.with_values({"run.motion": False})
    seen = fs.radius_from_trace(held, record_of(lumped_run(held, held=True)), part="disc", prior={"bank.resistance": 0.1})
    assert seen.held and seen.determination == 1.0 and "determines nothing" in seen.report()
    assert np.ptp(seen.radius) == 0 and seen.parameters["bank.resistance"].uncertainty < 0.4e-3


@pytest.mark.parametrize("interval", [7.5e-6, 15e-6])
def test_few_noisy_samples_of_held_metal_determine_nothing(case, interval):
    """Noise of a fifth of the peak and four or two samples a half-wave, of a blank that does not move: nor is any parameter told."""
    held = case.with_values({"run.motion": False})
    seen = fs.radius_from_trace(held, record_of(lumped_run(held, held=True), noise=0.2, interval=interval), part="disc", prior=PRIOR)
    assert seen.held and seen.determination == 1.0 and "determines nothing" in seen.report()
    before, after = (parameters["flow_stress of disc"] for parameters in (seen.priors, seen.parameters))
    assert after.high - after.low > 0.99 * (before.high - before.low) and "not determined" in seen.report()


def test_a_shot_that_is_cut_short_is_no_run(case, monkeypatch):
    monkeypatch.undo()
    monkeypatch.setattr("fieldsolve.inference.runs.solve_shot_problem", lambda problem: SimpleNamespace(
        interrupted=True, instants=[SimpleNamespace(mesh=None)]))
    model = ShotModel(case=case, parameters=read_parameters(case, {"flow_stress of disc": 0.3}), part="disc", coil="coil")
    with pytest.raises(KeyboardInterrupt):
        model.coarse(np.zeros(1), "")
    assert model.known == {}


@pytest.mark.parametrize("ends_at", ["an iteration", "the full shot"])
def test_an_interruption_keeps_the_best_so_far(case, monkeypatch, ends_at):
    def solve(model, x, coarse):
        if not coarse or (ends_at == "an iteration" and len(model.known) == 6):
            raise KeyboardInterrupt
        return lumped_run(case_with_parameters(model.case, model.parameters, x))
    monkeypatch.setattr(ShotModel, "_solve", solve)
    seen = fs.radius_from_trace(case, record_of(true_run(case)), part="disc", prior=PRIOR)
    assert seen.interrupted and "INTERRUPTED" in seen.report() and seen.determination < 0.6


def test_a_shot_that_fails_leaves_the_iterations_unsettled(case, monkeypatch):
    def solve(model, x, coarse):
        if coarse and len(model.known) == 6:
            raise SolveError("the cells fold")
        return lumped_run(case_with_parameters(model.case, model.parameters, x))
    monkeypatch.setattr(ShotModel, "_solve", solve)
    seen = fs.radius_from_trace(case, record_of(true_run(case)), part="disc", prior={**PRIOR, "bank.capacitance": 0.01})
    assert not seen.settled and "did not settle" in seen.report()


def test_facts_are_json_and_the_page_holds_their_numbers(case):
    seen = fs.radius_from_trace(case, record_of(true_run(case)), part="disc", prior=PRIOR)
    facts = json.loads(json.dumps(seen.facts(), allow_nan=False))
    page = radius_html(seen, facts, case)
    assert facts["radius_m"][-1] == seen.radius[-1] and f'data-value="{facts["radius_m"][-1]}"' in page
    assert "flow_stress of disc" in page and "CAUTION" in page.upper()


@pytest.mark.parametrize(("prior", "says"), [
    ({"bank.resistanse": 0.1}, "bank.resistanse"), ({"bank.resistance": 0.0}, "relative standard deviation"),
    ({"bank.resistance": 2.0}, "relative standard deviation"), ({"leads.resistance": 0.1}, "leads.resistance"),
    ({"flow_stress of dish": 0.1}, "no such part"), ({"bank.resistance": "2 V"}, "prior bank.resistance"), ({}, "0 parameters"),
])
def test_wrong_priors_are_refused(case, prior, says):
    with pytest.raises(InputError, match=says):
        fs.radius_from_trace(case, record_of(true_run(case)), part="disc", prior=prior)


def test_a_prior_with_its_unit_is_absolute(case):
    parameter, = read_parameters(case, {"bank.arc_voltage": "20 V"})
    assert parameter.at(1.0) == pytest.approx(80 * np.exp(0.25)) and parameter.interval().unit == "V"


@pytest.mark.parametrize("place", [(10e-3, 0.0), pytest.param(None, marks=pytest.mark.slow)])
def test_a_loop_with_an_uncertain_scale_is_data(case, place):
    """The rate of the flux density at a loop, 5 % uncertain, whose true scale is 4 % off."""
    truth = true_run(case)
    record, alone = beside_other_channels()
    rate = 1.04 * np.interp(record.times - 0.3e-6, truth.times, truth.series[FIELD_RATE + "loop"], left=0.0)
    noisy = rate + np.random.default_rng(3).normal(0, 0.01 * np.abs(rate).max(), len(rate))
    both = replace(record, values={**record.values, "loop": noisy}, channels={
        "loop": fs.Channel(column=2, role="field_rate", place=place, scale_uncertainty=0.05)})
    joined = fs.radius_from_trace(case, both, part="disc", prior=PRIOR)
    assert joined.band.half_width[-1] < 0.8 * alone.band.half_width[-1]
    assert np.all(np.abs(joined.radius - truth.series["radius"][::3])[1:] <= 1.5 * joined.band.half_width[1:])


def test_a_loop_of_unknown_scale_is_left_out(case):
    truth = true_run(case)
    record = record_of(truth, interval=200e-9)
    both = replace(record, values={**record.values, "loop": np.zeros(len(record.times))}, channels={
        "loop": fs.Channel(column=2, role="field_rate", scale_uncertainty=np.inf)})
    one, other = (fs.radius_from_trace(case, each, part="disc", prior={"flow_stress of disc": 0.3}) for each in (record, both))
    assert other.radius.tolist() == one.radius.tolist()


def test_inductance_comes_from_the_record_alone(case):
    run = true_run(case)
    record = record_of(run, start=0.0)
    true_case = case.with_values(HIDDEN)
    scaled = replace(record, values={"current": record.values["current"] / GAIN})
    seen = fs.inductance_from_trace(true_case, scaled)
    true = np.interp(seen.times, run.times, [inductance(r)[0] for r in run.series["radius"]])
    assert np.mean((seen.low <= true) & (true <= seen.high)) > 0.85 and np.median(seen.high - seen.low) < 0.1 * true.mean()
    assert seen.inductance[-1] > 1.5 * seen.inductance[5]


@pytest.mark.parametrize(("role", "series", "noise", "narrower"), [
    ("velocity", "speed", 3.0, 0.8), pytest.param("voltage", "voltage", 15.0, 0.8, marks=pytest.mark.slow)])
def test_another_channel_is_data(case, role, series, noise, narrower):
    """A speed of the rim, and the bank's voltage, beside the current."""
    truth = true_run(case)
    record, alone = beside_other_channels()
    shown = np.interp(record.times - 0.3e-6, truth.times, truth.series[series])
    both = replace(record, values={**record.values, role: shown + np.random.default_rng(7).normal(0, noise, len(shown))})
    joined = fs.radius_from_trace(case, both, part="disc", prior=PRIOR)
    assert joined.band.half_width[-1] < narrower * alone.band.half_width[-1]
    assert np.all(np.abs(joined.radius - truth.series["radius"][::3])[1:] <= 1.5 * joined.band.half_width[1:])


def test_names_alone_get_what_the_case_gives_uncertain():
    tables = TABLES | {"bank": TABLES["bank"] | {"resistance": "8 mohm +- 10 % (k=2)"}}
    resistance, stress, gain = read_parameters(fs.read_case(tables), ["bank.resistance", "flow_stress of disc", "gain"], 0.02)
    assert (resistance.deviation, stress.deviation, gain.deviation) == pytest.approx((0.05, 0.3, 0.02))


@pytest.mark.parametrize("prior", [["bank.inductance"], ["gain"], "bank"])
def test_a_name_without_an_uncertainty_is_refused(prior):
    with pytest.raises(InputError, match="the case gives no uncertainty of it"):
        read_parameters(fs.read_case(TABLES), prior)
