"""The log of shots: exact to the last bit, complete or not there whatever happens, shared, and honest about what was changed."""
import csv
import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.records.log import ShotLog
from fieldsolve.records.log.entry import FACTS, NOTE, PHOTO, RECORD, addition_name, read_entry
from fieldsolve.records.log.fields import FIELDS, fields_of, find_field, parse_value
from fieldsolve.shot.result.shot import Shot
from tests.rigs import RIG
from tests.source_tree import ROOT

RUN = '[run]\nend_time = "2 us"\nmotion = false\nheating = false\naccuracy = 3e-2\n'
DIAMETERS = "25.92 mm +- 0.02 mm (k=2), 25.90 mm, 25.94 mm, 25.91 mm"


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """A case with a metal of its own, its shot, a record and a photo."""
    folder = tmp_path_factory.mktemp("source")
    metal = (Path(fs.__file__).parent / "materials" / "data" / "copper.toml").read_text()
    (folder / "metals").mkdir()
    (folder / "metals" / "mine.toml").write_text(metal)
    (folder / "rig.toml").write_text(RIG.replace('"aluminium 1100-O"', '"metals/mine.toml"') + RUN, encoding="utf-8")
    (folder / "scope.csv").write_bytes(b"t,V\r\n0,0\r\n1e-6,0.125\r\n2e-6,\xb5\r\n")
    os.utime(folder / "scope.csv", (time.time() + 3600,) * 2)                       # after the predictions of the tests
    (folder / "blank.jpg").write_bytes(bytes(range(256)))
    return folder


@pytest.fixture(scope="module")
def case(source):
    return fs.read_case(source / "rig.toml")


@pytest.fixture(scope="module")
def shot(case):
    return fs.solve_case(case)


@pytest.fixture
def log(tmp_path):
    return ShotLog(tmp_path / "log")


def test_what_is_put_in_comes_back_to_the_last_bit(log, case, shot, source):
    name = log.new(case, shot, "first blank", {"operator": "N. N.", "mass of disc before": "12.637 g +- 1 mg"}).name
    log.add(name, record=source / "scope.csv", channels={"current": {"column": 1, "scale": 1e3 / 3, "delay": 0.0}},
            photos=[source / "blank.jpg"], facts={"diameter of disc": DIAMETERS}, note="the lid rang \u2014 twice")
    entry = ShotLog(log.folder).entry(name)
    assert entry.title == "first blank" and entry.case_text == case.text
    assert fs.read_case(entry.case_path) == case                                   # with its metal, which was copied beside it
    kept = entry.prediction()
    assert all(np.array_equal(values, kept.history.values[key]) for key, values in shot.history.values.items())
    assert [entry.folder.joinpath(entry.current(kind)[0].file).read_bytes() for kind in (RECORD, PHOTO)] == [
        (source / file).read_bytes() for file in ("scope.csv", "blank.jpg")]
    assert entry.current(RECORD)[0].facts["channels"]["current"]["scale"] == 1e3 / 3
    assert entry.facts["diameter of disc"].numbers == (25.92e-3, 25.90e-3, 25.94e-3, 25.91e-3)
    assert entry.facts["diameter of disc"].uncertainty == 0.01e-3
    assert entry.facts["mass of disc before"].numbers == (12.637e-3,)
    assert entry.current(NOTE)[0].facts["text"] == "the lid rang \u2014 twice"
    assert entry.problems() == []


def test_the_prediction_is_known_by_its_hash_and_time(log, case, shot, source):
    entry = log.new(case, shot)
    prediction = entry.stored["prediction"]
    assert len(prediction["sha256"]) == 64 and entry.created.endswith("+00:00")
    assert prediction["peak_current_A"]["coil"] == float(shot.peak("current", "coil"))
    assert entry.stored["software"]["fieldsolve"] == fs.__version__
    other = replace(shot, wall_time=1.0)
    other.save(entry.prediction_path)
    changed = log.entry(entry.name)
    assert any("the prediction" in problem and "CHANGED" in problem for problem in changed.problems())
    with pytest.raises(InputError, match="what was predicted is not known"):
        changed.prediction()


def test_a_hash_that_was_changed_with_its_file_is_seen_by_the_next_addition(log, case, shot):
    entry = log.new(case, shot, facts={"operator": "N. N."})
    replace(shot, wall_time=1.0).save(entry.prediction_path)
    from fieldsolve.records.log.storage import file_hash
    path = entry.folder / "entry.json"
    path.write_text(path.read_text().replace(entry.stored["prediction"]["sha256"], file_hash(entry.prediction_path)))
    assert ["entry.json" in problem and "CHANGED" in problem for problem in log.entry(entry.name).problems()] == [True]


