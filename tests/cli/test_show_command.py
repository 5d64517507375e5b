"""The command `fieldsolve show`: what `fieldsolve shot --save` has kept is shown and written again, and nothing is solved."""
import argparse
import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.cli.shot_output import OutputInputs, put_out
from fieldsolve.records.reading.read import read_record
from fieldsolve.records.record import Channel
from fieldsolve.shot.history import History
from tests.kept_files import CASE, FINISHED, write_kept_files

FIGURES = {"current", "map", "sections", "shape", "metal", "inductance", "energy"}      # of a moving shot


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A folder with a kept shot of moving metal, and what the command that kept it wrote beside it."""
    folder = tmp_path_factory.mktemp("kept")
    write_kept_files(folder)
    (folder / "rig.toml").unlink()
    return folder


@pytest.fixture(autouse=True)
def no_solver(request, monkeypatch):
    if "kept" in request.fixturenames:
        request.getfixturevalue("kept")
        for target in ("fieldsolve.shot.solve.Discharge", "geometries.mesher.mesh_section",
                       "fieldsolve.cases.card_companions.empty_inductance_on"):
            monkeypatch.setattr(target, lambda *_, **__: pytest.fail("something was solved"))


def rows_of(path):
    """Rows of a CSV file below the line of its provenance."""
    return list(csv.reader(path.read_text(encoding="utf-8").splitlines()))[1:]


def test_a_kept_shot_is_shown_and_written_as_when_it_was_solved(kept, tmp_path, capsys):
    files = {suffix: tmp_path / f"show.{suffix}" for suffix in ("json", "csv", "npz")}
    options = [part for suffix, path in files.items() for part in (f"--{suffix}", str(path))]
    assert main(["show", str(kept / "a.shot.npz"), *options, "--frames", "1 MHz"]) in FINISHED
    out, err = capsys.readouterr()
    assert err == "" and out.startswith("rig.toml: Shot to 8 us, metal moving") and "frames at 1 MHz" in out
    assert "kept 20" in out and f"by fieldsolve {fs.__version__} on " in out and "numerical errors" not in out
    facts, written = json.loads(files["json"].read_text()), json.loads((kept / "out.json").read_text())
    assert written["provenance"].pop("written") <= facts["provenance"].pop("written")
    assert facts == {name: value for name, value in written.items() if name not in ("card", "scope")} and facts["errors"]["coil_peak_A"] > 0
    assert rows_of(files["csv"]) == rows_of(kept / "out.csv")
    with np.load(files["npz"]) as shown, np.load(kept / "out.npz") as written:
        assert all((shown[name] == written[name]).all() for name in written if name != "provenance")


def test_the_page_is_made_from_the_file_alone(kept, tmp_path):
    page, facts = tmp_path / "page.html", tmp_path / "page.json"
    assert main(["show", str(kept / "a.shot.npz"), "--report", str(page), "--json", str(facts)]) in FINISHED
    shown, written = (json.loads(path.read_text()) for path in (facts, kept / "out.json"))
    assert shown["scope"] == written["scope"] and any(check["verdict"] != "not assessed" for check in shown["card"]["checks"])
    assert shown["card"]["checks"] == written["card"]["checks"] and shown["card"] == written["card"]
    text = page.read_text(encoding="utf-8")
    assert CASE.splitlines()[0] in text and "<h2>Card</h2>" in text and "A charged bank kills" in text


def test_a_page_of_a_shot_that_was_kept_without_one_assesses_less(kept, tmp_path, without_pictures):
    shot = fs.load_shot(kept / "a.shot.npz")
    replace(shot, companions={}).save(tmp_path / "a.shot.npz")
    facts = tmp_path / "page.json"
    assert main(["show", str(tmp_path / "a.shot.npz"), "--report", str(tmp_path / "a.html"), "--json", str(facts)]) in FINISHED
    checks, full = (json.loads(path.read_text())["card"]["checks"] for path in (facts, kept / "out.json"))
    assert len([check for check in checks if check["value"] is None]) > len([check for check in full if check["value"] is None])
    assert "do not say enough" in (tmp_path / "a.html").read_text(encoding="utf-8")


def test_errors_are_shown_where_they_were_kept(tmp_path, capsys):
    (tmp_path / "rig.toml").write_text(CASE.replace("8 us", "2 us"), encoding="utf-8")
    file, facts = str(tmp_path / "a.shot.npz"), tmp_path / "a.json"
    assert main(["shot", str(tmp_path / "rig.toml"), "--held", "--errors", "--save", file]) in FINISHED
    first = capsys.readouterr().out.splitlines()
    assert main(["show", file, "--json", str(facts)]) in FINISHED
    assert first.pop().startswith("written: ") and any(line.startswith("  errors ") for line in first)
    assert capsys.readouterr().out.splitlines()[:-2] == first
    assert json.loads(facts.read_text())["errors"]["coil_peak_A"] > 0


def test_a_refined_run_that_is_interrupted_keeps_the_shot(tmp_path, capsys, monkeypatch):
    (tmp_path / "rig.toml").write_text(CASE.replace("8 us", "2 us"), encoding="utf-8")
    def interrupt(shot):
        raise KeyboardInterrupt("the refined run was interrupted: no error bounds are known")
    monkeypatch.setattr("fieldsolve.cli.progress.refine_with_progress", interrupt)
    assert main(["shot", str(tmp_path / "rig.toml"), "--held", "--errors", "--save", str(tmp_path / "a.shot.npz")]) == 1
    out, err = capsys.readouterr()
    assert "metal held" in out and "numerical errors" not in out and "no error bounds are known" in err
    assert not any(comparison.finer for comparison in fs.load_shot(tmp_path / "a.shot.npz").comparisons)


@pytest.mark.parametrize(("arguments", "words"), [
    (["show", "none.shot.npz"], "no such file"),
    (["shot", "rig.toml", "--save", "a.npz"], "--save a.npz: the name must end in .shot.npz"),
    (["show", "none.shot.npz", "--report", "a.txt"], "must end in .html"),
])
def test_wrong_use_is_one_line(arguments, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(CASE, encoding="utf-8")
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert words in err and err.count("\n") == 1 and out == ""


def test_a_shot_from_no_case_has_no_page(tmp_path, capsys):
    from fieldsolve.cases.case_file import read_case

    shot = fs.solve_shot(read_case({"coil": {"shape": "winding", "inner_radius": "10 mm", "outer_radius": "12 mm", "height": "5 mm",
                                             "turns": 4, "fill": 0.6, "material": "copper"}}).section,
                         fs.Bank(1e-5, 1e3), end_time=1e-6, accuracy=5e-2, motion=False, heating=False)
    shot.save(tmp_path / "a.shot.npz")
    assert main(["show", str(tmp_path / "a.shot.npz")]) == 0
    assert capsys.readouterr().out.startswith("a.shot.npz: Shot to 1 us")
    assert main(["show", str(tmp_path / "a.shot.npz"), "--report", str(tmp_path / "a.html")]) == 2
    assert "came from no case file" in capsys.readouterr().err


def write_record(kept, path, per_microsecond, per_kiloampere, delay, rate=False):
    """The kept shot's own current with another column before it, in these units, behind by `delay` seconds."""
    shot = fs.load_shot(kept / "a.shot.npz")
    times = np.linspace(0, shot.times[-1], 1500)
    curve = CubicHermiteSpline(shot.times, shot.series("current", "coil"), shot.series("current_rate", "coil"))
    values = curve(times, 1) if rate else curve(times)
    rows = [f"{per_microsecond * 1e6 * (time + delay):.9g},7,{per_kiloampere * value / 1e3:.9g}"
            for time, value in zip(times, values, strict=True)]
    path.write_text("\n".join(rows), encoding="utf-8")
    return shot.peak("current", "coil")


