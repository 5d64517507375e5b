"""Commands that come before a computation, changes by --set, and parts that are held."""
import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from tests.rigs import RIG

RUN = '[run]\nend_time = "1 us"\naccuracy = 3e-2\nheating = false\n'


def test_a_new_case_file_is_right_and_is_not_written_over(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "my.toml"]) == 0
    case = fs.read_case("my.toml")
    assert case.banks and case.run.end_time and not case.rig_tables["site"].altitude
    (tmp_path / "my.toml").write_text("mine")
    assert main(["new", "my.toml"]) == main(["new", "my.txt"]) == 2
    assert (tmp_path / "my.toml").read_text() == "mine" and "is there already" in capsys.readouterr().err


def test_a_check_says_sizes_gaps_and_what_is_missing(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("fieldsolve.shot.solve.solve_shot", lambda *_, **__: pytest.fail("solved"))
    path = tmp_path / "rig.toml"
    path.write_text(RIG + RUN, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    out = capsys.readouterr().out
    assert "gap between coil and disc: " in out and "bank: 120 uF at 4 kV, 960 J" in out and "fieldsolve shot: about" in out
    assert main(["check", str(path), "--set", "run.end_time="]) == 0
    assert "not yet; missing [run] end_time" in capsys.readouterr().out
    assert main(["check", str(path), "--set", "coil.pich=3 mm"]) == 2


def test_a_drawing_has_the_dimensions(tmp_path):
    path, figure = tmp_path / "rig.toml", tmp_path / "rig.svg"
    path.write_text(RIG + RUN, encoding="utf-8")
    assert main(["draw", str(path), "--figure", str(figure)]) == 0
    assert figure.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(("text", "volts"), [('bank.voltage="7 kV"', 7e3), ("bank.voltage=7 kV", 7e3), ("bank.voltage = 7000", 7e3)])
def test_a_change_is_text_with_a_unit_or_a_number(tmp_path, text, volts):
    from fieldsolve.cli.arguments import read_changed_case
    from fieldsolve.cli.commands import parse

    path = tmp_path / "rig.toml"
    path.write_text(RIG + RUN, encoding="utf-8")
    options = parse(["shot", str(path), "--set", text, "--set", "run.motion=false"])
    case = read_changed_case(options)
    assert (case.banks[0].voltage, case.run.motion) == (volts, False)


def test_a_part_that_is_held_does_not_move_and_the_shot_says_so(tmp_path):
    case = fs.read_case({**fs.read_case(_write(tmp_path)).tables}).with_values({"coil.held": True})
    shot = fs.solve_case(case)
    assert ("speed", "disc") in shot.history.values and ("hoop_strain", "coil") not in shot.history.values
    assert shot.fixed_parts["coil"] == "as its table says" and "coil held still (as its table says)" in " ".join(shot.summary().split())
    with pytest.raises(fs.errors.InputError, match=r"\[coil\] held = 'yes': expected true or false"):
        case.with_values({"coil.held": "yes"})


def _write(folder):
    path = folder / "rig.toml"
    path.write_text(RIG + RUN, encoding="utf-8")
    return path
