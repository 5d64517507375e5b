"""`fieldsolve radius` and `fieldsolve calibrate`: what they print and write, their exit codes, what they refuse."""
from __future__ import annotations

import json
import re
import tomllib

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.rigs.oscilloscope import Oscilloscope
from fieldsolve.cases.toml_text import write_toml
from fieldsolve.cli.main import main
from fieldsolve.inference.parameters import case_with_parameters, with_flow_stress
from fieldsolve.inference.runs import ShotModel
from fieldsolve.records.log import ShotLog
from tests.inference.lumped_press import TABLES, lumped_run
from tests.report.test_sheet import at, browser, opened  # noqa: F401

PRIOR = [text for name in ("bank.resistance = 0.1", "bank.inductance = 0.02", "flow_stress of disc = 0.3") for text in ("--prior", name)]
CASE = {**TABLES, "run": {"end_time": "60 us", "accuracy": 1e-1}}


@pytest.fixture(autouse=True)
def lumped_shots(monkeypatch):
    """Shots of lumped elements in place of fields."""
    def solve(model, x, coarse):
        run = lumped_run(case_with_parameters(model.case, model.parameters, x))
        run.scalars["diameter of disc"] = 2 * float(run.series["radius"][-1])
        return run
    monkeypatch.setattr(ShotModel, "_solve", solve)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A case and the records of three shots."""
    folder = tmp_path_factory.mktemp("inference")
    (folder / "press.toml").write_text(write_toml(CASE))
    case = fs.read_case(folder / "press.toml")
    for number in range(3):
        run = lumped_run(with_flow_stress(case, "disc", 1.15))
        times = np.arange(-5e-6, 58e-6, 20e-9)
        current = Oscilloscope(noise=0.01).samples(
            lambda t, run=run: np.where(t > 0, np.interp(t, run.times, run.series["current"]), 0.0), times, np.random.default_rng(number))
        rows = "".join(f"{time:.9e},{value:.6e}\n" for time, value in zip(times, current, strict=True))
        (folder / f"shot_{number}.csv").write_text("s,A\n" + rows)
    return folder


def radius(folder, *more):
    return main(["radius", str(folder / "press.toml"), str(folder / "shot_0.csv"), *PRIOR, *more])


def test_json_page_and_figure_say_the_same(folder, tmp_path, capsys, browser):  # noqa: F811
    page, facts, figure = tmp_path / "page.html", tmp_path / "facts.json", tmp_path / "figure.png"
    assert radius(folder, "--report", str(page), "--json", str(facts), "--figure", str(figure)) == 0
    printed, known = capsys.readouterr().out, json.loads(facts.read_text())
    assert max(map(len, printed.splitlines()[:-1])) <= 100                   # the last line names the files
    assert "final radius" in printed and known["parameters"]["flow_stress of disc"]["low"] < 1.15
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]*)"', page.read_text())
    assert len(cells) > 90 and len(cells) == len({pointer for pointer, _ in cells})
    assert [pointer for pointer, value in cells if value != str(at(known, pointer))] == []
    assert figure.read_bytes().startswith(b"\x89PNG")
    shown, seen = opened(browser, page)
    assert seen == [] and shown.evaluate("document.scripts.length") == 0
    shown.emulate_media(media="print")
    shown.set_viewport_size({"width": 710, "height": 1040})
    assert shown.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 1
    assert len(re.findall(rb"/Type\s*/Page\b", shown.pdf(prefer_css_page_size=True))) == 1


def test_a_record_that_determines_nothing_ends_with_3(folder, tmp_path, capsys):
    times, values = np.loadtxt(folder / "shot_0.csv", delimiter=",", skiprows=1).T
    noisy = values + 0.2 * values.max() * np.random.default_rng(3).standard_normal(len(values))
    rows = [f"{time:.6e},{value:.6e}\n" for time, value in zip(times[::600], noisy[::600], strict=True)]
    (tmp_path / "few.csv").write_text("s,A\n" + "".join(rows))
    assert main(["radius", str(folder / "press.toml"), str(tmp_path / "few.csv"), *PRIOR]) == 3
    assert "NOTHING" in capsys.readouterr().out


def test_an_interruption_keeps_the_best_so_far(folder, monkeypatch, capsys):
    solve = ShotModel._solve

    def interrupted(model, x, coarse):
        if len(model.known) > 3:
            raise KeyboardInterrupt
        return solve(model, x, coarse)
    monkeypatch.setattr(ShotModel, "_solve", interrupted)
    assert radius(folder) == 4
    assert "INTERRUPTED" in capsys.readouterr().out


def test_what_was_measured_is_data(folder, tmp_path, capsys):
    facts = tmp_path / "facts.json"
    assert radius(folder, "--measured", "diameter of disc = 20 mm +- 1 um", "--json", str(facts)) in (0, 4)
    assert json.loads(facts.read_text())["radius_m"][-1] == pytest.approx(10e-3, abs=5e-6)


@pytest.mark.parametrize(("more", "says"), [
    (["--measured", "diameter of disc = 20 mm"], "uncertainty"),
    (["--prior", "bank.resistanse = 0.1"], "bank.resistanse"), (["--prior", "gain"], "NAME = VALUE"), (["--part", "dish"], "dish"),
    (["--report", "page.txt"], ".html"),
])
def test_wrong_use_of_radius_is_one_line(folder, more, says, capsys):
    assert radius(folder, *more) == 2
    error = capsys.readouterr().err
    assert says in error and error.count("\n") == 1


@pytest.fixture(scope="module")
def log(folder, tmp_path_factory):
    """A log of three shots with records and diameters."""
    log = ShotLog(tmp_path_factory.mktemp("log") / "shots")
    case = fs.read_case(folder / "press.toml")
    shot = fs.solve_case(case, held=True)
    radius = lumped_run(with_flow_stress(case, "disc", 1.15)).series["radius"][-1]
    for number in range(3):
        name = log.new(case, shot).name
        log.add(name, record=folder / f"shot_{number}.csv", channels={"current": {"column": 1}},
                facts={"diameter of disc": f"{2e3 * radius:.3f} mm +- 0.05 mm"})
    return log


def test_a_log_is_calibrated(log, tmp_path, capsys):
    written, facts, page = tmp_path / "press.toml", tmp_path / "facts.json", tmp_path / "page.html"
    last = log.entries()[-1].name
    assert main(["calibrate", str(log.folder), "--hold-out", last, *PRIOR, "--calibration", str(written), "--json", str(facts),
                 "--report", str(page)]) == 0
    known, calibration = json.loads(facts.read_text()), tomllib.loads(written.read_text())
    assert known["held_out"][0]["name"] == last and known["held_out"][0]["measured"][0]["name"] == "diameter of disc"
    assert [entry["name"] for entry in calibration["parameter"]] == ["bank.resistance", "bank.inductance", "flow_stress of disc"]
    assert len(calibration["shot"]) == 2 and f"{last}: predicted" in capsys.readouterr().out
    cells = re.findall(r'data-key="([^"]+)" data-value="([^"]*)"', page.read_text())
    assert len(cells) > 20 and [pointer for pointer, value in cells if value != str(at(known, pointer))] == []
    assert known["factors"]["flow_stress of disc"]["low"] < 1.15 < known["factors"]["flow_stress of disc"]["high"]


@pytest.mark.parametrize(("more", "says"), [(["--hold-out", "2020-01-01-001"], "no such shot"), (["--prior", "gain = 3"], "gain")])
def test_wrong_use_of_calibrate_is_one_line(log, more, says, capsys):
    assert main(["calibrate", str(log.folder), *more]) == 2
    error = capsys.readouterr().err
    assert says in error and error.count("\n") == 1
