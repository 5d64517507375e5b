"""The result of a design: the best run, the frontier, what binds, and the band."""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldsolve.cases.case_file import Case
from fieldsolve.estimate import Interval
from fieldsolve.sweeps.design.first_pass import Difference, FirstPass
from fieldsolve.sweeps.design.problem import BINDING, DesignProblem, Limit
from fieldsolve.sweeps.points import Plan
from fieldsolve.sweeps.result import Sweep
from fieldsolve.sweeps.run import DONE
from fieldsolve.sweeps.tables import check_unit
from geometries.keywords import known_keywords

Row = Mapping[str, Any]


@known_keywords
@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Design:
    """The best design within the limits; made by `design`.

    Attributes
    ----------
    best : dict or None
        The row of the best run, with error bounds; None where no run met every limit.
    frontier : tuple of dict
        Rows within the limits of which no other is better in the goal and in the second quantity, from the smallest of that on.
    limits : tuple of Limit
        What had to be met: the checks that the free values bear on, and the requirements.
    binding : tuple of str
        The limits that the best run is within 2 % of; where there is none those that no run met, or else those that the nearest misses.
    nearest : dict or None
        Where there is no best: the row whose worst violation is least.
    never_met : tuple of str
        Where there is no best: the limits that no run met.
    not_met : tuple of Limit
        Checks of the card that are outside in every run, for the free values do not bear on them.
    band : dict of str to Interval
        95 % intervals of the goal and of what is limited, from the uncertainties of the case; empty where the case has none.
    rows : tuple of dict
        All runs of the search.
    band_runs : int
        How many runs the band took beside them.
    first_pass : FirstPass
        What discharges of reduced models said before the runs; its `reason` says why there is none.
    differences : tuple of Difference
        How far the first pass was from the runs that followed, by column.
    first_pass_only : frozenset of str
        Checks that the first pass alone assesses: they want held metal, and the runs are with moving metal.
    """

    case: Case
    problem: DesignProblem
    limits: tuple[Limit, ...]
    best: dict[str, Any] | None
    nearest: dict[str, Any] | None
    never_met: tuple[str, ...]
    rows: tuple[dict[str, Any], ...]
    frontier: tuple[dict[str, Any], ...]
    band: Mapping[str, Interval]
    not_met: tuple[Limit, ...]
    units: Mapping[str, str]
    band_runs: int
    interrupted: bool
    first_pass: FirstPass
    differences: tuple[Difference, ...]
    first_pass_only: frozenset[str]

    @property
    def inputs(self) -> tuple[str, ...]:
        """The dotted keys that were chosen."""
        return (*(span.key for span in self.problem.spans), *self.problem.follow)

    def unit(self, name: str) -> str:
        """The unit of a result or of a check's value; '' of a pure number."""
        return self.units.get(name, check_unit(name))

    @property
    def binding(self) -> tuple[str, ...]:
        """Names of the limits that bind, see above."""
        if self.best is not None:
            return tuple(limit.column for limit in self.limits if (limit.margin_in(self.best) or 0.0) < BINDING)
        return self.never_met or (missed_limits(self.nearest, self.limits) if self.nearest else ())

    @property
    def table(self) -> Sweep:
        """The runs of the search as a Sweep, for its files and plots."""
        points = tuple({key: row[key] for key in self.inputs} for row in self.rows)
        return Sweep.of(self.case, Plan((points,)), self.rows, self.units, None, {}, self.interrupted)

    def __repr__(self) -> str:
        found = "nothing meets the limits" if self.best is None else f"{self.problem.goal} = {self.best[self.problem.goal]:.6g}"
        return f"Design({self.case.name!r}: {found}, {len(self.rows)} runs)"

    def summary(self) -> str:
        """The answer as text: values, goal with band, limits with their room, the frontier, cautions."""
        from fieldsolve.sweeps.design.summary import design_summary

        return design_summary(self)

    def plot(self, ax=None):
        """The frontier and the runs in the plane of goal and second quantity; returns the axes."""
        from fieldsolve.report.plots.many.sweep import plot_frontier

        return plot_frontier(self, ax)


def missed_limits(row: Row, limits: Sequence[Limit]) -> tuple[str, ...]:
    """Names of the limits that a row does not meet, or of which it does not say."""
    return tuple(limit.column for limit in limits if (margin := limit.margin_in(row)) is None or margin < 0)


def least_violated(rows: Sequence[dict[str, Any]], limits: Sequence[Limit]) -> tuple[dict[str, Any] | None, tuple[str, ...]]:
    """The row whose worst violation is least, and the limits that no row meets."""
    done = [row for row in rows if row["status"] == DONE]
    if not done:
        return None, ()

    def worst(row: Row) -> tuple[int, float]:
        margins = [limit.margin_in(row) for limit in limits]
        return -sum(margin is None for margin in margins), min((margin for margin in margins if margin is not None), default=0.0)
    never = tuple(limit.column for limit in limits if not any((margin := limit.margin_in(row)) is not None and margin >= 0 for row in done))
    return max(done, key=worst), never


def frontier_of(met: Sequence[dict[str, Any]], problem: DesignProblem) -> tuple[dict[str, Any], ...]:
    """Rows of which no other is better in both, from the smallest second quantity on; empty without one."""
    second = problem.against
    if second is None:
        return ()
    sign = -1.0 if problem.smallest else 1.0
    found: list[dict[str, Any]] = []
    for row in sorted(met, key=lambda row: (row[second], -sign * row[problem.goal])):
        if not found or sign * row[problem.goal] > sign * found[-1][problem.goal]:
            found.append(row)
    return tuple(found)
