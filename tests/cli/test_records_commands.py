"""`fieldsolve compare` and `fieldsolve log`: what they print and write, their exit codes, and what they refuse before a solve."""
import json
import re
import sys

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.records.log import ShotLog
from tests.rigs import RIG

CASE = RIG.replace('"4 kV"', '"4 kV +- 1 % (k=2)"') + '[run]\nend_time = "60 us"\nmotion = false\nheating = false\naccuracy = 1e-1\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A case, its kept shot, and a record in volts of the same current."""
    folder = tmp_path_factory.mktemp("records")
    (folder / "press.toml").write_text(CASE)
    shot = fs.solve_case(fs.read_case(folder / "press.toml"))
    shot.save(folder / "press.shot.npz")
    times = np.arange(-5e-6, 58e-6, 50e-9)
    volts = np.interp(times, shot.times, shot.series("current", "coil"), left=0.0) / 5e3
    rows = "".join(f"{time:.9e},{value:.6e}\n" for time, value in zip(times, volts, strict=True))
    (folder / "scope.csv").write_text("s,V\n" + rows)
    return folder


@pytest.fixture
def unsolved(monkeypatch):
    monkeypatch.setattr("fieldsolve.cases.solve.solve_case_shot", lambda *_: pytest.fail("it was solved"))
    monkeypatch.setattr("fieldsolve.cli.progress.solve_case_shot", lambda *_: pytest.fail("it was solved"))


def compare(folder, *more):
    return main(["compare", str(folder / "press.toml"), str(folder / "scope.csv"), "--kept", str(folder / "press.shot.npz"), *more])


@pytest.mark.parametrize("inputs", [["--inputs", "none"], pytest.param([], marks=pytest.mark.slow)])
def test_a_record_is_compared_with_a_kept_shot(folder, tmp_path, capsys, inputs):
    assert compare(folder, "--scale", "5 kA/V", "--scale-uncertainty", "2 %", *inputs, "--json", str(tmp_path / "out.json")) == 0
    out, facts = capsys.readouterr().out, json.loads((tmp_path / "out.json").read_text())
    assert re.search(r"scope\.csv against .*\n  \d of \d agree within known uncertainty\n", out)
    assert facts["provenance"]["case"] == "press.toml" and facts["case"] == "press.toml"
    peak = facts["rows"][0]
    assert peak["name"] == "peak current of coil"
    assert inputs or peak["u_input"] == pytest.approx(0.005 * peak["computed"], rel=0.03)     # I ~ V - arc
    assert max(map(len, out.splitlines()[:-1])) <= 100         # the last line names the files


def test_a_scale_that_is_missing_is_suspected(folder, capsys):
    assert compare(folder, "--inputs", "none") == 0
    assert "is the scale of its channel given?" in capsys.readouterr().out


@pytest.mark.parametrize(("options", "match"), [
    (["--measured", "radius of disc"], "expected NAME = VALUE"), (["--measured", "size of disc = 1 mm"], "names begin with"),
    (["--measured", "radius of disc = 1 kg"], "expected a length"), (["--scale", "5 kA/s"], "scale"), (["--delay", "5 m"], "--delay"),
    (["--column", "7"], "column"), (["--report", "out.txt"], r"must end in \.html"), (["--set", "bank.volts=1"], "volts"),
])
def test_wrong_use_is_refused_before_a_solve(folder, capsys, unsolved, options, match):
    arguments = ["compare", str(folder / "press.toml"), str(folder / "scope.csv"), *options]
    assert main(arguments) == 2
    assert re.search(match, capsys.readouterr().err)


def test_a_kept_shot_of_another_case_is_refused(folder, capsys):
    assert compare(folder, "--set", "bank.voltage=5 kV") == 2
    assert "is of another case" in capsys.readouterr().err


