"""Calibration on several shots: hidden parameters come back, held-out shots are predicted, and a case names the file."""
from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.errors import InputError
from fieldsolve.inference.parameters import case_with_parameters, with_flow_stress
from fieldsolve.inference.runs import ShotModel
from fieldsolve.report.sheet.inference.calibration_page import calibration_html
from fieldsolve.shot.problem import CaseText
from tests.inference.lumped_press import TABLES, lumped_run

PRIOR = {"bank.resistance": 0.1, "bank.inductance": 0.02, "bank.arc_voltage": 0.3, "flow_stress of disc": 0.3}
CHARGES = ("5.2 kV", "5.6 kV", "6 kV", "5.8 kV")


def run_with_radius(case, **options):
    run = lumped_run(case, **options)
    run.scalars["radius of disc"] = float(run.series["radius"][-1])
    return run


@pytest.fixture(autouse=True)
def lumped_shots(monkeypatch):
    """Shots of lumped elements in place of fields."""
    monkeypatch.setattr(ShotModel, "_solve", lambda model, x, coarse: run_with_radius(
        case_with_parameters(model.case, model.parameters, x)))


def bench(seed, noise=0.01, **left_out):
    """Cases, records, true runs and true values of four shots of one bench."""
    rng = np.random.default_rng(seed)
    true = {"bank.resistance": 8e-3 * (1 + rng.uniform(-0.1, 0.1)), "bank.inductance": 350e-9 * (1 + rng.uniform(-0.02, 0.02)),
            "bank.arc_voltage": rng.uniform(50, 110)}
    stress = 1 + rng.uniform(-0.15, 0.3)
    cases = [fs.read_case(TABLES).with_values({"bank.voltage": charge}) for charge in CHARGES]
    runs = [lumped_run(with_flow_stress(case.with_values(true), "disc", stress), **left_out) for case in cases]
    records = []
    for run in runs:
        times = np.arange(-5e-6, run.times[-1], 10e-9)
        values = Oscilloscope(noise=noise).samples(
            lambda at, run=run: np.where(at > 0, np.interp(at, run.times, run.series["current"]), 0.0), times, rng)
        records.append(fs.Record(times=times, values={"current": values}, units={"current": "A"}))
    return cases, records, runs, {**true, "flow_stress of disc": stress}


@cache
def calibrated_pair() -> fs.ModelCalibration:
    """On two shots of bench 1."""
    cases, records, _, _ = bench(1)
    return fs.calibrate(cases[:2], records[:2], parameters=PRIOR)


def test_hidden_parameters_come_back_and_narrower_than_from_one_shot():
    cases, records, _, true = bench(1)
    one = fs.calibrate(cases[:1], records[:1], parameters=PRIOR)
    three = fs.calibrate(cases[:3], records[:3], parameters=PRIOR)
    assert all(three.parameters[name].low <= value <= three.parameters[name].high for name, value in true.items())
    assert three.settled and three.disagreement < 1.5
    assert three.parameters["flow_stress of disc"].uncertainty < 0.8 * one.parameters["flow_stress of disc"].uncertainty
    assert all(0.9 < sum(shares.values()) < 1 + 1e-9 for name, shares in three.shares.items() if name == "flow_stress of disc")


@pytest.mark.parametrize(("benches", "least"), [(range(1), 1), pytest.param(range(8), 7, marks=pytest.mark.slow)])
def test_three_shots_predict_the_fourth(benches, least):
    within = []
    for seed in benches:
        cases, records, runs, _ = bench(seed)
        found = fs.calibrate(cases, records, parameters=PRIOR, hold_out=[2])
        band, radius = found.held_out[0].radius, runs[2].series["radius"]
        within.append(bool(band.low[-1] <= radius[-1] <= band.high[-1]))
        assert band.half_width[-1] < 0.1 * radius[-1] and not found.held_out[0].misses
    assert sum(within) >= least


def test_a_shot_of_another_bench_is_not_predicted():
    cases, records, _, _ = bench(1)
    other = cases[2].with_values({"bank.inductance": "450 nH"})
    strange = lumped_run(other)
    times = np.arange(0.0, strange.times[-1], 20e-9)
    records[2] = fs.Record(times=times, values={"current": np.interp(times, strange.times, strange.series["current"])})
    held = fs.calibrate(cases[:3:2], records[:3:2], parameters=PRIOR, hold_out=[1]).held_out[0]
    assert "NOT predicted: the current" in held.verdict


def test_shots_that_disagree_widen_the_intervals():
    cases, records, _, _ = bench(1)
    _, others, _, _ = bench(4)
    agreed, mixed = calibrated_pair(), fs.calibrate(cases[:2], [records[0], others[1]], parameters=PRIOR)
    assert mixed.disagreement > 1.5 and "DISAGREE" in mixed.report()
    assert mixed.parameters["bank.inductance"].uncertainty > 1.5 * agreed.parameters["bank.inductance"].uncertainty


