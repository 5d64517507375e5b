"""The command: its figures, its files, and one line and an exit code for whatever goes wrong."""
import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cli import field as command
from fieldsolve.cli.main import main
from fieldsolve.errors import AccuracyWarning, SolveError
from fieldsolve.estimate import Estimate
from fieldsolve.files import write_atomically, write_json
from fieldsolve.report.text.static import field_facts

COIL = """[coil]
shape = "solenoid"
turns = 8
bore_radius = "15.6 mm"
wire_diameter = "3.0 mm"
pitch = "3.3 mm"
material = "copper"
"""
DISC = """[disc]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
material = "aluminium 1100-O"
"""
LOOSE = '[field]\naccuracy = 5e-2\n'


@pytest.fixture
def case(tmp_path):
    def write(text):
        path = tmp_path / "rig.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)
    return write


def refusal(capsys, arguments, code):
    """The one line on standard error of a run that ends with `code`."""
    assert main(arguments) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fieldsolve: ")
    assert err.count("\n") == 1
    return err


# wrong use: no solver is reached

@pytest.mark.parametrize(("old", "new", "words"), [
    ("pitch =", "pich =", "rig.toml: [coil] pich = '3.3 mm': unknown key; did you mean 'pitch'"),
    ('"copper"', '"coppr"', "material = 'coppr': not known; did you mean 'copper'"),
    ('"15.6 mm"', '"15.6 kg"', "bore_radius = '15.6 kg': expected a length such as '15.6 mm'"),
    ("turns = 8", "turns = ", "not valid TOML"),
    ('pitch = "3.3 mm"', 'pitch = "2 mm"', "[coil]"),
    ("[coil]", '[field]\nfrequency = "1 kA"\n[coil]', "[field] frequency = '1 kA': expected a frequency such as '10 kHz'"),
])
def test_a_wrong_case_is_one_line_and_exit_code_2(case, capsys, old, new, words):
    assert words in refusal(capsys, ["field", case(COIL.replace(old, new))], 2)


@pytest.mark.parametrize(("options", "words"), [
    (["--current", "1 kV"], "--current = '1 kV': expected a current such as '1 kA'"),
    (["--accuracy", "0"], "--accuracy = 0: must be larger than 0"),
    (["--accuracy", "1 mm"], "--accuracy = '1 mm': expected a pure number"),
    (["--json", "no/such/folder/out.json"], "no such folder"),
    (["--json", "."], "is a folder"),
    (["--figure", "out.xyz"], "must end in .png"),
    (["--vtu", "out.vtk"], "must end in .vtu"),
])
def test_a_wrong_option_is_one_line_and_exit_code_2(case, capsys, options, words):
    assert words in refusal(capsys, ["field", case(COIL), *options], 2)


def test_a_missing_file_is_one_line_and_exit_code_2(capsys, tmp_path):
    assert "no such case file" in refusal(capsys, ["field", str(tmp_path / "nowhere.toml")], 2)


def test_a_current_that_would_change_nothing_is_refused(case, capsys):
    text = COIL + 'current = "2 kA"\n'
    assert "leave --current out" in refusal(capsys, ["field", case(text), "--current", "1 kA"], 2)


@pytest.mark.parametrize(("text", "options", "words"), [
    (COIL + "current = 0\n", [], "nothing drives the field, it is zero everywhere: give a coil a current = \"1 kA\""),
    (COIL, ["--current", "0"], "or a magnet"), (DISC, [], "rig.toml: nothing drives"),
    (COIL, ["--current", "0 A", "--frequency", "1 kHz"], "applied_field = \"10 mT\"\n"),
])
def test_a_field_that_nothing_drives_is_refused_in_the_words_of_a_case(case, capsys, text, options, words):
    assert words in refusal(capsys, ["field", case(text), *options], 2)


def test_parts_that_overlap_are_one_line_and_exit_code_2(case, capsys):
    assert "disc" in refusal(capsys, ["field", case(COIL + DISC.replace('"15 mm"', '"17 mm"'))], 2)


