"""Which points of a design are worth a full run by its first pass, whose errors are learnt from the full runs that followed."""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.sweeps.design.first_pass import Difference, FirstPass, is_assessed
from fieldsolve.sweeps.design.problem import CHECKS
from fieldsolve.sweeps.design.reduced_models import ReducedModels
from fieldsolve.sweeps.run import DONE

HELD, MOVING = 0.05, 0.3        # of a limit: how far outside a point may be before full runs tell the error of the first pass
FEWEST_RUNS = 4                 # that tell it
LIKELY = np.log(0.5)            # probability that all limits are assessed, for a point among the first runs
SAFETY, LEAST = 2.0, 0.01       # times the largest difference seen, and of the limit on top of it


@dataclass(frozen=True)
class ScreenedLimits:
    """The limits of a first pass with how far outside each a point may be, as shares of the limits (limits,)."""

    first_pass: FirstPass
    allowances: np.ndarray

    def violations(self, shares: np.ndarray) -> np.ndarray:
        """How far outside its worst limit, beyond what is allowed, each of points (n, free values) is; 0 for what is worth a run; (n,)."""
        if not self.first_pass.limits:
            return np.zeros(len(shares))
        return np.maximum(-(self.first_pass.margins(shares) + self.allowances).min(axis=1), 0.0)

    def refuses(self, row: Mapping[str, Any]) -> bool:
        """Whether a run is not worth it by the row of its reduced discharge: too far outside a limit, or one cannot be assessed."""
        if not is_assessed(row, self.first_pass.predicted):
            return True
        margins = [limit.margin_in(row) or 0.0 for limit in self.first_pass.limits]
        return any(margin < -allowance for margin, allowance in zip(margins, self.allowances, strict=True))

    def ranked(self, pool: np.ndarray) -> np.ndarray:
        """A pool (n, free values) with the best of the first pass before all others, what is worth a run before what is not."""
        first, violations = self.first_pass, self.violations(pool)
        assessed = np.ones(len(pool), dtype=bool)
        if first.assessed is not None:
            assessed = first.assessed.log_probability(first.problem.features(pool)) > LIKELY
        order = np.lexsort((np.arange(len(pool)), ~assessed, violations))
        best = self._best(pool, np.flatnonzero((violations == 0) & assessed))
        return pool[order if best is None else [best, *order[order != best]]]

    def _best(self, pool: np.ndarray, worth: np.ndarray) -> int | None:
        """Number of the point of the pool with the best goal by the first pass, within its limits where any of those worth a run is."""
        first = self.first_pass
        if not first.predicts_goal or not len(worth):
            return None
        within = worth[first.margins(pool[worth]).min(axis=1, initial=np.inf) >= 0]
        worth = within if len(within) else worth
        goal = first.surfaces[first.problem.goal].values_at(first.problem.features(pool[worth]))
        return int(worth[goal.argmin() if first.problem.smallest else goal.argmax()])


@dataclass
class Screening:
    """What the first pass and the runs so far say of which points are worth a run.

    moving           whether the runs are with moving metal
    first_pass_only  checks of the card that want held metal, which such runs alone do not assess and the first pass does
    pool             (n, free values) points that fill the space
    active           whether anything is refused; not where the first pass would leave nothing
    """

    models: ReducedModels
    moving: bool
    first_pass: FirstPass
    first_pass_only: frozenset[str]
    pool: np.ndarray
    screen: ScreenedLimits
    active: bool = False

    @classmethod
    def after(cls, first_pass: FirstPass, models: ReducedModels, moving: bool, card: bool, pool: np.ndarray) -> Screening:
        """The screening before any run; `card` says whether the runs assess all that the card judges, `pool` fills the space."""
        alone = {limit.column for limit in first_pass.limits if limit.column in CHECKS and CHECKS[limit.column].reads == "shot"}
        first_pass_only = frozenset(alone if moving and not card else ())
        screening = cls(models, moving, first_pass, first_pass_only, pool, ScreenedLimits(first_pass, np.zeros(len(first_pass.limits))))
        screening.learn((), ())
        return screening

    def learn(self, shares: Sequence[np.ndarray], rows: Sequence[Mapping[str, Any]]) -> None:
        """See anew, after full runs at shares, how far outside a limit a point may be."""
        seen = {found.column: found for found in self.first_pass.differences(np.array(shares), rows)} if rows else {}
        allowances = [self._allowance(limit.column, seen.get(limit.column)) for limit in self.first_pass.limits]
        self.screen = ScreenedLimits(self.first_pass, np.array(allowances))
        self.active = bool(self.first_pass.rows) and bool((self.screen.violations(self.pool) == 0).any())

    def _allowance(self, column: str, seen: Difference | None) -> float:
        if column in self.first_pass_only:
            return 0.0
        if seen is not None and seen.runs >= FEWEST_RUNS:
            return SAFETY * abs(seen.largest) + LEAST
        return MOVING if self.moving else HELD

    def is_worth(self, shares: np.ndarray) -> bool:
        """Whether a run at shares (free values,) is worth it: by its own discharge where the section is reduced or soon is."""
        if not self.active:
            return True
        row = self.models.row(shares) if self.models.has(shares) or self._reduces_more else None
        if row is None:
            return self.screen.violations(shares[None, :])[0] == 0
        self.first_pass = self.first_pass.with_discharge(shares, row)
        return not self.screen.refuses(row)

    @property
    def _reduces_more(self) -> bool:
        """Whether further sections are reduced: a model costs little beside a run with moving metal, and whole numbers come again."""
        whole = [span.whole for span, of_circuit in zip(self.models.problem.spans, self.models.of_circuit, strict=True) if not of_circuit]
        return self.moving or all(whole)

    def with_first_pass_only(self, shares: Sequence[np.ndarray], rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
        """The rows of runs at shares, with the checks that the first pass tells alone."""
        if not self.first_pass_only or not rows:
            return list(rows)
        x = self.models.problem.features(np.array(shares))
        found = {column: self.first_pass.surfaces[column].values_at(x) for column in sorted(self.first_pass_only)}
        return [{**row, **{column: float(values[k]) for column, values in found.items()}} if row["status"] == DONE else row
                for k, row in enumerate(rows)]
