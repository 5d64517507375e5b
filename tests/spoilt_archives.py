"""Spoilt kept shots, checkpoints and logs: with bytes changed, and with content changed and signed again as nobody but a forger does.

`python -m tests.spoilt_archives COUNT [SEED]` tries so many of each and prints what is wrong with any.
"""
from __future__ import annotations

import json
import random
import shutil
import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

import fieldsolve as fs
from fieldsolve.records.log import ShotLog
from fieldsolve.shot.checkpoint.file import CHECKPOINT, path_before, read_checkpoint
from fieldsolve.shot.kept.container import SHOT, Format, read_container, write_container
from fieldsolve.shot.load import MAKERS
from tests.rigs import RIG
from tests.spoilt_inputs import trouble_in

ODD = [None, True, -1, 0, 10**30, 1e308, "", "nan", "../../x", "object", [], {}, [[[]]], {"array": 10**9}, {"object": -1}, {"float": "x"},
       {"lost": "a function"}, {"dict": [[1]]}, {"complex": [1]}, {"scalar": ["O", 1]}, {"a": 1, "b": 2}]
CASE = f"{RIG}[run]\nend_time = \"0.2 us\"\nmotion = false\naccuracy = 0.5\n"


def make_sources(folder: Path) -> dict[str, Path]:
    """A kept shot, a checkpoint, and a log with one shot of notes and facts."""
    (folder / "rig.toml").write_text(CASE, encoding="utf-8")
    case = fs.read_case(folder / "rig.toml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        shot = fs.solve_case(case, checkpoint=folder / "a.checkpoint.npz")
    path_before(folder / "a.checkpoint.npz").unlink(missing_ok=True)
    shot.save(folder / "a.shot.npz")
    log = ShotLog(folder / "log")
    name = log.new(case, shot, "first").name
    log.add(name, note="it rang", facts={"mass of disc before": "12.6 g +- 1 mg"})
    return {"shot": folder / "a.shot.npz", "checkpoint": folder / "a.checkpoint.npz", "log": folder / "log"}


def spoilt_bytes(data: bytes, chance: random.Random) -> bytes:
    """Bytes with some changed, cut out, doubled or put in."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        at, count = chance.randrange(len(changed) + 1), chance.choice([1, 1, 8, 200])
        changed[at:at + chance.choice([0, count])] = chance.choice([b"", chance.randbytes(count), changed[at:at + count]])
    return bytes(changed)


def spoilt_value(value: Any, chance: random.Random) -> Any:
    """A JSON value with one thing in it changed, taken out or doubled."""
    if not isinstance(value, (list, dict)) or not value or chance.random() < 0.08:
        return chance.choice(ODD)
    keys = list(value) if isinstance(value, dict) else range(len(value))
    key = chance.choice(keys)
    changed = value.copy()
    if chance.random() < 0.1:
        del changed[key]
    elif chance.random() < 0.05 and isinstance(changed, list):
        changed.append(chance.choice(changed))
    else:
        changed[key] = spoilt_value(value[key], chance)
    return changed


def spoilt_array(array: np.ndarray, chance: random.Random) -> np.ndarray:
    """An array of another shape, type or with other numbers."""
    kind = chance.randrange(5)
    if kind == 0:
        return array.ravel()[:array.size // 2]
    if kind == 1:
        return np.zeros(chance.choice([(), (0,), (3, 3, 3), (10**6,)]))
    if kind == 2:
        with np.errstate(invalid="ignore"), warnings.catch_warnings(action="ignore"):
            return array.astype(chance.choice([np.float32, np.int8, np.complex128, "U4", bool]))
    changed = array.copy()
    if changed.size and changed.dtype.kind in "fiuc":
        odd = [np.nan, np.inf, -1.0, 1e300] if changed.dtype.kind in "fc" else [-1, np.iinfo(changed.dtype).max, 0]
        changed.reshape(-1)[chance.randrange(changed.size)] = chance.choice(odd)
    return changed


def spoil_archive(path: Path, form: Format, chance: random.Random) -> None:
    """Spoil a kept file."""
    if chance.random() < 0.3:
        path.write_bytes(spoilt_bytes(path.read_bytes(), chance))
        return
    header, content, arrays = read_container(path, form)
    for _ in range(chance.randint(1, 2)):
        what = chance.randrange(4)
        if what == 0:
            header = spoilt_value(header, chance)
        elif what == 1 and arrays:
            k = chance.randrange(len(arrays))
            arrays[k] = spoilt_array(arrays[k], chance)
        else:
            content = spoilt_value(content, chance)
    facts = header if isinstance(header, dict) else {"format": header}
    try:
        write_container(path, content, arrays, {key: value for key, value in facts.items() if key != "sha256"}, form)
    except (TypeError, ValueError):                               # what no JSON file can hold
        path.write_bytes(b"PK")


def spoil_log(folder: Path, chance: random.Random) -> None:
    """Spoil one of the files of a log."""
    path = chance.choice(sorted(path for path in folder.rglob("*.json")))
    text = path.read_bytes()
    if chance.random() < 0.3:
        path.write_bytes(spoilt_bytes(text, chance))
    elif chance.random() < 0.05:
        path.write_bytes(b"[" * 100_000)
    else:
        path.write_text(json.dumps(spoilt_value(json.loads(text), chance)), encoding="utf-8")


def read_log(folder: Path) -> None:
    """All that a log's files hold."""
    log = ShotLog(folder)
    for entry in log.entries():
        repr((entry.title, entry.created, entry.facts, entry.case_text, entry.problems()))


def read_quietly(path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        repr(read_checkpoint(path, MAKERS))


READERS: dict[str, tuple[Callable[[Path, random.Random], None], Callable[[Path], object]]] = {
    "shot": (lambda path, chance: spoil_archive(path, SHOT, chance), lambda path: repr(fs.load_shot(path))),
    "checkpoint": (lambda path, chance: spoil_archive(path, CHECKPOINT, chance), read_quietly),
    "log": (spoil_log, read_log),
}


def find_troubles(count: int, seed: int = 1) -> list[str]:
    """Troubles with `count` spoilt files of each kind."""
    found = []
    with tempfile.TemporaryDirectory() as name:
        sources = make_sources(Path(name))
        for kind, source in sources.items():
            spoil, read = READERS[kind]
            for number in range(count):
                chance, path = random.Random(f"{kind} {seed} {number}"), Path(name, f"spoilt{source.suffix}")
                shutil.copytree(source, path) if source.is_dir() else shutil.copy(source, path)
                spoil(path, chance)
                trouble = trouble_in(lambda path=path, read=read: read(path))
                found += [f"{kind} {number} of seed {seed}: {trouble}"] if trouble else []
                shutil.rmtree(path) if path.is_dir() else path.unlink()
    return found


if __name__ == "__main__":
    troubles = find_troubles(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print("\n".join(troubles) or f"{sys.argv[1]} spoilt files of each kind: each read or refused within bounds")
    sys.exit(bool(troubles))
