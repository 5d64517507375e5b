"""What the machine lacks: a home, a display, letters beyond ASCII, room on the disk, the right to write."""
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from fieldsolve.cli.main import main
from tests.source_tree import ROOT

CASE = """["spüle"]
shape = "winding"
turns = 4
inner_radius = "16 mm"
outer_radius = "19 mm"
height = "6 mm"

[field]
accuracy = 0.1
"""


@pytest.fixture
def case(tmp_path):
    (tmp_path / "rig.toml").write_text(CASE, encoding="utf-8")
    return tmp_path / "rig.toml"


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 64 kB."""
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", place]
    if not shutil.which("mount") or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no file system can be mounted here")
    yield place
    subprocess.run(["umount", place], check=True)


def test_no_home_no_display_and_an_ascii_locale(case, tmp_path):
    bare = {"PATH": os.environ["PATH"], "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "HOME": "/nonexistent/home",
            "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)}
    options = ["--report", "a.html", "--json", "a.json"]
    run = subprocess.run([sys.executable, "-m", "fieldsolve", "field", "rig.toml", *options], cwd=case.parent, env=bare,
                         capture_output=True, timeout=120, check=False)
    assert run.returncode == 0 and b"Traceback" not in run.stderr
    assert b"written: a.json, a.html" in run.stdout
    assert "spüle" in (tmp_path / "a.html").read_text(encoding="utf-8")


def test_a_full_disk_is_one_line_and_leaves_what_was_there(case, small_disk, capsys):
    (small_disk / "a.html").write_text("old", encoding="utf-8")
    assert main(["field", str(case), "--report", str(small_disk / "a.html"), "--force"]) == 1
    err = capsys.readouterr().err
    assert "No space left on device" in err and err.count("\n") == 1
    assert (small_disk / "a.html").read_text(encoding="utf-8") == "old" and [path.name for path in small_disk.iterdir()] == ["a.html"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_device_is_one_line(case, capsys):
    assert main(["field", str(case), "--json", "/dev/full"]) == 1
    err = capsys.readouterr().err
    assert "No space left on device" in err and err.count("\n") == 1


def test_a_disk_that_cannot_be_written_to_is_said_before_the_solve(case, small_disk, capsys, monkeypatch):
    monkeypatch.setattr("fieldsolve.cases.solve.solve_case_field", lambda *_: pytest.fail("it was solved"))
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    assert main(["field", str(case), "--json", str(small_disk / "a.json")]) == 2
    err = capsys.readouterr().err
    assert "nothing can be written to the folder" in err and "--json" in err and err.count("\n") == 1