@pytest.mark.parametrize("change", ["remove", "edit", "file"])
def test_additions_that_were_touched_are_reported(log, case, shot, source, change):
    name = log.new(case, shot, facts={"operator": "N. N."}).name
    entry = log.add(name, record=source / "scope.csv", note="x")
    first = entry.folder / "additions" / "0001.json"
    if change == "remove":
        first.unlink()
    elif change == "edit":
        first.write_text(first.read_text().replace("N. N.", "M. M."))
    else:
        (entry.folder / entry.current(RECORD)[0].file).write_text("0,0\n")
    found = log.entry(name)
    assert found.problems() and found.prediction().times[-1] == shot.times[-1]


def test_a_record_older_than_the_prediction_is_reported(log, case, shot, source):
    old = source / "old.csv"
    old.write_text("0,0\n")
    os.utime(old, (1.6e9, 1.6e9))
    name = log.new(case, shot).name
    assert any("not before the shot" in problem for problem in log.add(name, record=old).problems())
    new = source / "new.csv"
    new.write_text("0,0\n")
    os.utime(new, (time.time() + 3600,) * 2)
    assert log.add(log.new(case, shot).name, record=new).problems() == []


def test_nothing_is_overwritten_unless_requested(log, case, shot, source, tmp_path):
    name = log.new(case, shot).name
    log.add(name, record=source / "scope.csv", facts={"operator": "N. N."})
    other = tmp_path / "scope.csv"
    other.write_text("0,0\n1,1\n")
    with pytest.raises(InputError, match=r"a record scope\.csv is there already"):
        log.add(name, record=other)
    with pytest.raises(InputError, match=r"operator is there already, 'N\. N\.'"):
        log.add(name, facts={"operator": "M. M."})
    entry = log.add(name, record=other, facts={"operator": "M. M."}, replace=True)
    assert entry.facts["operator"].text == "M. M."
    assert [(entry.folder / addition.file).read_text() for addition in entry.current(RECORD)] == ["0,0\n1,1\n"]
    assert len([addition for addition in entry.additions if addition.kind == RECORD]) == 2      # the other one is kept
    assert len([addition for addition in entry.additions if addition.kind == FACTS]) == 2 and entry.problems() == []


def test_a_prediction_of_another_case_is_refused(log, case, shot):
    with pytest.raises(InputError, match="the prediction is of another case"):
        log.new(case.with_values({"bank.voltage": "5 kV"}), shot)
    assert log.names() == [] and not any(log.folder.glob("*")) if log.folder.exists() else True


def test_what_is_missing_is_listed_until_it_is_there(log, case, shot, source):
    entry = log.new(case, shot)
    missing = entry.missing()
    for what in ("operator", "diameter of disc (0 of 4)", "voltage at trigger", "a record", "a comparison", "temper of disc"):
        assert what in [name for _, name in missing], what
    assert "alloy of disc" not in [name for _, name in missing]                     # the case file says it
    text = {None: "seen", "m": "1 mm", "kg": "1 g", "H": "1 uH", "ohm": "1 mohm", "F": "1 uF", "V": "1 kV", "": "0.5", "Pa": "100 kPa",
            "K": "20 degC", "S/m": "50 MS/m"}
    facts = {field.name: ", ".join([text[field.unit]] * field.count) for field in fields_of(("coil",), ("disc",))}
    left = log.add(entry.name, facts=facts, record=source / "scope.csv", channels={"current": {"scale": 1.0, "delay": 0.0}}).missing()
    assert {group for group, _ in left} == {"prediction", "reductions"}
    assert len(FIELDS) == len(facts)


@pytest.mark.parametrize(("name", "text", "match"), [
    ("diameter of disk", "1 mm", "did you mean 'diameter of disc'"), ("diameter of disc", "1 kg", "expected a length"),
    ("operator", "  ", "give what is to be written down"), ("mass of disc", "1 g +- 1 m", "behind '\\+-'")])
def test_a_fact_that_cannot_be_is_refused(name, text, match):
    with pytest.raises(InputError, match=match):
        parse_value(find_field(name, ("coil",), ("disc",)), text)


