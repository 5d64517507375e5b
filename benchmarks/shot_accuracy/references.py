"""`python -m benchmarks errors shots --make`: runs of much higher accuracy as data files, one a rig, made where they are missing."""
from __future__ import annotations

import hashlib
import json
import subprocess
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.cases import REFERENCE
from benchmarks.shot_accuracy.quantities import SampledSeries, numbers, sample_fields, sample_series
from benchmarks.shot_accuracy.random_rigs import random_rig
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.files import write_atomically
from fieldsolve.ode import SDIRK3
from fieldsolve.shot.problem import REFINEMENT, ShotProblem
from fieldsolve.shot.solve import solve_shot_problem

FOLDER = REFERENCE / "shots"
METALS = {data["name"]: (path, data)             # of the references' rigs, as they were: file and tables by name
          for path in sorted((FOLDER / "metals").glob("*.toml")) for data in [tomllib.loads(path.read_text(encoding="utf-8"))]}
ACCURACY = {False: 1e-4, True: 3e-4}            # of the reference runs, by whether metal moves; their method is of third order
QUARTERS = (1.15, 1.5)                          # quarter periods of these shots: long enough for the peaks
DEVELOPMENT = {False: range(1000, 1010), True: range(1200, 1206)}          # seeds that the error model may be fitted on
HELD_OUT = {False: range(1100, 1110), True: range(1300, 1306)}             # and seeds that it has not seen


@dataclass(frozen=True)
class ReferenceShot:
    """The numbers of a reference run and, of each, how far a run of four times its accuracy is off.

    seed, motion, kinds, tables   of the rig
    settings   accuracy, method, steps, unknowns, the commit of the code that made it, and a hash of the metals' data
    numbers    (value, value of the run between) by name
    series     at the sample times, of the reference run and of the run between
    fields     (time in s, flux density (2, 3), the same of the run between)
    """

    seed: int
    motion: bool
    kinds: tuple[str, ...]
    tables: dict
    settings: dict
    numbers: dict[str, tuple[float, float]]
    series: tuple[tuple[SampledSeries, SampledSeries], ...]
    fields: tuple[tuple[float, np.ndarray, np.ndarray], ...]

    @property
    def is_stale(self) -> bool:
        """Whether the data of its metals have changed since it was made."""
        return self.settings["metals"] != metals_hash(self.tables)

    @property
    def held_out(self) -> bool:
        """Whether its seed is one of those that no error model was fitted on."""
        return self.seed in HELD_OUT[self.motion]


def seeds(motion: bool) -> tuple[int, ...]:
    """All seeds, development and held out in turn."""
    return tuple(seed for pair in zip(DEVELOPMENT[motion], HELD_OUT[motion], strict=True) for seed in pair)


def load_references() -> Iterator[ReferenceShot]:
    """The references that there are."""
    for path in sorted(FOLDER.glob("*.json")):
        yield _read(path)


def make_references(motion: bool, only: Sequence[int] = ()) -> Iterator[Path]:
    """Make the files that are missing or stale, one after the other, or those of these seeds."""
    FOLDER.mkdir(exist_ok=True)
    for seed in [seed for seed in only if seed in seeds(motion)] if only else seeds(motion):
        path = FOLDER / f"{seed}.json"
        if not path.exists() or _read(path).is_stale:
            write_atomically(path, lambda partial, seed=seed: partial.write_text(_as_text(_reference_data(seed, motion)), encoding="utf-8"))
            yield path


def with_kept_metals(tables: Any) -> Any:
    """Tables whose metals are the files beside the references, which stay as they are when the package's numbers get better."""
    if isinstance(tables, dict):
        return {name: with_kept_metals(value) for name, value in tables.items()}
    if isinstance(tables, list):
        return [with_kept_metals(value) for value in tables]
    return str(METALS[tables][0]) if tables in METALS else tables


def metals_hash(tables: dict) -> str:
    """Of the data of the metals that a rig is made of, whatever else they are called."""
    named = [name for name in sorted(METALS) if json.dumps(name) in json.dumps(tables)]
    data = {name: {key: entry.get("value") if isinstance(entry, dict) else entry for key, entry in METALS[name][1].items()
                   if key != "aliases"} for name in named}
    return hashlib.sha256(json.dumps(data, sort_keys=True, default=str).encode()).hexdigest()[:12]


def _read(path: Path) -> ReferenceShot:
    data = json.loads(path.read_text(encoding="utf-8"))
    series = tuple((SampledSeries(**one), SampledSeries(**other)) for one, other in data["series"])
    fields = tuple((time, np.array(one), np.array(other)) for time, one, other in data["fields"])
    return ReferenceShot(**data | {"series": series, "fields": fields, "kinds": tuple(data["kinds"]),
                                   "numbers": {name: tuple(pair) for name, pair in data["numbers"].items()}})


def _as_text(data: dict) -> str:
    """JSON with nine digits of each number, one key of the data a line."""
    def rounded(value):
        if isinstance(value, float):
            return float(f"{value:.9g}")
        if isinstance(value, dict):
            return {key: rounded(entry) for key, entry in value.items()}
        return [rounded(entry) for entry in value] if isinstance(value, (list, tuple)) else value
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {json.dumps(rounded(value))}" for key, value in data.items()) + "\n}\n"


def problem_of(case: Case) -> ShotProblem:
    """What is solved for a case, at the default accuracy."""
    return ShotProblem(section=case.section, bank=case.banks, end_time=case.run.end_time, motion=case.run.motion, leads=case.leads,
                       crowbar=case.crowbar, former=case.former)


def _reference_data(seed: int, motion: bool) -> dict:
    rig = random_rig(seed, motion, QUARTERS)
    problem = replace(problem_of(read_case(with_kept_metals(rig.tables))), accuracy=ACCURACY[motion] * REFINEMENT, method=SDIRK3,
                      error_bounds=False)
    between = solve_shot_problem(problem)
    reference = solve_shot_problem(problem.refined(float(between.times[-1]) if between.stop_reason else None))
    end, coarse = problem.end_time, {number.name: number.value for number in numbers(between)}
    return {
        "seed": seed, "motion": motion, "kinds": rig.kinds, "tables": rig.tables,
        "settings": {"accuracy": reference.accuracy, "method": reference.method, "steps": reference.steps, "unknowns": reference.unknowns,
                     "code": _commit(), "metals": metals_hash(rig.tables), "seconds": round(reference.wall_time),
                     "ended": reference.stop_reason},
        "numbers": {number.name: (number.value, coarse.get(number.name, np.nan)) for number in numbers(reference)},
        "series": [(vars(one), vars(other)) for one, other in _paired(sample_series(reference, end), sample_series(between, end))],
        "fields": [(time, one.tolist(), other.tolist())
                   for (time, one), (_, other) in zip(sample_fields(reference, end), sample_fields(between, end), strict=False)],
    }


def _paired(ones, others):
    known = {(other.name, other.time): other for other in others}
    return [(one, known[one.name, one.time]) for one in ones if (one.name, one.time) in known]


def _commit() -> str:
    command = ["git", "rev-parse", "--short", "HEAD"]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=REFERENCE).stdout.strip()
