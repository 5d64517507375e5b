"""A sweep: one row a run, for every point of a plan, on all cores or many machines; each finished run is kept at once."""
from __future__ import annotations

import time as clock
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.errors import FieldError, GeometryError, InputError
from fieldsolve.sweeps.card_rows import card_columns, card_of
from fieldsolve.sweeps.executors import Workers, choose_workers
from fieldsolve.sweeps.points import Plan, Point, Samples, plan_points
from fieldsolve.sweeps.result import Sweep
from fieldsolve.sweeps.run import FAILED, INTERRUPTED, Outcome, Run, RunOptions, run_key
from fieldsolve.sweeps.scheduling import compute_runs
from fieldsolve.sweeps.store import RunStore, open_store
from geometries.keywords import known_keywords

Progress = Callable[[int, int, float | None], None]
MOST_CHECKED = 200              # choices of an axis that are read before anything is computed


@known_keywords
def sweep(case: str | Path | Mapping[str, Mapping[str, Any]] | Case, over: Mapping[Any, Sequence[Any]] | Sequence[Point] | Samples, *,
          workers: int | None = None, store: str | Path | None = None, executor: Executor | None = None, scheduler: str | None = None,
          accuracy: float | None = None, held: bool = False, error_bounds: bool = True, card: bool = False, keep_shots: bool = False,
          allow_many: bool = False, progress: Progress | None = None) -> Sweep:
    """Compute a case once for every point of a plan: its shot where there is a [bank], else its field at rest or at frequencies.

    Ctrl-C ends it early: the rows that are missing have the status 'interrupted'.  With a store each finished run is kept at once, and a
    sweep that was ended, even by kill -9, computes only what is missing when it is called again.

    Parameters
    ----------
    case : str, Path, mapping or Case
        As for `read_case`.
    over : mapping, sequence of mappings, or Samples
        Values by dotted key, {"coil.turns": [6, 8], "bank.voltage": ["5 kV", "6 kV"]}: every choice of one with every choice of the
        others.  A tuple of keys takes values that go together: {("coil.turns", "coil.pitch"): [(6, "3.3 mm"), (8, "3.6 mm")]}.  Or a list
        of points, or `Samples`.
    workers : int, optional
        Processes on this machine; 1 computes in this process; default one a core.
    store : str or Path, optional
        Folder in which finished runs are kept, by what they depend on; made where it is not there.
    executor : concurrent.futures.Executor, optional
        What computes the runs in place of processes of this machine; the caller ends it.
    scheduler : str, optional
        Address of a scheduler of dask.distributed, such as "tcp://10.0.0.1:8786"; needs the extra `cluster`.
    accuracy : float, optional
        Relative, in place of the case's.
    held : bool, optional
        Hold the metal of every shot still, whatever [run] motion says.
    error_bounds : bool, optional
        Whether a coarser companion run, a quarter of the work, bounds the errors of a shot.
    card : bool, optional
        Compute all that the rig's card judges, as `fieldsolve rig` does; without it the card is made of the one shot of the row, and
        checks that need more are not assessed.
    keep_shots : bool, optional
        Keep the whole shots in the store too, 2 MB each with metal held and 20 MB with moving metal.
    allow_many : bool, optional
        Whether more than 100 000 runs are meant.
    progress : callable, optional
        Called with the number of rows that are there, that of all, and the seconds left, None where not known.

    Returns
    -------
    Sweep
        Its `rows` stand in the order of the points, however many computed them.

    Raises
    ------
    InputError
        For an empty or too large plan, an unknown key or a value that cannot be read, a store of another case, a scheduler that is not
        there.
    SolveError, VersionError
        Where no process can be started; where a worker has other versions.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> case = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"}}
    >>> table = fs.sweep(case, over={"coil.radius": ["20 mm", "40 mm"]}, workers=1, accuracy=1e-2)
    >>> [(row["coil.radius"], row["status"], f"{1e9 * row['inductance of coil']:.0f} nH") for row in table.rows]
    [('20 mm', 'done', '84 nH'), ('40 mm', 'done', '202 nH')]
    """
    case, plan = read_case(case), plan_points(over, allow_many)
    options = RunOptions(accuracy=None if accuracy is None else check_accuracy(accuracy), held=held, error_bounds=error_bounds, card=card)
    if keep_shots and store is None:
        raise InputError("keep_shots: needs a folder to keep them in; give store=")
    check_plan(case, plan)
    folder = None if store is None else open_store(store, case)
    return run_plan(case, plan, options, choose_workers(workers, executor, scheduler, plan.count), folder, keep_shots, progress)


