"""A wheel holds all that the package needs, and works in a folder where there is no checkout."""
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from tests.source_tree import ROOT

PACKAGES = ("fieldsolve", "geometries")
DATA = (".toml", ".json", ".j2", ".css", ".js", ".typed", ".c")
FIELD = """
[coil]
shape = "winding"
inner_radius = "10 mm"
outer_radius = "20 mm"
height = "10 mm"
turns = 100
"""

pytestmark = pytest.mark.slow


def run(*command: object, folder: Path) -> str:
    """What a command prints in a folder, as a process that does not know this checkout."""
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    done = subprocess.run([str(word) for word in command], cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """A wheel built from a copy of what git knows, so that nothing left from other builds gets in."""
    folder = tmp_path_factory.mktemp("wheel")
    (folder / "source").mkdir()
    files = run("git", "ls-files", "-z", folder=ROOT).split("\0")
    for name in (name for name in files if name and (ROOT / name).exists()):
        target = folder / "source" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes((ROOT / name).read_bytes())
    run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", folder, folder / "source", folder=folder)
    (found,) = folder.glob("fieldsolve-*.whl")
    return found


@pytest.fixture(scope="module")
def environment(wheel, tmp_path_factory):
    """Folder of the commands of a fresh environment with the wheel in it; what it depends on is that of this one."""
    folder = tmp_path_factory.mktemp("environment")
    run(sys.executable, "-m", "venv", folder, folder=folder)
    run(folder / "bin" / "python", "-m", "pip", "install", "-q", "--no-deps", wheel, folder=folder)
    site = Path(run(folder / "bin" / "python", "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", folder=folder).strip())
    (site / "dependencies.pth").write_text("\n".join(dict.fromkeys(sysconfig.get_paths()[key] for key in ("purelib", "platlib"))))
    return folder / "bin"


def test_it_holds_every_source_file_and_nothing_else(wheel):
    names = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    paths = [path.relative_to(ROOT).as_posix() for package in PACKAGES for path in (ROOT / package).rglob("*")]
    needed = {name for name in paths if name.endswith((".py", *DATA))}
    assert sorted(needed - names) == []
    assert [name for name in names - needed if not (name.endswith((".so", ".pyd")) and "/_substeps." in name)] == []


def test_its_command_says_what_it_does(environment, tmp_path):
    assert "usage: fieldsolve" in run(environment / "fieldsolve", "--help", folder=tmp_path)


def test_it_is_not_the_checkout(environment, tmp_path):
    script = "import fieldsolve, geometries; print(fieldsolve.__file__, geometries.__file__)"
    where = run(environment / "python", "-c", script, folder=tmp_path)
    assert str(ROOT) not in where and where.count("site-packages") == 2


def test_it_solves_a_field_and_makes_its_sheet(environment, tmp_path):
    (tmp_path / "coil.toml").write_text(FIELD, encoding="utf-8")
    printed = run(environment / "fieldsolve", "field", "coil.toml", folder=tmp_path)
    assert "254.88 uH" in printed or "254.9" in printed        # H. B. Brooks, J. Res. NBS 7 (1931): 2.549067e-8 H times turns squared


def test_its_metals_are_there(environment, tmp_path):
    assert "copper" in run(environment / "fieldsolve", "materials", folder=tmp_path)
