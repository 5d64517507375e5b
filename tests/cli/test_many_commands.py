"""The commands `fieldsolve sweep` and `fieldsolve design`: tables, files, exit codes, resuming, and what they refuse."""
import csv
import json

import pytest

from fieldsolve.cli.main import main
from fieldsolve.sweeps.design.design_file import read_design_file
from fieldsolve.sweeps.run import Outcome
from fieldsolve.sweeps.sweep_file import read_sweep_file
from tests.source_tree import ROOT

RING = '[coil]\nshape = "ring"\nradius = "20 mm"\nwire_diameter = "2 mm"\nmaterial = "copper"\ncurrent = "1 kA +- 2 %"\n'
SWEEP = 'case = "ring.toml"\n[set]\n"field.accuracy" = 5e-2\n[over]\n"coil.radius" = ["20 mm", "30 mm"]\n'
MAP = '"coil.current" = { from = "1 kA", to = "2 kA", count = 2 }\n[[plot]]\nkind = "map"\nquantity = "field at centre"\n'
DESIGN = ('case = "ring.toml"\n[set]\n"field.accuracy" = 5e-2\n[vary]\n"coil.radius" = ["15 mm", "40 mm"]\n'
          '[goal]\nlargest = "field at centre"\nruns = 10\n[require]\n"inductance of coil" = { at_least = 1e-7 }\n')


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a case, in which the test runs."""
    (tmp_path / "ring.toml").write_text(RING)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def quick(monkeypatch):
    """Runs that cost nothing: the field at the centre by the closed form mu_0 I / 2 R, an inductance in proportion to R."""
    def compute(run):
        radius, current = 0.5 * sum(run.case.section.part("coil").bounds[:2]), run.case.currents["coil"]
        return Outcome(status="done", results={"field at centre": (2e-7 * 3.141592653589793 * current / radius, 1e-6, "T"),
                                               "inductance of coil": (5e-6 * radius, 1e-10, "H")})
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", compute)


def run(text, *options, kind="sweep"):
    with open(f"{kind}.toml", "w", encoding="utf-8") as file:
        file.write(text)
    return main([kind, f"{kind}.toml", "--workers", "1", *options])


def test_a_sweep_is_shown_written_and_drawn(folder, quick, capsys):
    assert run(SWEEP + MAP, "--csv", "table.csv", "--json", "table.json", "--npz", "table.npz", "--figures", "pictures") == 0
    shown = capsys.readouterr().out
    assert "4 runs over coil.radius, coil.current: 4 done" in shown and "Caution" in shown
    rows = list(csv.reader((folder / "table.csv").read_text(encoding="utf-8").splitlines()[1:]))
    assert rows[0][:2] == ["coil.radius [m]", "coil.current [A]"] and len(rows) == 5
    facts = json.loads((folder / "table.json").read_text())
    assert facts["rows"][3]["coil.radius"] == "30 mm" and facts["units"]["field at centre"] == "T"
    assert {path.name for path in folder.iterdir()} >= {"table.npz", "sweep.runs"} and (folder / "pictures" / "plot_1.png").exists()


def test_finished_runs_are_gone_on_with_only_where_that_is_said(folder, quick, capsys, monkeypatch):
    assert run(SWEEP) == 0
    assert run(SWEEP) == 2
    assert "2 finished runs are kept there; add --resume" in capsys.readouterr().err
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", lambda run: pytest.fail("computed"))
    assert run(SWEEP, "--resume") == 0


def test_a_run_that_fails_is_said_with_exit_code_4(folder, quick, capsys):
    assert run(SWEEP.replace('"30 mm"', '"0.5 mm"')) == 4
    assert "1 failed" in capsys.readouterr().out
    assert run(SWEEP.replace('"20 mm", "30 mm"', '"0.5 mm"'), "--resume") == 1


def test_ctrl_c_ends_with_130_and_what_is_there(folder, capsys, monkeypatch):
    import signal
    done = []

    def compute(run):
        if done:
            signal.raise_signal(signal.SIGINT)
        done.append(run)
        return Outcome(status="done", results={"field at centre": (1.0, None, "T")})
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", compute)
    assert run(SWEEP, "--csv", "table.csv") == 130
    assert "1 done, 1 interrupted" in capsys.readouterr().out
    assert "interrupted" in (folder / "table.csv").read_text()


def test_a_design_is_shown_written_and_drawn(folder, quick, capsys):
    text = DESIGN.replace("runs = 10", 'runs = 16\nagainst = "inductance of coil"')
    assert run(text, "--json", "found.json", "--figure", "frontier.png", "--csv", "runs.csv", kind="design") == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "inductance of coil binds" in shown and "with the uncertainties of the case" in shown and "FRONTIER" not in shown
    facts = json.loads((folder / "found.json").read_text())
    assert facts["best"]["field at centre"] == pytest.approx(3.1415926536e-2, rel=2e-3)
    low, high = facts["band"]["field at centre"]
    assert (high - low) / (2 * 1.96 * facts["best"]["field at centre"]) == pytest.approx(0.02 / 3**0.5, rel=1e-2)
    assert (folder / "frontier.png").exists() and (folder / "runs.csv").exists()
    assert facts["first_pass"]["reason"] == "the case describes no shot" and facts["first_pass"]["discharges"] == 0


def test_a_design_that_cannot_be_says_what_binds_with_exit_code_1(folder, quick, capsys):
    assert run(DESIGN.replace("1e-7", "1e-3"), kind="design") == 1
    assert "NOTHING fulfils the limits" in capsys.readouterr().out


@pytest.mark.parametrize(("text", "message"), [
    ("", "case is missing"), ("case = 5\n", "case is missing"), ('case = "none.toml"\n', "no such case file"),
    (SWEEP.replace("[over]", "[ovr]"), "did you mean 'over'"), ('case = "ring.toml"\n', "over is empty"),
    (SWEEP.replace('"coil.radius" =', '"coil.radios" ='), "did you mean 'radius'"),
    (SWEEP.replace('"coil.radius" =', "coil.radius ="), "write keys of a case in quotes"),
    (SWEEP + '"coil.current" = { from = "1 kA" }\n', "from = "), (SWEEP + '"coil.current" = "1 kA"\n', "give a list"),
    (SWEEP + '[[plot]]\nkind = "cake"\n', "choose 'curves'"), (SWEEP + '[[plot]]\nkind = "map"\n', "needs quantity"),
    (SWEEP + "[options]\nheld = 5\n", "held"), (SWEEP + "[samples]\ncount = 4\n", "give one of them"),
    (SWEEP + '[[together]]\n"coil.current" = [1, 2]\n"coil.at" = [1]\n', "as long as the others"),
    ('case = "ring.toml"\n[over]\n"coil.current" = { from = 1, to = 1e9, count = 1000000000 }\n', "1,000,000,000: more than"),
    ('case = "ring.toml"\n[over]\n' + "".join(f'"coil.{key}" = {{ from = 1.0, to = 2.0, count = 1000 }}\n'
                                              for key in ("at", "radius", "current")), "1,000,000,000 runs"),
])
def test_what_is_no_sweep_is_one_line(folder, text, message, capsys):
    assert run(text) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1 and message in lines[0]


@pytest.mark.parametrize(("text", "message"), [
    (DESIGN.replace("largest", "largst"), "did you mean 'largest'"), (DESIGN.replace("field at centre", "feld at centre"), "did you mean"),
    (DESIGN.replace('["15 mm", "40 mm"]', '"15 mm"'), "two ends"), (DESIGN.replace("at_least", "about"), "at_most = 0.8"),
    (DESIGN.replace("runs = 10", "runs = 2"), "need 8 at least"), (DESIGN.replace("runs = 10", 'limits = "sond"'), "is no check"),
    (DESIGN + '[follow]\n"coil.at" = 5\n', "factor = 1.1"), (DESIGN.replace("[vary]", "[varry]"), "did you mean 'vary'"),
])
def test_what_is_no_design_is_one_line(folder, quick, text, message, capsys):
    assert run(text, kind="design") == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1 and message in lines[0]


def test_the_files_of_the_workshop_can_be_read():
    rigs = ROOT / "benchmarks" / "rigs"
    sweep, design = read_sweep_file(rigs / "charge_sweep.toml"), read_design_file(rigs / "coil_design.toml")
    assert sweep.case.run.motion is False and len(sweep.over["bank.voltage"]) == 5
    assert [*design.vary] == ["winding.turns", "bank.voltage", "bank.capacitance"] and design.keywords["largest"] == "field in bore"
