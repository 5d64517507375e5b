"""NaN put into any array of a run, or into a table of its metal, is caught and named in the step that meets it, or meets nothing."""
from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldsolve.errors import SolveError
from fieldsolve.shot.checkpoint import keeper as keeping
from fieldsolve.shot.checkpoint.checkpoint import Checkpoint
from fieldsolve.shot.checkpoint.file import read_checkpoint
from fieldsolve.shot.checkpoint.keeper import Keeper
from fieldsolve.shot.checkpoint.packing import CHANGING
from fieldsolve.shot.load import MAKERS
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.solve import go_on
from tests.shot.checkpoint import runs

STEPS_BEFORE = 4         # of the run, which makes some more after them
RESULTS = ("history", "energy", "instants", "events", "work")
TABLES = ("knots", "knot_enthalpies", "knot_heat_capacities", "heat_capacity_slopes", "knot_resistivity_rises")     # of a metal's heat
PAST = ("entries", "shot_mesh", "problem", "origin", "main")         # what a run only writes to, or has no more use for


def arrays_below(value: Any, where: str, seen: set[int]) -> Iterator[tuple[str, np.ndarray]]:
    """Arrays of floating-point numbers that a value holds, each once, by where it stands."""
    if id(value) in seen:
        return
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        if value.dtype.kind in "fc" and value.size and value.flags.writeable:
            yield where, value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from arrays_below(item, f"{where}[{key!r}]", seen)
    elif isinstance(value, (tuple, list)):
        for number, item in enumerate(value):
            yield from arrays_below(item, f"{where}[{number}]", seen)
    elif hasattr(value, "indptr"):
        yield from arrays_below(value.data, f"{where}.data", seen)
    elif is_dataclass(value) or isinstance(value, CHANGING):
        names = [each.name for each in fields(value)] if is_dataclass(value) else list(vars(value))
        for name in names:
            if name not in PAST:
                yield from arrays_below(getattr(value, name), f"{where}.{name}", seen)


def arrays_in_use(checkpoint: Checkpoint) -> Iterator[tuple[str, np.ndarray]]:
    """Arrays that the run goes on with; conductivities, and the first mesh of metal that moves, are records of the past by then."""
    recorded = {id(instant.conductivity) for _, _, instant in checkpoint.entries}
    if checkpoint.setup.movement:
        recorded.add(id(checkpoint.setup.mesh.nodes))
    return arrays_below(checkpoint, "run", recorded)


def outcome(checkpoint: Checkpoint) -> Shot | str:
    """The shot that a checkpoint leads to, or the error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return go_on(checkpoint)
        except SolveError as error:
            return str(error)
        except (ValueError, TypeError, LookupError) as error:
            return f"{type(error).__name__}: {error}"


def keep_run(problem, path: Path) -> list[tuple[str, int]]:
    """Keep a run that was stopped after some steps; returns its arrays by where they stand, with their sizes."""
    with pytest.raises(runs.Stopped):
        runs.solve(problem, Keeper(path), runs.stop_after(STEPS_BEFORE))
    return [(where, array.size) for where, array in arrays_in_use(read_checkpoint(path, MAKERS))]


def troubles(path: Path, places: Iterable[tuple[str, int]]) -> list[str]:
    """What goes wrong unseen where one number of a kept run is NaN, at each place in turn: an array and a number in it."""
    undisturbed, found = outcome(read_checkpoint(path, MAKERS)), []
    left = undisturbed.times[undisturbed.times >= read_checkpoint(path, MAKERS).state.time]
    step = [f"in the step after {time:.6g} s" for time in left[:2]]
    assert len(left) > 1
    for where, number in places:
        checkpoint = read_checkpoint(path, MAKERS)
        array = dict(arrays_in_use(checkpoint))[where]
        array.reshape(-1)[number] = np.nan
        if not np.isnan(array).any():                          # a view could not be written through
            array[tuple(0 for _ in array.shape)] = np.nan
        end = outcome(checkpoint)
        if isinstance(end, str):
            found += [] if any(each in end for each in step) else [f"{where}[{number}]: {end}"]
        else:
            differences = [runs.difference(getattr(undisturbed, name), getattr(end, name), name) for name in RESULTS]
            found += [f"{where}[{number}]: goes on, and {different} differs" for different in differences if different]
    return found


def drawn_places(arrays: list[tuple[str, int]], count: int, seed: int) -> list[tuple[str, int]]:
    random = np.random.default_rng(seed)
    drawn = random.choice(len(arrays), count, replace=count > len(arrays))
    return [(arrays[k][0], int(random.integers(arrays[k][1]))) for k in drawn]


@pytest.fixture
def every_step(monkeypatch):
    monkeypatch.setattr(keeping, "STEPS", 1)
    monkeypatch.setattr(keeping, "TIME_SHARE", np.inf)


def held():
    return replace(runs.crowbar_and_second_bank(), accuracy=0.5, end_time=6e-6)


def moving():
    return replace(runs.moving_with_former(), accuracy=0.5, end_time=4e-6)


def test_nan_in_three_arrays(tmp_path, every_step):
    path = tmp_path / "a.npz"
    assert troubles(path, drawn_places(keep_run(held(), path), 3, seed=1)) == []


@pytest.mark.slow
@pytest.mark.parametrize("make", [held, moving])
def test_nan_in_thirty_arrays(make, tmp_path, every_step):
    path = tmp_path / "a.npz"
    assert troubles(path, drawn_places(keep_run(make(), path), 30, seed=2)) == []


@pytest.mark.slow
def test_nan_in_every_number_of_the_tables_of_heat(tmp_path, every_step):
    path = tmp_path / "a.npz"
    tables = [(where, size) for where, size in keep_run(moving(), path) if "heat_contents" in where and where.split(".")[-1] in TABLES]
    assert len(tables) == 2 * len(TABLES)
    assert troubles(path, [(where, number) for where, size in tables for number in range(size)]) == []