@pytest.mark.parametrize(("options", "arguments"), [
    (["--column", "2", "--scale", "10 kA/V", "--delay", "200 ns", "--time-unit", "us"], (1.0, 0.1, 2e-7)),
    (["--column", "2", "--scale", "1e3", "--time-unit", "ms", "--offset", "0"], (1e-3, 1.0, 0.0)),
    (["--column", "column 2", "--scale", "1 kA/s/V", "--rate", "--time-unit", "us"], (1.0, 1.0, 0.0, True)),
])
def test_a_record_is_read_as_the_options_say(kept, tmp_path, capsys, options, arguments):
    peak = write_record(kept, tmp_path / "scope.csv", *arguments)
    facts, figures, drawn = tmp_path / "facts.json", tmp_path / "figures", arguments[2] > 0
    assert main(["show", str(kept / "a.shot.npz"), "--measured", str(tmp_path / "scope.csv"), *options, "--json", str(facts)]
                + ["--figures", str(figures)] * drawn) in FINISHED
    assert "computed less measured" in capsys.readouterr().out
    measured = json.loads(facts.read_text())["measured"]
    assert measured["peak_A"] == pytest.approx(peak.value, rel=5e-3)
    assert abs(measured["computed_less_measured_A"]) < 5e-3 * peak and measured["residual_rms_A"] < 5e-3 * peak
    (channel,) = measured["channels"].values()
    assert channel["column"] in (2, "column 2") and "scale" in channel
    assert figures.exists() is drawn
    names = {path.stem for path in figures.iterdir()} if drawn else FIGURES
    assert names >= FIGURES


