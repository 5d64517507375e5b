"""The gallery: each example runs and says what it should, its picture is there, small, and made by the command beside it."""
from __future__ import annotations

import ast
import importlib.util
import re

import numpy as np
import pytest

from benchmarks import gallery
from benchmarks.__main__ import main as run_benchmarks
from benchmarks.gallery import EXAMPLES, LARGEST, PAGES, ROOT, names, run_script
from fieldsolve.constants import MU_0

SCRIPTS = sorted(set(names()) - set(PAGES))
FAST = ("new_coil",)
README = (EXAMPLES / "README.md").read_text(encoding="utf-8")


def new_coil(found):
    """On the axis the turns are as loops of their mean radius, but for the thickness of the wire."""
    radius, z = 17.1e-3, 3.3e-3 * (np.arange(8) - 3.5)
    centre = np.sum(0.5 * MU_0 * 1e3 * radius**2 / np.hypot(radius, z) ** 3)
    assert float(found["field"].flux_density(0.0, 0.0)[1]) == pytest.approx(centre, rel=5e-3)
    assert found["peak"] > centre and found["field"].accuracy_reached
    assert len(found["convergence"].get_lines()) > 2


def skin_depth(found):
    depths, currents = found["at_ringing"], [current for _, _, current in found["shares"].values()]
    assert depths["copper"] == pytest.approx(1 / np.sqrt(np.pi * 12e3 * MU_0 * found["metals"]["copper"].conductivity))
    assert list(depths.values()) == sorted(depths.values()) and currents == sorted(currents, reverse=True)


def washer_and_core(found):
    slow, fast = (np.array([values[k] for values in found["currents"].values()]) for k in (0, 1))
    assert slow[1] < 0.8 * slow[0] < slow[0] < 0.8 * slow[2]               # washer, disc, ring and core
    assert np.ptp(fast) < 0.12 * fast.max()                                # of thin skins only the rim counts


def shrinking_blank(found):
    dimensions = found["dimensions"]
    assert dimensions.largest_thickness > 1.1 * dimensions.rim_thickness > 1.1 * 2e-3
    assert found["shot"].radius_ratio("disc") < 0.9 and found["current"] == pytest.approx(44.9e3, rel=0.02)


def crushed_can(found):
    assert found["waist"][0] == pytest.approx(15.0) and found["waist"][-1] < 14.0
    assert np.all(np.isfinite(found["waist"]))


def spiral_and_plate(found):
    assert found["force"] > 0 and found["crown"][-1] > 0.5
    assert np.abs(found["shot"].energy.residual) < 5e-3


def levitated_plate(found):
    assert found["rms"] < 1e-3                                             # of a curve between 4 and 18 mm
    assert found["height"][found["times"] > 1.0].mean() == pytest.approx(11.3e-3, abs=0.5e-3)


def steel_blank(found):
    steel, plain = found["peaks"].values()
    assert steel != pytest.approx(plain, rel=0.01)


def record_and_prediction(found):
    first, second = ({row.name: row for row in comparison.rows} for comparison in found["comparisons"].values())
    assert first["peak current of coil"].verdict.startswith("agrees")
    assert second["peak current of coil"].verdict.startswith("differs")
    assert float(found["fits"][1].parameters["inductance"].value) == pytest.approx(360e-9, rel=0.01)


def radius_from_trace(found):
    seen, truth = found["seen"], found["truth"]
    radius = np.interp(seen.times, truth.times, truth.series["radius"])
    assert np.mean((seen.low <= radius) & (radius <= seen.high)) > 0.9
    assert radius[-1] < 0.95 * radius[0]


CHECKS = {check.__name__: check for check in (
    new_coil, skin_depth, washer_and_core, shrinking_blank, crushed_can, spiral_and_plate, levitated_plate, steel_blank,
    record_and_prediction, radius_from_trace)}


@pytest.mark.parametrize("name", [pytest.param(name, marks=[] if name in FAST else pytest.mark.slow) for name in SCRIPTS])
def test_an_example_runs_and_says_what_it_should(name, tmp_path, monkeypatch):
    import matplotlib.pyplot as plt

    found = run_script(name)
    CHECKS[name](found)
    monkeypatch.setattr(gallery, "run_script", lambda name: found)
    assert run_benchmarks(["gallery", name, "--into", str(tmp_path)]) == 0
    assert (tmp_path / f"{name}.png").stat().st_size > 5_000
    plt.close("all")


@pytest.mark.parametrize("name", SCRIPTS)
def test_an_example_is_a_script_of_cells_with_words_between(name):
    cells = re.split(r"^# %%.*\n", (EXAMPLES / f"{name}.py").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert cells[0].startswith('"""') and cells[1].startswith("# # ") and len(cells) >= 5


@pytest.mark.parametrize("name", SCRIPTS)
def test_what_an_example_imports_is_there(name):
    """Slow examples run in the nightly alone: this sees at once that something has moved."""
    tree = ast.parse((EXAMPLES / f"{name}.py").read_text(encoding="utf-8"))
    modules = [alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names]
    names_of = [(node.module, alias.name) for node in tree.body if isinstance(node, ast.ImportFrom) for alias in node.names]
    assert modules or names_of
    for module in modules:
        importlib.import_module(module)
    for module, imported in names_of:
        assert hasattr(importlib.import_module(module), imported) or importlib.util.find_spec(f"{module}.{imported}"), (module, imported)


@pytest.mark.parametrize("name", names())
def test_a_picture_stands_in_the_catalogue_under_its_command(name):
    section = next(section for section in README.split("\n## ") if f"]({name}.png)" in section)
    assert f"python -m benchmarks gallery {name}\n" in section
    if name in PAGES:
        assert " ".join(PAGES[name][0][:2]) in section
    else:
        assert f"({name}.py)" in section
    assert 5_000 < (EXAMPLES / f"{name}.png").stat().st_size <= LARGEST


def test_every_picture_is_one_of_the_gallery():
    assert sorted(path.stem for path in EXAMPLES.glob("*.png")) == sorted(names())
    assert all((ROOT / command[1]).exists() for command, _ in PAGES.values())


def test_invented_data_are_marked():
    assert "invented" in README and "published" in README


def test_a_picture_that_is_not_there_is_refused(capsys):
    with pytest.raises(SystemExit):
        run_benchmarks(["gallery", "new_coils"])
    assert "no picture new_coils; there are: " in capsys.readouterr().err


def test_a_picture_that_is_too_large_is_refused(tmp_path):
    from PIL import Image
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 256, (600, 600, 3), dtype=np.uint8))
    noise.save(tmp_path / "noise.png")
    with pytest.raises(RuntimeError, match="draw less, or smaller"):
        gallery.write_small(tmp_path / "small.png", (tmp_path / "noise.png").read_bytes())
    assert not (tmp_path / "small.png").exists()
