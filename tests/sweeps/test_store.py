"""The folder of a sweep: what is found again, what is computed anew, and what is refused."""
import json

import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.sweeps import run as runs
from fieldsolve.sweeps.run import FAILED, Outcome, RunOptions, run_key
from fieldsolve.sweeps.store import MANIFEST, open_store
from tests.source_tree import ROOT
from tests.sweeps.small_runs import RING, SHOT, without_time

OVER = {"coil.radius": ["20 mm", "25 mm"]}


@pytest.fixture
def filled(tmp_path):
    """A store with two runs."""
    fs.sweep(RING, OVER, workers=1, store=tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def computed(monkeypatch):
    """Radii that are computed from now on, in order."""
    found, compute = [], runs.compute_run

    def spy(run):
        found.append(run.case.tables["coil"]["radius"])
        return compute(run)
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", spy)
    return found


def test_a_stored_run_is_not_computed_again(filled, computed):
    again = fs.sweep(RING, {"coil.radius": ["25 mm", "20 mm", "30 mm"]}, workers=1, store=filled)
    assert computed == ["30 mm"]
    assert without_time(again) == without_time(fs.sweep(RING, {"coil.radius": ["25 mm", "20 mm", "30 mm"]}, workers=1))


def test_the_key_is_what_is_meant_not_how_it_is_written():
    case = fs.read_case(RING)
    key = run_key(case.with_values({"coil.radius": "20 mm"}), RunOptions())
    assert run_key(case.with_values({"coil.radius": 0.02}), RunOptions()) == key
    assert run_key(case.with_values({"limits.sound_level": 120.0}), RunOptions()) == key
    assert run_key(case.with_values({"coil.radius": "21 mm"}), RunOptions()) != key
    assert run_key(case.with_values({"coil.material": "silver"}), RunOptions()) != key
    assert run_key(case, RunOptions(accuracy=1e-2)) != key


def test_a_metal_file_that_changed_is_another_run(tmp_path):
    text = (ROOT / "fieldsolve" / "materials" / "data" / "copper.toml").read_text(encoding="utf-8")
    keys = []
    for density in ("8", "9"):
        (tmp_path / "mine.toml").write_text(text.replace("value = 8", f"value = {density}", 1), encoding="utf-8")
        case = fs.read_case({**RING, "coil": {**RING["coil"], "material": str(tmp_path / "mine.toml")}})
        keys.append(run_key(case, RunOptions()))
    assert keys[0] != keys[1]


def test_other_versions_are_another_run(monkeypatch):
    case = fs.read_case(RING)
    key = run_key(case, RunOptions())
    monkeypatch.setattr(runs, "software_versions", lambda: {"fieldsolve": "0.1"})
    assert run_key(case, RunOptions()) != key


def test_a_damaged_run_is_computed_again(filled, computed):
    path = next(filled.glob("runs/*/*.json"))
    path.write_text(path.read_text()[:50])
    fs.sweep(RING, OVER, workers=1, store=filled)
    assert len(computed) == 1


def test_a_failed_run_is_kept_with_its_reason_but_not_one_that_may_go_well(tmp_path):
    store = open_store(tmp_path / "store", fs.read_case(RING))
    store.put("ab1", Outcome(status=FAILED, reason="the mesher gave up"))
    store.put("ab2", Outcome(status=FAILED, reason="its process was killed", repeats=False))
    assert store.find("ab1").reason == "the mesher gave up" and store.find("ab2") is None and store.count() == 1


def test_a_changed_limit_needs_no_new_shot(tmp_path, monkeypatch):
    over = {"bank.voltage": ["1 kV"]}
    first = fs.sweep(SHOT, over, workers=1, store=tmp_path / "store", error_bounds=False)
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", lambda run: pytest.fail("computed"))
    stricter = fs.read_case(SHOT).with_values({"limits.energy_residual_stop": 1e-9})
    again = fs.sweep(stricter, over, workers=1, store=tmp_path / "store", error_bounds=False)
    assert "OUTSIDE" not in first.rows[0]["card"] and "OUTSIDE" in again.rows[0]["card"]


def test_whole_shots_are_kept_where_that_is_wanted(tmp_path):
    table = fs.sweep(SHOT, {"bank.voltage": ["1 kV"]}, workers=1, store=tmp_path / "store", error_bounds=False, keep_shots=True)
    assert table.shot(0).peak("current", "coil").value == table.rows[0]["current of coil"]
    with pytest.raises(InputError, match="was not kept"):
        fs.sweep(SHOT, {"bank.voltage": ["1 kV"]}, workers=1, error_bounds=False).shot(0)


def test_a_store_of_another_case_is_refused(filled):
    with pytest.raises(InputError, match=r"is of another case.*differs in \[coil\]"):
        fs.sweep({**RING, "coil": {**RING["coil"], "wire_diameter": "3 mm"}}, OVER, workers=1, store=filled)


def test_a_folder_that_is_no_store_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match="holds other files and no sweep"):
        open_store(tmp_path, fs.read_case(RING))
    with pytest.raises(InputError, match="nothing can be written there"):
        open_store(tmp_path / "notes.txt", fs.read_case(RING))


@pytest.mark.parametrize(("content", "message"), [("{", "not that of a sweep"), ("{}", "not that of a sweep"), (None, "later version")])
def test_a_store_that_this_version_cannot_read_is_refused(filled, content, message):
    if content is None:
        content = json.dumps(json.loads((filled / MANIFEST).read_text()) | {"version": 99})
    (filled / MANIFEST).write_text(content)
    with pytest.raises(InputError, match=message):
        fs.sweep(RING, OVER, workers=1, store=filled)
