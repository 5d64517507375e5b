"""What a study keeps in its folder: shots, fits and rows, none of which is computed twice."""
from __future__ import annotations

import json
import pickle
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

import fieldsolve as fs
from benchmarks.inference.synthetic import PRIOR
from fieldsolve.inference.record_fit import radius_model
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.surrogate import build_surrogate

Kept = TypeVar("Kept")


def kept(path: Path, compute: Callable[[], Kept]) -> Kept:
    """What a file holds, computed and written where there is none."""
    if not path.exists():
        path.write_bytes(pickle.dumps(compute()))
    return pickle.loads(path.read_bytes())


def read_rows(path: Path) -> list[dict[str, Any]]:
    """The rows of a file, of which each line is one as JSON; none where there is no file."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


def add_row(path: Path, row: dict[str, Any]) -> None:
    """A row more."""
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(row) + "\n")


def write_rows(path: Path, rows: Iterable[dict[str, Any]]) -> None:
    """These rows in place of those that are there."""
    path.write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")


def record_model(case: fs.Case, record: fs.Record) -> ShotModel:
    """The model of a synthetic record without any run."""
    return radius_model(case, record, "disc", PRIOR, None, lambda text: print(f"  {text}", flush=True))


def model_with_runs(path: Path, case: fs.Case, record: fs.Record) -> ShotModel:
    """The same with the coarse runs about the case's own values, which the file keeps for all records of the case."""
    model = record_model(case, record)

    def coarse_runs():
        build_surrogate(model, np.zeros(len(model.parameters)))
        return model.known, model.meshes
    for mapping, known in zip((model.known, model.meshes), kept(path, coarse_runs), strict=True):
        mapping.update(known)
    return model
