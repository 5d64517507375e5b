"""One run of a sweep: what is computed, the key that it is kept under, and its outcome, in whatever process it is computed."""
from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import time as clock
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import AccuracyWarning, FieldError
from fieldsolve.version import VERSION

DONE, FAILED, INTERRUPTED = "done", "failed", "interrupted"
PACKAGES = ("numpy", "scipy", "scikit-fem", "gmsh", "cvxopt")           # whose versions a result depends on


@cache
def software_versions() -> dict[str, str | None]:
    """Versions that a result depends on, None for a package that is not installed."""
    found: dict[str, str | None] = {"fieldsolve": VERSION}
    for package in PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = None
    return found


@dataclass(frozen=True, kw_only=True)
class RunOptions:
    """How runs are computed.

    accuracy      relative, in place of the case's; None: the case's, else the solver's
    held          whether the metal of a shot is held still, whatever [run] motion says
    error_bounds  whether a coarser companion run bounds the errors of a shot
    card          whether all that the rig's card judges is computed, as `fieldsolve rig` does: the shot with the metal held, with moving
                  metal, and the empty coil's inductance
    """

    accuracy: float | None = None
    held: bool = False
    error_bounds: bool = True
    card: bool = False


@dataclass(frozen=True)
class Run:
    """One run as it is sent to a process: a case, how it is computed, and what it is kept under.

    key       from `run_key`
    versions  those of the process that wants it
    shot      where the whole shot is kept, None where it is not
    """

    key: str
    case: Case
    options: RunOptions
    versions: Mapping[str, str | None] = field(default_factory=software_versions)
    shot: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of a run: plain data, as JSON keeps it.

    status   'done', 'failed' or 'interrupted';  reason  why it failed, or which promise it did not keep
    results  (value, error bound, unit) by column; a bound is None where none is known
    card     what the card's checks judge, see `card_rows`; None for a field
    seconds  that it took
    repeats  whether another try would come to the same; not where a process died or an error was none of this project's
    """

    status: str
    reason: str = ""
    results: Mapping[str, tuple[float | None, float | None, str]] = field(default_factory=dict)
    card: Mapping[str, Any] | None = None
    seconds: float = 0.0
    repeats: bool = True


class VersionError(FieldError, RuntimeError):
    """A worker runs other versions than the process that gives it work."""


def run_key(case: Case, options: RunOptions) -> str:
    """SHA-256 of all that a result depends on: the case in SI, its metals, the options and the versions.

    "5 kV" and 5000.0 have one key.  The tables of the workshop and [limits] are left out: the card is made from the result when the row
    is, so that a changed limit needs no new shot.
    """
    from fieldsolve.shot.kept.encoding import Encoder

    encoder = Encoder()
    content = encoder.encode(((case.section, case.currents, case.field, case.banks, case.leads, case.crowbar, case.former, case.run,
                               case.held_parts), dataclasses.asdict(options), software_versions()), "run")
    digest = hashlib.sha256(json.dumps([content, encoder.objects], sort_keys=True).encode())
    for array in encoder.arrays:
        digest.update(repr((array.shape, array.dtype.str)).encode() + array.tobytes())
    return digest.hexdigest()


def compute_run(run: Run) -> Outcome:
    """Compute a run; what this project's errors say is its reason, other errors are raised.

    Raises VersionError where this process has other versions, KeyboardInterrupt where the run was interrupted.
    """
    _check_versions(run.versions)
    from fieldsolve.field.linear_algebra.blas_threads import one_thread

    started = clock.perf_counter()
    try:
        with one_thread(), warnings.catch_warnings():
            warnings.simplefilter("ignore", AccuracyWarning)            # it is the row's reason
            outcome = _computed(run)
    except FieldError as error:
        outcome = Outcome(status=FAILED, reason=str(error))
    return dataclasses.replace(outcome, seconds=clock.perf_counter() - started)


def _check_versions(wanted: Mapping[str, str | None]) -> None:
    here = software_versions()
    differing = [f"{name} {here.get(name) or 'not installed'} in place of {wanted[name] or 'none'}" for name in wanted
                 if here.get(name) != wanted[name]]
    if differing:
        raise VersionError(f"a worker has {', '.join(differing)}: its results would not be those of this machine; install the same "
                           "versions on all")


def _computed(run: Run) -> Outcome:
    from fieldsolve.cases.solve import solve_case, solve_case_shot, solve_rig_shots
    from fieldsolve.sweeps.card_rows import pack_card_inputs

    case, options = run.case, run.options
    if options.card:
        shots = solve_rig_shots(case, options.accuracy, partial(_solve_shot, error_bounds=options.error_bounds))
        return _outcome(run, shots.moving_shot or shots.shot, pack_card_inputs(shots.shot, shots.moving_shot, shots.coil_inductance))
    if "bank" not in case.tables:
        return _outcome(run, solve_case(case, accuracy=options.accuracy), None)
    shot = _uninterrupted(solve_case_shot(case, options.accuracy, options.held, error_bounds=options.error_bounds))
    return _outcome(run, shot, pack_card_inputs(shot if shot.held else None, None if shot.held else shot, None))


def _solve_shot(case: Case, accuracy: float | None, held: bool, error_bounds: bool):
    from fieldsolve.cases.solve import solve_case_shot

    return _uninterrupted(solve_case_shot(case, accuracy, held, error_bounds=error_bounds))


def _uninterrupted(shot):
    """A shot that ran to its end; KeyboardInterrupt where Ctrl-C ended it."""
    if shot.interrupted:
        raise KeyboardInterrupt
    return shot


def _outcome(run: Run, result: Any, card: Mapping[str, Any] | None) -> Outcome:
    """The outcome of a result, which may be None for a card without a shot; a shot is kept where the run says so."""
    from fieldsolve.sweeps.results import results_of

    if result is None:
        return Outcome(status=DONE, card=card)
    if run.shot is not None and hasattr(result, "save"):
        run.shot.parent.mkdir(parents=True, exist_ok=True)
        result.save(run.shot)
    packed = {name: (None, None, "") if value is None else (_finite(value), _finite(value.error), value.unit)
              for name, value in results_of(result).items()}
    return Outcome(status=DONE, reason="; ".join(_shortfalls(result)), results=packed, card=card)


def _finite(number: float) -> float | None:
    return float(number) if math.isfinite(number) else None


def _shortfalls(result: Any) -> tuple[str, ...]:
    """The promises that a shot or a field did not keep, in words."""
    if hasattr(result, "shortfalls"):
        return result.shortfalls
    fields = result if hasattr(result, "frequencies") else [result]
    reached = all(each.accuracy_reached for each in fields)
    return () if reached else (f"accuracy = {next(iter(fields)).accuracy:g} is not reached",)