def test_a_shot_goes_through_the_log(folder, tmp_path, capsys):
    log, case = ["--log", str(tmp_path / "log")], str(folder / "press.toml")
    assert main(["log", "list", *log]) == 0 and capsys.readouterr().out == "no shots\n"
    assert main(["log", "new", case, *log, "--kept", str(folder / "press.shot.npz"), "--title", "a blank", "--fact", "place = hall 2"]) == 0
    name = ShotLog(tmp_path / "log").names()[0]
    sha = ShotLog(tmp_path / "log").entry(name).stored["prediction"]["sha256"]
    assert f"SHA-256 {sha}" in capsys.readouterr().out
    photo = tmp_path / "blank.jpg"
    photo.write_bytes(b"x")
    assert main(["log", "add", name, *log, "--record", str(folder / "scope.csv"), "--scale", "5 kA/V", "--photo", str(photo),
                 "--fact", "diameter of disc = 29.90 mm, 29.92 mm, 29.91 mm, 29.93 mm", "--note", "loud"]) == 0
    out = capsys.readouterr().out
    assert "missing of what a log should hold at least" in out and "diameter of disc (" not in out and "voltage at trigger" in out
    assert main(["log", "compare", name, *log, "--inputs", "none", "--report", str(tmp_path / "page.html")]) == 0
    assert "diameter of disc" in capsys.readouterr().out and (tmp_path / "page.html").is_file()
    assert main(["log", "show", name, *log]) == 1                                     # the record's file is older than the prediction
    shown = capsys.readouterr().out
    for text in ("a blank", sha, "place: hall 2", "photo: blank.jpg", "note of", "loud", "compared with scope.csv", "not before the shot"):
        assert text in shown, text
    assert main(["log", "list", *log]) == 0
    listed = " ".join(capsys.readouterr().out.split())                                # the line is broken where the screen ends
    assert re.search(rf"{name} a blank; \d of \d agree .*; 1 record, \d+ missing", listed)


def test_the_log_takes_the_bands_as_compare_does(folder, tmp_path, monkeypatch):
    module, log = sys.modules["fieldsolve.records.comparison.compare"], ["--log", str(tmp_path / "log")]
    bands, compared, wanted, taken = object(), module.compare, [], []
    monkeypatch.setattr("fieldsolve.propagation.solve.bands", lambda case, **keywords: wanted.append(keywords) or bands)

    def compare_without(*arguments, **keywords):
        taken.append(keywords["bands"])
        return compared(*arguments, **{**keywords, "bands": None, "inputs": "none"})
    monkeypatch.setattr(module, "compare", compare_without)
    entry = ShotLog(tmp_path / "log").new(fs.read_case(folder / "press.toml"), fs.load_shot(folder / "press.shot.npz"))
    for number in (1, 2):
        (tmp_path / f"scope_{number}.csv").write_text((folder / "scope.csv").read_text())
        assert main(["log", "add", entry.name, *log, "--record", str(tmp_path / f"scope_{number}.csv"), "--scale", "5 kA/V"]) == 0
    assert main(["log", "compare", entry.name, *log, "--inputs", "bands"]) == 0
    assert taken == [bands, bands] and [keywords["held"] for keywords in wanted] == [True]        # computed once, for both records


def test_what_the_log_refuses(folder, tmp_path, capsys, unsolved):
    log = ["--log", str(tmp_path / "log")]
    for arguments, match in ((["show", "x"], "there is no shot 'x'"), (["add", "x", "--note", "y"], "there is no shot 'x'"),
                             (["add", "x"], "nothing to add"), (["compare", "x"], "there is no shot 'x'")):
        assert main(["log", *arguments, *log]) == 2
        assert re.search(match, capsys.readouterr().err), arguments
    assert main(["log", "new", str(folder / "press.toml"), *log, "--kept", str(folder / "press.shot.npz"), "--fact", "color = red"]) == 2
    assert "the log has no such entry" in capsys.readouterr().err
    entry = ShotLog(tmp_path / "log").new(fs.read_case(folder / "press.toml"), fs.load_shot(folder / "press.shot.npz"))
    assert main(["log", "compare", entry.name, *log]) == 2
    assert "has no record to compare" in capsys.readouterr().err


def test_a_changed_prediction_is_reported_by_exit_code_and_refused(folder, tmp_path, capsys):
    log = ["--log", str(tmp_path / "log")]
    entry = ShotLog(tmp_path / "log").new(fs.read_case(folder / "press.toml"), fs.load_shot(folder / "press.shot.npz"))
    entry.prediction_path.write_bytes(entry.prediction_path.read_bytes() + b" ")
    assert main(["log", "show", entry.name, *log]) == 1
    assert "PROBLEM: the prediction, prediction.shot.npz, has CHANGED" in capsys.readouterr().out
    assert main(["log", "add", entry.name, *log, "--record", str(folder / "scope.csv")]) == 0
    assert main(["log", "compare", entry.name, *log]) == 2
    assert "what was predicted is not known" in capsys.readouterr().err
