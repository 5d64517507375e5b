"""Outputs of the command: none destroys an input, another output or a file of somebody else; what cannot be written is known before."""
import json
import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import fieldsolve as fs
from fieldsolve.cli.main import main
from fieldsolve.cli.outputs import DRAWINGS
from fieldsolve.files import PARTIAL, write_atomically, write_json
from fieldsolve.files.provenance import is_own_file
from tests.rigs import RIG
from tests.source_tree import ROOT

RUN = '[run]\nend_time = "2 us"\naccuracy = 3e-2\nmotion = false\nheating = false\n'
METAL = (ROOT / "fieldsolve" / "materials" / "data" / "copper.toml").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The working folder, with a case file, a metal of its own and a record."""
    monkeypatch.chdir(tmp_path)
    Path("metal.toml").write_text(METAL, encoding="utf-8")
    Path("rig.toml").write_text(RIG.replace('"copper"', '"metal.toml"', 1) + RUN, encoding="utf-8")
    Path("m.csv").write_text("0,0\n1e-6,1e3\n2e-6,2e3\n", encoding="utf-8")
    monkeypatch.setattr("fieldsolve.cli.progress.solve_case_shot", lambda *_: pytest.fail("solved before the outputs were checked"))
    return tmp_path


def refusal(capsys, *arguments):
    """What the one line says that ends a run with 2; all files stay as they were."""
    before = {path: path.read_bytes() for path in Path().rglob("*") if path.is_file()}
    assert main([*arguments]) == 2
    assert {path: path.read_bytes() for path in Path().rglob("*") if path.is_file()} == before
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    return err


@pytest.mark.parametrize(("options", "words"), [
    (["--json", "rig.toml"], "must end in .json, or be - for the screen"),
    (["--measured", "m.csv", "--csv", "m.csv"], "--csv m.csv: is also --measured m.csv, which would be lost"),
    (["--measured", "m.csv", "--csv", "./../{name}/m.csv"], "is also --measured m.csv"),
    (["--npz", "a.shot.npz", "--save", "a.shot.npz"], "is also --npz"),
    (["--json", "/proc/a.json"], "--json /proc/a.json: nothing can be written to the folder /proc"),
    (["--save", "a.npz"], "--save a.npz: the name must end in .shot.npz"),
    (["--report", "-"], "--report -: is no text"),
    (["--json", "-", "--csv", "-"], "only one output can go to the screen"),
    (["--figures", "m.csv"], "--figures m.csv: is a file"),
])
def test_outputs_that_destroy_or_cannot_be_are_refused_before_a_solve(folder, capsys, options, words):
    assert words in refusal(capsys, "shot", "rig.toml", *[option.format(name=folder.name) for option in options])


@pytest.mark.parametrize("link", [os.symlink, os.link])
@pytest.mark.parametrize("source", ["rig.toml", "metal.toml"])
def test_another_name_of_an_input_is_no_output(folder, capsys, link, source):
    link(source, "out.json")
    assert f"{source}, which would be lost" in refusal(capsys, "shot", "rig.toml", "--json", "out.json")


def test_a_file_of_somebody_else_stays_unless_forced(folder, capsys):
    for name in ("notes.json", "figures/current.png"):
        Path(name).parent.mkdir(exist_ok=True)
        Path(name).write_text("mine")
    Path("figures/photograph.png").write_text("in nobody's way")
    assert "notes.json is there and was not written by fieldsolve" in refusal(capsys, "materials", "copper", "--json", "notes.json")
    assert "--figures figures: current.png is there" in refusal(capsys, "shot", "rig.toml", "--figures", "figures")
    assert main(["materials", "copper", "--json", "notes.json", "--force"]) == 0
    assert main(["materials", "copper", "--json", "notes.json"]) == 0              # now it is our own
    assert "written: notes.json" in capsys.readouterr().out


@pytest.mark.slow
def test_every_kind_of_output_is_known_as_our_own(tmp_path, capsys):
    (tmp_path / "rig.toml").write_text(RIG + RUN, encoding="utf-8")
    names = {option: str(tmp_path / f"a{suffix}") for option, suffix in
             (("json", ".json"), ("csv", ".csv"), ("npz", ".npz"), ("save", ".shot.npz"), ("report", ".html"))}
    run = ["shot", str(tmp_path / "rig.toml"), "--figures", str(tmp_path / "figures"),
           *(text for option, name in names.items() for text in (f"--{option}", name))]
    assert {main(run), main(run)} <= {0, 4}                    # so short and coarse a shot may miss its accuracy
    drawings = list((tmp_path / "figures").iterdir())
    assert all(DRAWINGS.fullmatch(path.name) for path in drawings)
    assert all(map(is_own_file, [*map(Path, names.values()), *drawings]))
    field = ["field", str(tmp_path / "rig.toml"), "--accuracy", "1e-2", "--vtu", str(tmp_path / "b.vtu")]
    for suffix in ("png", "pdf", "svg"):
        assert main([*field, "--figure", str(tmp_path / f"b.{suffix}")]) == 0
    assert all(map(is_own_file, tmp_path.glob("b.*")))
    facts = json.loads((tmp_path / "a.json").read_text())["provenance"]
    assert facts["program"] == f"fieldsolve {fs.__version__}" and facts["case"] == "rig.toml" and len(facts["case_sha256"]) == 64
    assert f"written: {names['json']}" in capsys.readouterr().out


def test_json_alone_on_the_screen_can_be_read_by_a_program():
    command = [sys.executable, "-m", "fieldsolve", "materials", "copper", "--json", "-"]
    run = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0 and json.loads(run.stdout)["name"] == "copper" and "conductivity" in run.stderr


# the file on the disk

def test_a_link_stays_a_link_and_a_file_keeps_its_mode(tmp_path):
    target, link = tmp_path / "store" / "a.json", tmp_path / "a.json"
    target.parent.mkdir()
    target.write_text("{}")
    target.chmod(0o640)
    link.symlink_to(target)
    write_json(link, {"x": 1.0})
    assert link.is_symlink() and json.loads(target.read_text()) == {"x": 1.0} and stat.S_IMODE(target.stat().st_mode) == 0o640
    assert os.listdir(target.parent) == ["a.json"]


def test_a_pipe_and_a_device_are_written_to(tmp_path):
    pipe, read = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: read.append(pipe.read_text()))
    reader.start()
    write_json(pipe, {"x": 1.0})
    reader.join()
    assert json.loads(read[0]) == {"x": 1.0} and stat.S_ISFIFO(pipe.stat().st_mode)
    write_json("/dev/null", {"x": 1.0})
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)


def test_partial_files_of_processes_that_are_no_more_are_swept(tmp_path):
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    names = [PARTIAL.format(stem="a", process=number, suffix=".json") for number in (ended.pid, os.getppid())]
    for name in names:
        (tmp_path / name).write_text("half")
    write_atomically(tmp_path / "a.json", lambda path: path.write_text("{}"))
    assert sorted(os.listdir(tmp_path)) == sorted(["a.json", names[1]])