@pytest.mark.parametrize("arguments", [[], ["fild"], ["field"], ["field", "a.toml", "--acc", "1"]])
def test_argparse_ends_with_2(arguments, capsys):
    with pytest.raises(SystemExit) as end:
        main(arguments)
    assert end.value.code == 2
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize(("error", "code", "words"), [
    (SolveError("residual 1e-3\nabove 1e-9"), 1, "residual 1e-3 above 1e-9"),
    (OSError(28, "No space left on device"), 1, "No space left"),
    (KeyboardInterrupt(), 130, "interrupted"),
    (MemoryError(), 1, "out of memory"),
])
def test_a_failure_is_one_line_and_an_exit_code(case, capsys, monkeypatch, error, code, words):
    def fail(*_):
        raise error
    monkeypatch.setattr(command, "_solve", fail)
    assert words in refusal(capsys, ["field", case(COIL)], code)


def test_the_module_runs_without_a_traceback(tmp_path):
    run = subprocess.run([sys.executable, "-m", "fieldsolve", "field", str(tmp_path / "nowhere.toml")], capture_output=True, text=True)
    assert (run.returncode, run.stdout) == (2, "")
    assert run.stderr.startswith("fieldsolve: nowhere.toml: no such case file")


# currents

def test_currents_come_from_the_table_then_the_option_then_the_default(case):
    ring = '[r]\nshape = "ring"\nradius = 0.1\nwire_diameter = 1e-3\n'
    text = COIL + 'current = "2 kA"\n' + COIL.replace("[coil]", "[upper]") + 'at = "40 mm"\n' + ring
    read = fs.read_case(case(text))
    currents, notes = command._noted_currents(read, None)
    assert currents == {"coil": 2000.0, "upper": 1000.0}
    assert list(notes) == ["upper"]
    assert command._noted_currents(read, "3 kA")[0] == {"coil": 2000.0, "upper": 3000.0}


# files

def test_a_file_appears_whole_or_not_at_all(tmp_path):
    target = tmp_path / "out.json"
    target.write_text("old")

    def fail(path):
        path.write_text("half")
        raise RuntimeError
    with pytest.raises(RuntimeError):
        write_atomically(target, fail)
    with pytest.raises(ValueError):
        write_json(target, {"x_T": math.nan})
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["out.json"]
    write_json(target, {"x_T": 1.0})
    assert json.loads(target.read_text()) == {"x_T": 1.0}
    assert os.listdir(tmp_path) == ["out.json"]


# the screen, with a field that is only numbers

class SolvedField:
    """Stands for a solved field."""

    unknowns, solver, accuracy_reached = 1837, "Cholesky", False

    def inductance(self, name):
        return Estimate(6.27e-6, 3e-9, "H")

    def energy(self):
        return Estimate(3.135, 1e-3, "J")

    def peak_field(self, region):
        return Estimate(0.31, 2e-4, "T", r=15.6e-3, z=0.0)

    def flux_density(self, r, z):
        return np.zeros(1), np.array([0.25])


def test_the_screen_tells_place_error_source_of_current_and_missed_accuracy(case, capsys, monkeypatch, tmp_path):
    facts = {}

    def solved(case, currents, frequencies, accuracy):
        facts.update(case=case.name, accuracy=accuracy, **field_facts(SolvedField(), case.section, currents, 0.0))
        return SolvedField()
    monkeypatch.setattr(command, "_solve", solved)
    assert main(["field", case(COIL + DISC), "--json", str(tmp_path / "out.json")]) == 4
    screen = capsys.readouterr().out
    for words in ("rig.toml: field at rest", "solenoid, 8 turns, 1 kA per turn (by default", "6.27 uH (error 3 nH)", "disc",
                  "310 mT (error 200 uT) at r = 15.6 mm, z = 0 mm", "B_z = 250 mT", "3.135 J (error 1 mJ)", "1837 unknowns, Cholesky",
                  "0.001 NOT reached", "A charged bank kills"):
        assert words in screen
    written = json.loads((tmp_path / "out.json").read_text())
    assert written.pop("provenance")["program"] == f"fieldsolve {fs.__version__}"
    assert written == facts
    assert facts["peak_region"] == "bore"


# with the solver