@pytest.mark.parametrize(("options", "words"), [
    (["--column", "2"], "--column says how a record is read, and none is given: give --measured too"),
    (["--time-unit", "us"], "--time-unit says how"), (["--rate"], "--rate says how"),
    (["--measured", "CSV", "--time-unit", "A"], "--time-unit 'A': expected a unit of time such as us"),
    (["--measured", "CSV", "--column", "5"], "no column 5 of numbers; there are 0 (column 0), 1 (column 1), 2 (column 2)"),
    (["--measured", "CSV", "--scale", "10 kV/V"], "gives V, a current is in A"),
    (["--measured", "CSV", "--scale", "ten"], "scale = 'ten': expected text such as '5 kA/V'"),
    (["--measured", "CSV", "--delay", "2 kA"], "--delay = '2 kA': expected a time"),
    (["--measured", "CSV", "--offset", "2 V"], "--offset = '2 V': expected a current"),
    (["--measured", "CSV", "--column", "2", "--time-unit", "s"], "is its time in seconds, from the firing? Otherwise give its unit"),
])
def test_wrong_words_about_a_record_are_one_line(kept, tmp_path, capsys, options, words):
    record = tmp_path / "scope.csv"
    write_record(kept, record, 1.0, 1.0, 2e-6)
    options = [str(record) if option == "CSV" else option for option in options]
    assert main(["show", str(kept / "a.shot.npz"), *options]) == 2
    out, err = capsys.readouterr()
    assert words in err and err.count("\n") == 1 and out == ""


def test_a_shot_that_ended_before_the_record_is_shown_without_a_comparison(kept, tmp_path, capsys):
    shot = fs.load_shot(kept / "a.shot.npz")
    early = replace(shot, history=History(shot.times[:2], {key: values[:2] for key, values in shot.history.values.items()}))
    record = tmp_path / "scope.csv"
    options = argparse.Namespace(json=None, csv=None, npz=None, frames_csv=None, figures=None, report=None, movie=None)
    write_record(kept, record, 1e-6, 1.0, 0.0)
    put_out(early, "rig.toml", options, OutputInputs(read_record(record, {"current": Channel(2)}), None), lambda: pytest.fail("no page"))
    assert "not compared: scope.csv: runs from 0 s to 8 us" in capsys.readouterr().out
