"""The next runs of a design: where the computed ones promise the largest expected improvement within the limits.

    EI(x) = (m - y_best) Phi(u) + s phi(u),     u = (m - y_best) / s,     times the probability that every limit is met

m and s are mean and deviation of the response.  While no run meets all limits that probability alone counts.  The runs of a batch are
chosen one after the other, each as if those before had come out as the response says.  Sources: D. R. Jones, M. Schonlau and
W. J. Welch, Journal of Global Optimization 13 (1998) 455 (expected improvement); M. Schonlau, W. J. Welch and D. R. Jones, IMS Lecture
Notes 34 (1998) 11 (limits); D. Ginsbourger, R. Le Riche and L. Carraro (2010) (batches).
"""
from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.rig.checks.rule import AT_MOST
from fieldsolve.sweeps.design.first_pass import FirstPass
from fieldsolve.sweeps.design.problem import DesignProblem, Limit
from fieldsolve.sweeps.design.surface import NEAR, Assessed, ResponseSurface
from fieldsolve.sweeps.points import unit_cube
from fieldsolve.sweeps.run import DONE

POOL = 1024                     # points of the space that are compared before the best is polished
GENERATIONS, POPULATION = 40, 12            # of differential evolution, members for each free value
MOST_REFUSED = 16               # points that are not worth a run, before a batch goes without more
ROOM = 2e-4                     # in the response of a limit: what is aimed at lies so far within it


@dataclass(frozen=True)
class Believed:
    """What the computed runs say of the goal and of each limit.

    complete  where runs come out with every limit assessed; None where all have
    best  of the goal among the runs that meet all limits, on the scale of its response; None where none does
    """

    problem: DesignProblem
    goal: ResponseSurface
    limits: tuple[tuple[Limit, ResponseSurface], ...]
    complete: Assessed | None
    best: float | None

    def acquisition(self, shares: np.ndarray, levels: Sequence[tuple[Limit, ResponseSurface]] = (),
                    best: float | None = None) -> np.ndarray:
        """Logarithm of what a run at shares (n, free values) promises; (n,)."""
        from scipy.special import log_ndtr

        x = self.problem.features(self.problem.snapped(shares))
        logarithm = np.zeros(len(x))
        for limit, surface in (*self.limits, *levels):
            mean, deviation = surface.at(x)
            room = surface.scaled(limit.limit) - mean if limit.sense == AT_MOST else mean - surface.scaled(limit.limit)
            logarithm += log_ndtr((room - ROOM) / np.maximum(deviation, ROOM / 2))
        if self.complete is not None:
            logarithm += self.complete.log_probability(x)
        best = self.best if best is None else best
        return logarithm if best is None else logarithm + self._log_improvement(x, best)

    def _log_improvement(self, x: np.ndarray, best: float) -> np.ndarray:
        from scipy.special import log_ndtr, ndtr

        mean, deviation = self.goal.at(x)
        gain = (best - mean) if self.problem.smallest else (mean - best)
        u = gain / deviation
        density = np.exp(-0.5 * u**2) / np.sqrt(2 * np.pi)
        expected = deviation * (u * ndtr(u) + density)
        far = deviation * np.exp(np.clip(log_ndtr(u), -600, 0)) / (1 + u**2)            # its limit for large negative u, never 0
        return np.log(np.maximum(expected, 1e-280 + np.where(u < -5, far, 0.0)))

    def expected_gain(self, shares: np.ndarray) -> float:
        """The largest expected improvement as a share of the goal's value, over points (n, free values)."""
        if self.best is None:
            return np.inf
        gain = float(np.exp(self.acquisition(shares).max()))
        return gain if self.goal.logarithmic else gain / max(abs(self.best), 1e-300)

    def with_run(self, shares: np.ndarray) -> Believed:
        """The same as if a run at shares (free values,) had come out as the responses say."""
        x = self.problem.features(shares[None, :])
        limits = tuple((limit, surface.with_believed(x)) for limit, surface in self.limits)
        return replace(self, goal=self.goal.with_believed(x), limits=limits)

    def with_refused(self, shares: np.ndarray) -> Believed:
        """The same with a point (free values,) that is not worth a run."""
        x = self.problem.features(shares[None, :])
        refused = Assessed(x, np.zeros(1, dtype=bool))
        return replace(self, complete=refused.joined(self.complete or Assessed(self.goal.x, np.ones(len(self.goal.x), dtype=bool))))