def test_a_measured_radius_is_data():
    """What a calliper tells of one blank narrows the prediction of another, where the records are poor."""
    cases, records, runs, _ = bench(2, noise=0.05)
    radius, other = (float(run.series["radius"][-1]) for run in runs[:2])
    bare, with_radius = (fs.calibrate(cases[:2], records[:2], parameters=PRIOR, hold_out=[1], measured=measured).held_out[0].radius
                         for measured in (None, [{"radius of disc": (radius, 0.02e-3)}, {}]))
    assert with_radius.half_width[-1] < 0.7 * bare.half_width[-1]
    assert with_radius.low[-1] <= other <= with_radius.high[-1]


def test_a_case_names_the_calibration(tmp_path):
    found = calibrated_pair()
    found.save(tmp_path / "press.toml")
    case = fs.read_case(write_case(tmp_path, {**TABLES, "calibration": {"file": "press.toml"}}))
    assert case.banks[0].resistance == pytest.approx(found.parameters["bank.resistance"].value, rel=1e-5)
    assert case.section.part("disc").zones[0].material.mechanical.flow_stress.scale == pytest.approx(
        found.factors["flow_stress of disc"].value, rel=1e-5)
    assert case.uncertainties["bank.inductance"][1] == pytest.approx(found.parameters["bank.inductance"].uncertainty, rel=1e-2)
    assert case.banks[0].voltage == 6e3 and case.text == (tmp_path / "case.toml").read_text()
    text = (tmp_path / "press.toml").read_text()
    assert found.records[0] in text and found.cases[0] in text and "created" in text
    changed = case.with_values({"bank.resistance": "9 mohm"})                       # what is set later counts
    assert changed.banks[0].resistance == 9e-3 and changed.banks[0].inductance == case.banks[0].inductance


@pytest.mark.parametrize(("content", "says"), [
    ("", "no calibration"), ('format = "fieldsolve calibration"\nversion = 9\n', "version"),
    ('format = "fieldsolve calibration"\nversion = 1\n[[parameter]]\nname = "bank.resistanse"\nvalue = 1.0\nfactor = 1.0\n', "resistanse"),
])
def test_a_wrong_calibration_file_is_refused(tmp_path, content, says):
    (tmp_path / "press.toml").write_text(content)
    with pytest.raises(InputError, match=says):
        fs.read_case(write_case(tmp_path, {**TABLES, "calibration": {"file": "press.toml"}}))


def write_case(folder, tables):
    from fieldsolve.cases.toml_text import write_toml

    path = folder / "case.toml"
    path.write_text(write_toml(tables))
    return path


def test_records_that_fit_alone_contradict_the_model_together():
    found = calibrated_pair()
    assert found.misfit_probability == fs.combined_misfit(found.misfits.values()) and "MISFIT" not in found.report()
    weak = {name: fs.MisfitTest(p_value=0.055, current=1e-3, motion=0.1) for name in ("one", "two", "three")}
    found = replace(found, misfits=weak)
    assert "together they contradict" in found.report() and found.facts()["misfit_probability"] == found.misfit_probability < 0.01


@pytest.mark.parametrize("hold_out", [[1], []])
def test_the_page_holds_the_numbers_of_the_facts_which_are_json(hold_out):
    cases, records, runs, _ = bench(1)
    radius = float(runs[1].series["radius"][-1])
    found = fs.calibrate(cases[:2], records[:2], parameters=PRIOR, hold_out=hold_out, names=["one", "<two>"],
                         measured=[{}, {"radius of disc": (radius, 0.02e-3)}])
    facts = found.facts()
    json.dumps(facts, allow_nan=False)
    assert facts["shots"] == (["one"] if hold_out else ["one", "<two>"])
    assert [held["name"] for held in facts["held_out"]] == ["<two>"] * len(hold_out)
    assert ("<two>: predicted within its bands" in found.report()) == bool(hold_out)
    page = calibration_html(found, facts, CaseText("press", cases[0].text))
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]+)"', page)
    assert len(cells) > 30 and "CAUTION" in page.upper() and "<two>" not in page
    for pointer, value in cells:
        entry = facts
        for key in pointer.split("/")[1:]:
            key = html.unescape(key).replace("~1", "/").replace("~0", "~")
            entry = entry[int(key)] if isinstance(entry, list) else entry[key]
        assert str(entry) == value


def test_an_interruption_keeps_the_best_so_far(monkeypatch):
    def solve(model, x, coarse):
        if not coarse:
            raise KeyboardInterrupt
        return run_with_radius(case_with_parameters(model.case, model.parameters, x))
    monkeypatch.setattr(ShotModel, "_solve", solve)
    cases, records, _, _ = bench(1)
    found = fs.calibrate(cases[:2], records[:2], parameters=PRIOR, hold_out=[1])
    assert found.interrupted and "INTERRUPTED" in found.report() and found.held_out == ()


@pytest.mark.parametrize(("changes", "says"), [
    ({"hold_out": [0, 1]}, "at least one shot"), ({"hold_out": [5]}, "hold_out"), ({"parameters": {}}, "0; give"),
    ({"measured": [{}]}, "one of each"), ({"measured": [{"radius of disc": 1e-2}, {}]}, "standard uncertainty"),
])
def test_wrong_arguments_are_refused(changes, says):
    cases, records, _, _ = bench(1)
    with pytest.raises(InputError, match=says):
        fs.calibrate(cases[:2], records[:2], **{"parameters": PRIOR, **changes})
