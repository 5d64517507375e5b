"""The search of a design: the first pass, then runs chosen one batch after the other, the frontier, and the band of the answer."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import FieldError, InputError, suggestion
from fieldsolve.rig.checks.rule import AT_MOST
from fieldsolve.sweeps.design.acquisition import MOST_REFUSED, Believed, believe, best_point, choose_runs, meets, space_filling
from fieldsolve.sweeps.design.band import band_of, band_points
from fieldsolve.sweeps.design.first_pass import FirstPass, compute_first_pass, no_first_pass
from fieldsolve.sweeps.design.problem import DesignProblem, Limit
from fieldsolve.sweeps.design.reduced_models import ReducedModels
from fieldsolve.sweeps.design.result import Design, frontier_of, least_violated
from fieldsolve.sweeps.design.screening import Screening
from fieldsolve.sweeps.executors import Workers
from fieldsolve.sweeps.points import Plan, Point
from fieldsolve.sweeps.result import BESIDE_RESULTS
from fieldsolve.sweeps.results import ENERGY
from fieldsolve.sweeps.run import DONE, RunOptions
from fieldsolve.sweeps.store import RunStore
from fieldsolve.sweeps.sweep import Progress, run_plan

BATCH = 4                       # runs at a time, whatever the number of workers, so that the answer does not depend on it
FIRST_RUNS = 4                  # for each free value, that fill the space where no first pass tells the goal
MORE_THAN_FREE = 3              # first runs beside one for each free value, where it does
SMALL_GAIN = 2e-3               # of the goal: the search ends where no run promises more
LEVELS = 4                      # of the frontier's second quantity, between its ends
LEVEL_ROUNDS = 2
SCREENED = 4096                 # points that are tried for the first runs, of which some cannot exist


@dataclass
class Search:
    """The runs so far."""

    case: Case
    problem: DesignProblem
    options: RunOptions
    workers: Workers
    store: RunStore | None
    most: int
    seed: int
    with_first_pass: bool
    progress: Progress | None
    screening: Screening = field(init=False)
    shares: list[np.ndarray] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    limits: tuple[Limit, ...] = ()
    not_met: tuple[Limit, ...] = ()
    interrupted: bool = False

    def __post_init__(self) -> None:
        self._screen_by(no_first_pass(self.problem, "none was wanted"), ReducedModels.of(self.case, self.problem, self.options.accuracy))

    def find(self) -> None:
        """The best within the limits and the frontier, as far as Ctrl-C lets it."""
        try:
            self._find()
        except KeyboardInterrupt:
            self.interrupted = True

    def _find(self) -> None:
        """Fill the space, then follow what the responses promise; some of the runs are left for the frontier."""
        dimensions = len(self.problem.spans)
        if self.with_first_pass:
            self._look_first()
        self._compute(self._first_points(dimensions + MORE_THAN_FREE if self.first_pass.predicts_goal else FIRST_RUNS * dimensions))
        for_frontier = LEVELS * LEVEL_ROUNDS if self.problem.against else 0
        small, until = 0, max(self.most - for_frontier, FIRST_RUNS * dimensions + BATCH)
        while small < 2 and len(self.rows) < until and not self.interrupted:
            believed = self._believed()
            chosen = self._chosen(believed, min(BATCH, until - len(self.rows)))
            if not chosen:
                break
            if believed is not None:
                small = small + 1 if believed.expected_gain(np.array(chosen)) < SMALL_GAIN else 0
            self._compute(chosen)
        if self.problem.against and not self.interrupted:
            self._follow_frontier()

    def _look_first(self) -> None:
        models = self.screening.models
        self._screen_by(compute_first_pass(models, self._moves, self.seed, self._show_start), models)

    def _screen_by(self, first_pass: FirstPass, models: ReducedModels) -> None:
        pool = space_filling(self.problem, SCREENED, self.seed)
        self.screening = Screening.after(first_pass, models, self._moves, self.options.card, pool)

    def _show_start(self) -> None:
        if self.progress:
            self.progress(0, self.most, None)

    @property
    def first_pass(self) -> FirstPass:
        """The first pass as far as it has come."""
        return self.screening.first_pass

    @property
    def _moves(self) -> bool:
        return bool(self.case.run.motion) and not self.options.held

    def _first_points(self, count: int) -> list[np.ndarray]:
        """Points that fill the space, of those that the first pass holds worth a run where there are so many."""
        found: list[np.ndarray] = []
        refused: list[np.ndarray] = []
        for shares in self.screening.screen.ranked(self.screening.pool):
            if len(found) == count:
                break
            if self._exists(shares) and not any(np.array_equal(shares, other) for other in (*found, *refused)):
                (found if len(refused) >= MOST_REFUSED or self.screening.is_worth(shares) else refused).append(shares)
        if not found and not refused:
            raise InputError("vary: no part can exist anywhere between these ends; give others")
        return [*found, *refused][:count]

    def _chosen(self, believed: Believed | None, count: int) -> list[np.ndarray]:
        seed = self.seed + len(self.rows)
        if believed is None:                            # too few runs have come out: fill the space further
            pool = space_filling(self.problem, SCREENED, seed + 1)
            return [shares for shares in pool[:64] if self._exists(shares)][:count]
        return choose_runs(believed, count, np.array(self.shares), self._exists, self.screening.is_worth, seed)

    def _believed(self) -> Believed | None:
        return believe(self.problem, np.array(self.shares), self.rows, self.limits, self.first_pass)

    def _exists(self, shares: np.ndarray) -> bool:
        try:
            self.case.with_values(self.problem.point(shares))
        except FieldError:
            return False
        return True

    def _compute(self, chosen: list[np.ndarray]) -> None:
        """Compute runs at shares, and see anew which limits the free values bear on."""
        table = self._run(tuple(self.problem.point(shares) for shares in chosen), self.options)
        self.shares += chosen
        self.rows += self.screening.with_first_pass_only(chosen, table.rows)
        self.interrupted |= table.interrupted
        self._check_columns()
        self.limits, self.not_met = self.problem.limits_of(self.rows, self.case.limits)
        self.screening.learn(self.shares, self.rows)

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
                raise InputError(f"{name!r}: no result has this name; {suggestion(name, _goal_names(known))}")
        if not done and not self.interrupted:
            raise InputError(f"none of the first {len(self.rows)} runs has come out; the first one: {self.rows[0]['reason']}")

    def _follow_frontier(self) -> None:
        """Runs at levels of the second quantity, the best of the goal that each allows."""
        for _ in range(LEVEL_ROUNDS):
            believed = self._believed()
            chosen = [] if believed is None else list(self._level_points(believed))[:max(self.most - len(self.rows), 0)]
            if not chosen or self.interrupted:
                return
            self._compute(chosen)

    def _level_points(self, believed: Believed) -> Iterator[np.ndarray]:
        met = [row for row in self.rows if meets(row, self.problem, self.limits)]
        second = believe(replace(self.problem, goal=self.problem.against or ""), np.array(self.shares), self.rows, (),
                         self.first_pass)
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
            found = best_point(promise, self.problem, np.array(chosen), self._exists, self.seed + k)
            if found is not None and self.screening.is_worth(found):
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
            only = {column: best[column] for column in self.screening.first_pass_only}
            best = {**bounded.rows[0], **only} if bounded.rows[0]["status"] == DONE else best
            points = band_points(self.case, {name: best[name] for name in self._inputs()})
            if points:
                table = self._run(tuple(point for pair in points.values() for point in pair), self.options)
                limits = [limit for limit in self.limits if limit.column not in self.screening.first_pass_only]
                band, band_runs = band_of(best, list(points), table.rows, self.problem, limits), len(table.rows)
        nearest, never = (None, ()) if best else least_violated(self.rows, self.limits)
        models = self.screening.models
        first_pass = replace(self.first_pass, models=models.count, seconds=models.seconds)
        return Design(case=self.case, problem=self.problem, limits=self.limits, best=best, nearest=nearest, never_met=never,
                      rows=tuple(self.rows), frontier=frontier_of(met, self.problem), band=band, not_met=self.not_met,
                      units=dict(self.units), band_runs=band_runs, interrupted=self.interrupted, first_pass=first_pass,
                      differences=first_pass.differences(np.array(self.shares), self.rows) if self.rows else (),
                      first_pass_only=self.screening.first_pass_only)

    def _inputs(self) -> tuple[str, ...]:
        return (*(span.key for span in self.problem.spans), *self.problem.follow)


def _goal_names(columns: set[str]) -> list[str]:
    """The columns that a goal is mostly chosen from: neither bounds, times and margins, nor what stands beside results."""
    return [name for name in columns if name not in BESIDE_RESULTS and not name.startswith(("error of ", "time of ", "margin of "))]