def believe(problem: DesignProblem, shares: np.ndarray, rows: Sequence[Mapping[str, Any]], limits: Sequence[Limit],
            first: FirstPass) -> Believed | None:
    """The responses through the runs at shares (n, free values), about those of the first pass; None where too few have come out."""
    x, done = problem.features(shares), np.array([row["status"] == DONE and row.get(problem.goal) is not None for row in rows])
    if done.sum() < len(problem.spans) + 3:
        return None
    surfaces, complete = [], done.copy()
    for limit in limits:
        known = np.array([ready and row.get(limit.column) is not None for ready, row in zip(done, rows, strict=True)])
        complete &= known
        if limit.is_near([rows[k] for k in np.flatnonzero(known)]) and known.sum() >= len(problem.spans) + 3:
            values = _values(rows, known, limit.column)
            surfaces.append((limit, ResponseSurface.through(x[known], values, first.surfaces.get(limit.column))))
    goal = ResponseSurface.through(x[done], _values(rows, done, problem.goal), first.surfaces.get(problem.goal))
    met = [row[problem.goal] for row in rows if meets(row, problem, limits)]
    best = (min(met) if problem.smallest else max(met)) if met else None
    assessed = Assessed(x, complete).joined(first.assessed if limits else None)
    return Believed(problem, goal, tuple(surfaces), None if assessed.complete.all() else assessed,
                    None if best is None else goal.scaled(best))


def _values(rows: Sequence[Mapping[str, Any]], chosen: np.ndarray, column: str) -> np.ndarray:
    return np.array([rows[k][column] for k in np.flatnonzero(chosen)], dtype=float)


def meets(row: Mapping[str, Any], problem: DesignProblem, limits: Sequence[Limit]) -> bool:
    """Whether a run has come out and meets every limit; one that was not assessed is not met."""
    margins = [limit.margin_in(row) for limit in limits]
    return row["status"] == DONE and row.get(problem.goal) is not None and all(margin is not None and margin >= 0 for margin in margins)


def choose_runs(believed: Believed, count: int, computed: np.ndarray, exists: Callable[[np.ndarray], bool],
                is_worth: Callable[[np.ndarray], bool], seed: int) -> list[np.ndarray]:
    """The next runs as shares (free values,), best first; none of them computed before (n, free values), impossible or not worth it."""
    chosen: list[np.ndarray] = []
    refused: list[np.ndarray] = []
    while len(chosen) < count and len(refused) < MOST_REFUSED:
        found = best_point(believed.acquisition, believed.problem, np.array([*computed, *chosen, *refused]), exists,
                           seed + len(chosen) + len(refused))
        if found is None:
            break
        worth = is_worth(found)
        (chosen if worth else refused).append(found)
        believed = believed.with_run(found) if worth else believed.with_refused(found)
    return chosen


def best_point(acquisition: Callable[[np.ndarray], np.ndarray], problem: DesignProblem, computed: np.ndarray,
               is_possible: Callable[[np.ndarray], bool], seed: int) -> np.ndarray | None:
    """The shares (free values,) with the largest acquisition, new and possible; None where there are none in the pool."""
    from scipy.optimize import differential_evolution

    pool = space_filling(problem, POOL, seed)
    ranked = pool[np.argsort(-acquisition(pool), kind="stable")]
    size = POPULATION * len(problem.spans)
    polished = differential_evolution(lambda x: -acquisition(x.T), [(0.0, 1.0)] * len(problem.spans), init=ranked[:max(size, 5)],
                                      maxiter=GENERATIONS, seed=seed, vectorized=True, updating="deferred", polish=False, tol=1e-8)
    for shares in (problem.snapped(polished.x), *ranked):
        is_new = not len(computed) or np.abs(computed - shares).max(axis=1).min() > NEAR
        if is_new and is_possible(shares):
            return shares
    return None


def space_filling(problem: DesignProblem, count: int, seed: int) -> np.ndarray:
    """Points that fill the space evenly, (count, free values), as shares."""
    return problem.snapped(unit_cube("sobol", len(problem.spans), count, seed))