def run_plan(case: Case, plan: Plan, options: RunOptions, workers: Workers, store: RunStore | None = None, keep_shots: bool = False,
             progress: Progress | None = None) -> Sweep:
    """The sweep of a plan that was checked, by the workers; see `sweep`."""
    table = _Table(case, plan, options, store, keep_shots, progress or (lambda done, count, left: None))
    interrupted = table.compute(workers)
    return Sweep.of(case, plan, table.rows, table.units, store, table.keys, interrupted)


def check_plan(case: Case, plan: Plan) -> None:
    """Read the choices of each axis with the first of the others: InputError, before anything is computed, for what cannot be read.

    A part that cannot exist is no such error: it is the reason of its row.
    """
    first = next(plan.points())
    for axis in plan.axes:
        for choice in axis[:MOST_CHECKED]:
            with suppress(GeometryError):
                case.with_values({**first, **choice})


@dataclass
class _Table:
    """The rows as they come."""

    case: Case
    plan: Plan
    options: RunOptions
    store: RunStore | None
    keep_shots: bool
    progress: Progress
    found: dict[int, dict[str, Any]] = field(default_factory=dict)                      # rows by number
    keys: dict[int, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    outcomes: dict[str, Outcome] = field(default_factory=dict)                          # by key
    waiting: dict[str, list[tuple[int, Point, Case]]] = field(default_factory=dict)     # rows whose run is not there yet, by key
    computed: int = 0

    @property
    def rows(self) -> list[dict[str, Any]]:
        """A row for each point, in order; those that are missing were interrupted."""
        return [self.found.get(number) or {**point, "status": INTERRUPTED, "reason": "the sweep was interrupted before this run had ended"}
                for number, point in enumerate(self.plan.points())]

    def compute(self, workers: Workers) -> bool:
        """Compute what is missing; returns whether Ctrl-C ended it early."""
        self.started = clock.monotonic()
        try:
            with closing(compute_runs(self._missing_runs(), workers)) as outcomes:
                for run, outcome in outcomes:
                    self._keep(run.key, outcome)
        except KeyboardInterrupt:
            return True
        return False

    def _missing_runs(self) -> Iterator[Run]:
        """The runs that are neither stored nor handed out; rows of the others are put in."""
        for number, point in enumerate(self.plan.points()):
            try:
                case = self.case.with_values(point)
            except FieldError as error:
                self._add_row(number, point, None, Outcome(status=FAILED, reason=str(error)))
                continue
            key = self.keys[number] = run_key(case, self.options)
            outcome = self.outcomes.get(key) or self._stored(key)
            if outcome is not None:
                self._add_row(number, point, case, outcome)
            elif key in self.waiting:
                self.waiting[key].append((number, point, case))
            else:
                self.waiting[key] = [(number, point, case)]
                yield Run(key, case, self.options, shot=self.store.shot_path(key).absolute() if self.store and self.keep_shots else None)

    def _stored(self, key: str) -> Outcome | None:
        if self.store is None:
            return None
        outcome = self.store.find(key)
        if outcome and self.keep_shots and outcome.card is not None and not self.store.shot_path(key).exists():
            return None
        return outcome

    def _keep(self, key: str, outcome: Outcome) -> None:
        if self.store:
            self.store.put(key, outcome)
        self.outcomes[key] = outcome
        self.computed += 1
        for number, point, case in self.waiting.pop(key):
            self._add_row(number, point, case, outcome)

    def _add_row(self, number: int, point: Point, case: Case | None, outcome: Outcome) -> None:
        self.found[number] = {**point, **_columns(case, outcome)}
        self.units |= {name: unit for name, (_, _, unit) in outcome.results.items() if unit}
        self.progress(len(self.found), self.plan.count, self._seconds_left())

    def _seconds_left(self) -> float | None:
        if not self.computed:
            return None
        return (clock.monotonic() - self.started) / self.computed * (self.plan.count - len(self.found))


def _columns(case: Case | None, outcome: Outcome) -> dict[str, Any]:
    """What a row says beside its inputs."""
    columns: dict[str, Any] = {"status": outcome.status, "reason": outcome.reason}
    for name, (value, error, _) in outcome.results.items():
        columns |= {name: value, f"error of {name}": error}
    if outcome.card is not None and case is not None:
        columns |= card_columns(card_of(case, outcome.card))
    return columns | {"seconds": outcome.seconds}
