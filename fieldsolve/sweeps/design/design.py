"""The best design of a case: runs chosen one batch after the other, the frontier, and the band of the answer."""
from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.errors import FieldError, InputError, suggestion
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.rig.checks.rule import AT_MOST
from fieldsolve.sweeps.design.band import band_of, band_points
from fieldsolve.sweeps.design.problem import ALL, DesignProblem, Limit, read_problem
from fieldsolve.sweeps.design.result import Design, frontier_of, least_violated
from fieldsolve.sweeps.design.search import Believed, believe, best_point, choose_runs, meets, space_filling
from fieldsolve.sweeps.executors import Workers, choose_workers, kept_open
from fieldsolve.sweeps.points import Plan, Point
from fieldsolve.sweeps.run import DONE, RunOptions
from fieldsolve.sweeps.store import RunStore, open_store
from fieldsolve.sweeps.sweep import Progress, check_plan, run_plan
from geometries.keywords import known_keywords

BATCH = 4                       # runs at a time, whatever the number of workers, so that the answer does not depend on it
FIRST_RUNS = 4                  # for each free value, that fill the space
SMALL_GAIN = 2e-3               # of the goal: the search ends where no run promises more
LEVELS = 4                      # of the frontier's second quantity, between its ends
LEVEL_ROUNDS = 2
SCREENED = 4096                 # points that are tried for the first runs, of which some cannot exist
ENERGY = "energy of bank"


@known_keywords
@one_thread()
def design(case: str | Path | Mapping[str, Mapping[str, Any]] | Case, vary: Mapping[str, Sequence[Any]], *, largest: str | None = None,
           smallest: str | None = None, against: str | None = ENERGY, limits: str | Sequence[str] = ALL,
           require: Mapping[str, Sequence[Any]] | None = None, follow: Mapping[str, Sequence[Any]] | None = None, runs: int = 40,
           workers: int | None = None, store: str | Path | None = None, executor: Executor | None = None, scheduler: str | None = None,
           accuracy: float | None = None, held: bool = False, card: bool = False, seed: int = 0,
           progress: Progress | None = None) -> Design:
    """Find the values of a case that make a result largest, or smallest, within the limits of the card.

    A Gaussian process through the computed runs says which runs promise most, so that few are needed.  The answer is a run that was
    computed, with error bounds, not a point of the response.

    Parameters
    ----------
    case : str, Path, mapping or Case
        As for `read_case`.  Values with an uncertainty, such as "120 uF +- 3 %", give the answer its band.
    vary : mapping of str to (low, high)
        The free values by dotted key, with both ends: {"coil.turns": (4, 12), "bank.voltage": ("4 kV", "7 kV")}.  Between two whole
        numbers the value stays whole.
    largest, smallest : str
        The goal, one of them: a column of `Sweep.rows` such as "field in bore", "radius ratio of disc" or "energy of bank".
    against : str, optional
        A second column that is to be small: the result holds the frontier of the two.  None: only the best.
    limits : str or sequence of str, optional
        Checks of the card that must be within: "all", "stops" (the hard ones), or names as below [limits].  Those that the free values do
        not bear on are reported and left out.
    require : mapping of str to (str, float), optional
        Limits of other columns in SI: {"radius ratio of disc": ("at most", 0.8)}.
    follow : mapping of str to (str, float), optional
        Keys that are a factor times a free value: {"coil.pitch": ("coil.wire_diameter", 1.1)}.
    runs : int, optional
        The most runs of the search with its frontier; the band needs up to two more for each uncertain value, the answer one with error
        bounds.
    workers, store, executor, scheduler, accuracy, held, card, progress
        As for `sweep`.
    seed : int, optional
        The same seed finds the same answer.

    Returns
    -------
    Design
        Its `best` is a row, or None where no run met the limits; `binding` then names those that were never met.

    Raises
    ------
    InputError
        For an unknown goal, key or check, ends that do not go together, too few runs; and as `sweep`.

    Examples
    --------
    >>> import fieldsolve as fs
    >>> case = {"coil": {"shape": "ring", "radius": "20 mm", "wire_diameter": "2 mm", "material": "copper", "current": "1 kA"},
    ...         "field": {"accuracy": 1e-2}}
    >>> found = fs.design(case, {"coil.radius": ("15 mm", "40 mm")}, largest="field at centre", against=None, workers=1, runs=10,
    ...                   require={"inductance of coil": ("at least", 100e-9)})
    >>> print(f"{float(found.best['coil.radius'].split()[0]):.0f} mm;", *found.binding)
    23 mm; inductance of coil
    """
    case, problem = read_case(case), read_problem(vary, _goal(largest, smallest), smallest=smallest is not None,
                                                  against=against if against not in (largest, smallest) else None, limits=limits,
                                                  require=require, follow=follow)
    _check_runs(runs, len(problem.spans))
    check_plan(case, Plan((tuple(problem.point(np.full(len(problem.spans), share)) for share in (0.0, 1.0)),)))
    options = RunOptions(accuracy=None if accuracy is None else check_accuracy(accuracy), held=held, error_bounds=False, card=card)
    with kept_open(choose_workers(workers, executor, scheduler, BATCH)) as kept:
        search = _Search(case, problem, options, kept, None if store is None else open_store(store, case), runs, seed, progress)
        search.find()
        return search.answer()