def test_damage_is_reported_and_the_rest_stays_readable(log, case, shot):
    first, second = log.new(case, shot), log.new(case, shot)
    (first.folder / "entry.json").write_text("{")
    with pytest.raises(InputError, match=r"entry\.json: is damaged"):
        log.entry(first.name)
    log.add(second.name, note="still written")
    rows = list(csv.DictReader((log.folder / "index.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["shot"] for row in rows] == [first.name, second.name] and "damaged" in rows[0]["problem"]
    later = json.loads((second.folder / "entry.json").read_text()) | {"version": 99}
    (second.folder / "entry.json").write_text(json.dumps(later))
    with pytest.raises(InputError, match="install a later one"):
        log.entry(second.name)
    with pytest.raises(InputError, match="there is no shot 'x'"):
        log.entry("x")


def test_what_is_no_log_or_no_part_of_one_is_refused(log, case, shot, tmp_path):
    entry = log.new(case, shot)
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(InputError, match="file': is a file; give a folder"):
        ShotLog(tmp_path / "file")
    with pytest.raises(InputError, match=r"no such record: .*none\.csv'; give a file"):
        log.add(entry.name, record=tmp_path / "none.csv")
    with pytest.raises(InputError, match=r"is no shot of a log: there is no entry\.json"):
        read_entry(tmp_path)
    addition = log.add(entry.name, note="one").folder / addition_name(1)
    assert addition.is_file()
    for content, words in (("[1, 2]", "is no file of a shot log"), ('{"colour": "red"}', "is no addition to a shot of this log")):
        addition.write_text(content)
        with pytest.raises(InputError, match=words):
            read_entry(entry.folder)


WORKER = """
import os, random, signal, sys, time
from pathlib import Path
import fieldsolve as fs
from fieldsolve.records.log import ShotLog

def work(log, case, shot, record, report, limit):
    number = 0
    while limit is None or number < limit:
        number += 1
        name = log.new(case, shot, f"{os.getpid()}").name
        report(f"new {name}")
        log.add(name, facts={"operator": f"{os.getpid()}"})
        report(f"facts {name}")
        log.add(name, record=record, note=f"{os.getpid()}")
        report(f"record {name}")
"""
KILLS = WORKER + """
folder, case_file, kept, record, trials = sys.argv[1:]
log, case, shot = ShotLog(folder), fs.read_case(case_file), fs.load_shot(kept)
random.seed(1)
start = time.perf_counter()
work(log, case, shot, Path(record), print, 1)
one = time.perf_counter() - start
for _ in range(int(trials)):
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        work(log, case, shot, Path(record), lambda line: os.write(write, (line + "\\n").encode()), None)
    os.close(write)
    time.sleep(random.uniform(0.0, 2.5 * one))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read) as pipe:
        print(pipe.read(), end="")
"""
ADDS = WORKER + """
folder, case_file, kept, record, name, count = sys.argv[1:]
log, case, shot = ShotLog(folder), fs.read_case(case_file), fs.load_shot(kept)
for number in range(int(count)):
    log.add(name, note=f"{os.getpid()} {number}")
    log.add(name, record=record, replace=True)
work(log, case, shot, Path(record), lambda line: print(line), int(count) // 2)
print("pid", os.getpid())
"""


def start(script, *arguments):
    return subprocess.Popen([sys.executable, "-c", script, *map(str, arguments)], cwd=ROOT, stdout=subprocess.PIPE, text=True)


@pytest.fixture
def kept(shot, tmp_path):
    shot.save(tmp_path / "kept.shot.npz")
    return tmp_path / "kept.shot.npz"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
@pytest.mark.parametrize("kills", [10, pytest.param(100, marks=pytest.mark.slow)])
def test_a_kill_at_any_moment_leaves_what_is_finished_and_nothing_half(log, source, kept, kills):
    """Processes that write, each killed after a random time, up to 2.5 times what putting one shot in takes."""
    process = start(KILLS, log.folder, source / "rig.toml", kept, source / "scope.csv", kills)
    lines = process.communicate(timeout=300)[0].split("\n")
    assert process.returncode == 0
    done = [line.split() for line in lines if line.count(" ") == 1]
    assert len(done) > kills // 2                                                           # the processes did get to work
    assert list(log.folder.rglob(".partial-*"))                                     # and were killed in the middle of it
    entries = {entry.name: entry for entry in log.entries()}                        # each entry that is seen can be read
    assert {name for _, name in done} <= set(entries)
    for entry in entries.values():
        assert entry.problems() == []
    for what, name in done:
        kinds = [addition.kind for addition in entries[name].additions]
        assert {"new": True, "facts": FACTS in kinds, "record": RECORD in kinds and NOTE in kinds}[what], (what, name)
    list(csv.DictReader((log.folder / "index.csv").read_text(encoding="utf-8").splitlines()))
    after = log.add(sorted(entries)[0], note="goes on")
    assert after.problems() == []


@pytest.mark.slow
def test_two_processes_that_add_at_once_lose_nothing(log, case, shot, source, kept):
    name, count = log.new(case, shot).name, 20
    processes = [start(ADDS, log.folder, source / "rig.toml", kept, source / "scope.csv", name, count) for _ in range(2)]
    outputs = [process.communicate(timeout=300)[0].split("\n") for process in processes]
    assert [process.returncode for process in processes] == [0, 0]
    pids = [line.split()[1] for lines in outputs for line in lines if line.startswith("pid")]
    entry = log.entry(name)
    assert {addition.facts["text"] for addition in entry.current(NOTE)} == {f"{pid} {number}" for pid in pids for number in range(count)}
    assert sum(addition.kind == RECORD for addition in entry.additions) == 2 * count and entry.problems() == []
    created = {line.split()[1] for lines in outputs for line in lines if line.startswith("new")}
    assert len(created) == count and set(log.names()) == created | {name}
    rows = [row["shot"] for row in csv.DictReader((log.folder / "index.csv").read_text(encoding="utf-8").splitlines())]
    assert rows == log.names()                                                      # the last to write the index had seen all
    assert isinstance(entry.prediction(), Shot)