def all_numbers(facts):
    """Every value in nested facts that is neither a dict nor a list."""
    if isinstance(facts, dict):
        return [x for value in facts.values() for x in all_numbers(value)]
    return [x for value in facts for x in all_numbers(value)] if isinstance(facts, list) else [facts]


def test_field_shows_and_writes_what_a_script_computes(case, capsys, tmp_path):
    out = tmp_path / "out.json"
    assert main(["field", case(COIL + DISC + LOOSE), "--json", str(out)]) == 0
    screen, facts = capsys.readouterr().out, json.loads(out.read_text())
    coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    field = fs.solve_static(geo.CrossSection([coil, disc]), currents={"coil": 1000.0}, accuracy=5e-2)
    peak = field.peak_field("bore")
    assert facts["coils"]["coil"]["inductance_H"] == pytest.approx(field.inductance("coil").value, rel=1e-9)
    assert (facts["peak_T"], facts["peak_r_m"], facts["peak_z_m"]) == pytest.approx((peak.value, peak.r, peak.z), rel=1e-9)
    assert facts["energy_J"] == pytest.approx(0.5 * facts["coils"]["coil"]["inductance_H"] * 1000.0**2, rel=1e-6)
    assert facts["unknowns"] == field.unknowns
    assert facts["peak_error_T"] >= 0
    assert all(x is None or isinstance(x, (str, int, float)) for x in all_numbers(facts))
    for words in ("rig.toml", "8 turns", "1 kA per turn", "by default", "inductance", "peak field, bore", "stored energy", "kills"):
        assert words in screen
    assert sorted(os.listdir(tmp_path)) == ["out.json", "rig.toml"]


def test_two_coils_give_mutual_inductance_and_force(case, capsys, tmp_path):
    out = tmp_path / "out.json"
    text = COIL + COIL.replace("[coil]", "[upper]") + 'at = "40 mm"\n' + LOOSE
    assert main(["field", case(text), "--current", "2 kA", "--json", str(out)]) == 0
    facts = json.loads(out.read_text())
    assert set(facts["bores"]) == {"bore of coil", "bore of upper"}
    matrix = facts["inductance_matrix"]["inductance_H"]
    assert 0 < matrix[0][1] == pytest.approx(matrix[1][0], rel=1e-9)
    forces = [facts["coils"][name]["axial_force_N"] for name in ("coil", "upper")]
    assert forces[0] > 0 > forces[1]                       # like currents attract
    assert forces[0] == pytest.approx(-forces[1], rel=2e-2)
    assert "from --current" in capsys.readouterr().out


def test_a_line_current_has_no_inductance_and_no_peak(case, tmp_path):
    out = tmp_path / "out.json"
    assert main(["field", case('[coil]\nshape = "loop"\nradius = "20 mm"\n' + LOOSE), "--json", str(out)]) == 0
    facts = json.loads(out.read_text())
    assert facts["peak_T"] is facts["energy_J"] is facts["coils"]["coil"]["inductance_H"] is None
    assert facts["centre_B_z_T"] == pytest.approx(4e-7 * math.pi * 1000.0 / 0.04, rel=1e-2)


def test_figure_and_mesh_are_written(case, tmp_path):
    ring = '[coil]\nshape = "ring"\nradius = "20 mm"\nwire_diameter = "2 mm"\nmaterial = "copper"\ncurrent = "1 kA"\n'
    assert main(["field", case(ring + LOOSE), "--figure", str(tmp_path / "a.png"), "--vtu", str(tmp_path / "a.vtu")]) == 0
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    assert "<VTKFile" in (tmp_path / "a.vtu").read_text(errors="replace")[:400]
    assert sorted(os.listdir(tmp_path)) == ["a.png", "a.vtu", "rig.toml"]


def test_a_warning_is_one_line(case, capsys, monkeypatch):
    import warnings

    def warn(*_):
        warnings.warn("accuracy 1e-9 not reached: best 1e-6", AccuracyWarning, stacklevel=2)
        raise SolveError("stop here")
    monkeypatch.setattr(command, "_solve", warn)
    assert main(["field", case(COIL)]) == 1
    assert capsys.readouterr().err == "fieldsolve: warning: accuracy 1e-9 not reached: best 1e-6\nfieldsolve: stop here\n"