def _goal(largest: str | None, smallest: str | None) -> str:
    if (largest is None) == (smallest is None):
        raise InputError("give one goal: largest='field in bore', or smallest='energy of bank'")
    return largest or smallest or ""


def _check_runs(runs: int, dimensions: int) -> None:
    least = FIRST_RUNS * dimensions + BATCH
    if isinstance(runs, bool) or not isinstance(runs, int) or runs < least:
        raise InputError(f"runs = {runs!r}: {dimensions} free values need {least} at least")


@dataclass
class _Search:
    """The runs so far."""

    case: Case
    problem: DesignProblem
    options: RunOptions
    workers: Workers
    store: RunStore | None
    most: int
    seed: int
    progress: Progress | None
    shares: list[np.ndarray] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    limits: tuple[Limit, ...] = ()
    not_met: tuple[Limit, ...] = ()
    interrupted: bool = False

    def find(self) -> None:
        """Fill the space, then follow what the responses promise; some of the runs are left for the frontier."""
        dimensions = len(self.problem.spans)
        self._compute(self._first_points(FIRST_RUNS * dimensions))
        for_frontier = LEVELS * LEVEL_ROUNDS if self.problem.against else 0
        small = 0
        while small < 2 and len(self.rows) < max(self.most - for_frontier, FIRST_RUNS * dimensions + BATCH) and not self.interrupted:
            believed = self._believed()
            chosen = self._chosen(believed, min(BATCH, self.most - len(self.rows)))
            if not chosen:
                break
            if believed is not None:
                small = small + 1 if believed.expected_gain(np.array(chosen)) < SMALL_GAIN else 0
            self._compute(chosen)
        if self.problem.against and not self.interrupted:
            self._follow_frontier()

    def _first_points(self, count: int) -> list[np.ndarray]:
        found: list[np.ndarray] = []
        for shares in space_filling(self.problem, SCREENED, self.seed):
            if len(found) < count and self._is_possible(shares) and not any(np.array_equal(shares, other) for other in found):
                found.append(shares)
        if not found:
            raise InputError("vary: no part can exist anywhere between these ends; give others")
        return found

    def _chosen(self, believed: Believed | None, count: int) -> list[np.ndarray]:
        seed = self.seed + len(self.rows)
        if believed is None:                            # too few runs have come out: fill the space further
            pool = space_filling(self.problem, SCREENED, seed + 1)
            return [shares for shares in pool[:64] if self._is_possible(shares)][:count]
        return choose_runs(believed, count, np.array(self.shares), self._is_possible, seed)

    def _believed(self) -> Believed | None:
        return believe(self.problem, np.array(self.shares), self.rows, self.limits)

    def _is_possible(self, shares: np.ndarray) -> bool:
        try:
            self.case.with_values(self.problem.point(shares))
        except FieldError:
            return False
        return True

    def _compute(self, chosen: list[np.ndarray]) -> None:
        """Compute runs at shares, and see anew which limits the free values bear on."""
        table = self._run(tuple(self.problem.point(shares) for shares in chosen), self.options)
        self.shares += chosen
        self.rows += table.rows
        self.interrupted |= table.interrupted
        self._check_columns()
        self.limits, self.not_met = self.problem.limits_of(self.rows, self.case.limits)

    def _run(self, points: tuple[Point, ...], options: RunOptions):
        before, most = len(self.rows), self.most

        def progress(done: int, count: int, left: float | None) -> None:
            if self.progress:
                self.progress(before + done, max(most, before + count), left and left / count * (most - before))
        table = run_plan(self.case, Plan((points,)), options, self.workers, self.store, progress=progress)
        self.units |= table.units
        return table

    def _check_columns(self) -> None:
        """Refuse a goal or a requirement that no row has."""
        done = [row for row in self.rows if row["status"] == DONE]
        known = {name for row in done for name in row}
        for name in (self.problem.goal, self.problem.against, *(limit.column for limit in self.problem.require)):
            if done and name is not None and name not in known:
                if name == self.problem.against == ENERGY:
                    self.problem = replace(self.problem, against=None)          # a field has no bank
                    continue
                raise InputError(f"{name!r}: no result has this name; {suggestion(name, known)}")
        if not done and not self.interrupted:
            raise InputError(f"none of the first {len(self.rows)} runs has come out; the first one: {self.rows[0]['reason']}")

    def _follow_frontier(self) -> None:
        """Runs at levels of the second quantity, the best of the goal that each allows."""
        for _ in range(LEVEL_ROUNDS):
            believed = self._believed()
            chosen = [] if believed is None else list(self._level_points(believed))
            if not chosen or self.interrupted:
                return
            self._compute(chosen)

    def _level_points(self, believed: Believed) -> Iterator[np.ndarray]:
        met = [row for row in self.rows if meets(row, self.problem, self.limits)]
        second = believe(replace(self.problem, goal=self.problem.against or ""), np.array(self.shares), self.rows, ())
        if len(met) < 2 or second is None:
            return
        name, sign = self.problem.against or "", -1.0 if self.problem.smallest else 1.0
        top = max(met, key=lambda row: sign * row[self.problem.goal])[name]
        low = min(row[name] for row in met)
        chosen, surface = list(self.shares), second.goal
        for k, level in enumerate(np.linspace(low, top, LEVELS + 2)[1:-1] if top > low else ()):
            limit = Limit(name, AT_MOST, float(level))
            within = [sign * row[self.problem.goal] for row in met if row[name] <= level]
            best = believed.goal.scaled(sign * max(within)) if within else None

            def promise(shares: np.ndarray, limit=limit, best=best) -> np.ndarray:
                return believed.acquisition(shares, [(limit, surface)], best)
            found = best_point(promise, self.problem, np.array(chosen), self._is_possible, self.seed + k)
            if found is not None:
                chosen.append(found)
                yield found

    def answer(self) -> Design:
        """The best run once more with error bounds, its band, and the frontier."""
        met = [row for row in self.rows if meets(row, self.problem, self.limits)]
        choose: Callable[..., Any] = min if self.problem.smallest else max
        best = choose(met, key=lambda row: row[self.problem.goal]) if met else None
        band, band_runs = {}, 0
        if best is not None and not self.interrupted:
            bounded = self._run(({name: best[name] for name in self._inputs()},), replace(self.options, error_bounds=True))
            best = {**bounded.rows[0]} if bounded.rows[0]["status"] == DONE else best
            points = band_points(self.case, {name: best[name] for name in self._inputs()})
            if points:
                table = self._run(tuple(point for pair in points.values() for point in pair), self.options)
                band, band_runs = band_of(best, list(points), table.rows, self.problem, self.limits), len(table.rows)
        nearest, never = (None, ()) if best else least_violated(self.rows, self.limits)
        return Design(case=self.case, problem=self.problem, limits=self.limits, best=best, nearest=nearest, never_met=never,
                      rows=tuple(self.rows), frontier=frontier_of(met, self.problem), band=band, not_met=self.not_met,
                      units=dict(self.units), band_runs=band_runs, interrupted=self.interrupted)

    def _inputs(self) -> tuple[str, ...]:
        return (*(span.key for span in self.problem.spans), *self.problem.follow)
