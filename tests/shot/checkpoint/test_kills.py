"""Runs and writers that are killed at random moments: a valid checkpoint is there, at most one interval is lost, no file is torn."""
import os
import random
import signal
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fieldsolve.errors import InputError
from fieldsolve.files.atomic import PARTIAL
from fieldsolve.shot.checkpoint import keeper as keeping
from fieldsolve.shot.checkpoint.file import CHECKPOINT, path_before, read_checkpoint
from fieldsolve.shot.checkpoint.keeper import Keeper
from fieldsolve.shot.kept.container import read_container, write_container
from fieldsolve.shot.load import MAKERS
from tests.shot.checkpoint import runs

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="no processes can be forked here")
INTERVAL = 3            # steps


def in_a_child(work) -> int:
    """Number of a process that does some work and is gone with it."""
    process = os.fork()
    if process == 0:
        try:
            work()
        finally:
            os._exit(0)
    return process


def killed(work, after: float) -> bool:
    """Do some work in another process and kill it after so many seconds; returns whether it was still at work."""
    process = in_a_child(work)
    time.sleep(after)
    os.kill(process, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(process, 0)[1])


def write_for_ever(path: Path) -> None:
    number = 0
    while True:
        number += 1
        write_container(path, {"number": number}, [np.full(3000, float(number))] * 5, {}, CHECKPOINT, path_before(path))


def torn_files(folder: Path, kills: int, seed: int) -> list[str]:
    """Files under their final names that cannot be read after a writer was killed, or that an older writer left behind."""
    chance, found = random.Random(seed), []
    path = folder / "a.npz"
    write_container(path, {"number": 0}, [np.zeros(3)], {}, CHECKPOINT)
    for _ in range(kills):
        assert killed(lambda: write_for_ever(path), chance.uniform(0.0, 0.1))
        for each in (path, path_before(path)):
            try:
                if each == path or each.exists():
                    _, content, arrays = read_container(each, CHECKPOINT)
                    assert all((array == content["number"]).all() for array in arrays)
            except InputError as error:
                found.append(str(error))
    write_container(path, {"number": 0}, [np.zeros(3)], {}, CHECKPOINT, path_before(path))
    return found + [each.name for each in folder.iterdir() if each not in (path, path_before(path))]


def test_a_writer_that_is_killed_leaves_no_torn_file(tmp_path):
    assert torn_files(tmp_path, 6, seed=1) == []


def test_what_a_killed_writer_left_under_either_name_is_removed(tmp_path):
    """It may be killed while it writes the file, and while it gives the last one its second name."""
    path, process = tmp_path / "a.npz", in_a_child(lambda: None)
    os.waitpid(process, 0)
    left = [each.with_name(PARTIAL.format(stem=each.stem, process=process, suffix=each.suffix)) for each in (path, path_before(path))]
    for each in left:
        each.write_bytes(b"half")
    write_container(path, {}, [np.zeros(3)], {}, CHECKPOINT, path_before(path))
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.slow
def test_a_hundred_writers_that_are_killed_leave_no_torn_file(tmp_path):
    assert torn_files(tmp_path, 100, seed=2) == []


def steps_lost(problem, folder: Path, steps: int, delay: float) -> tuple[int, int]:
    """Steps that a run had made when it was killed some seconds after `steps` of them, and those of them beyond its last checkpoint."""
    path, log = folder / "a.npz", folder / "made"
    log.write_bytes(b"")

    def run() -> None:
        with log.open("ab", buffering=0) as file:
            runs.solve(problem, Keeper(path), lambda time: file.write(b"."))
    process = in_a_child(run)
    while log.stat().st_size < steps or not path.exists():
        time.sleep(1e-3)
    time.sleep(delay)
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    checkpoint = read_checkpoint(path, MAKERS)
    made = log.stat().st_size
    return made, 0 if checkpoint.main else made - (len(checkpoint.entries) - 1)


@pytest.mark.slow
def test_fifty_runs_that_are_killed_lose_at_most_one_interval(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(keeping, "STEPS", INTERVAL)
    monkeypatch.setattr(keeping, "TIME_SHARE", np.inf)
    problem, chance, lost = replace(runs.held(), accuracy=0.3), random.Random(3), []
    never_stopped = runs.solve(problem)
    for number in range(50):
        folder = tmp_path / str(number)
        folder.mkdir()
        lost.append(steps_lost(problem, folder, chance.randint(0, never_stopped.steps), chance.choice([0.0, chance.uniform(0, 0.3)])))
        if number % 10 == 0:
            assert runs.difference(never_stopped, runs.resume(folder / "a.npz")) is None
    with capsys.disabled():
        print(f"\n(steps made, lost): {lost}")
    assert max(beyond for _, beyond in lost) <= INTERVAL and len({made for made, _ in lost}) > 8
