"""The band of a design: what the uncertainties of its case do to the goal and to each limit, from runs on either side of each value.

    u^2(y) = sum over the uncertain values x of ((y(x + u_x) - y(x - u_x)) / 2)^2           (JCGM 100:2008, 5.1)
"""
from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fieldsolve.cases.case_file import Case
from fieldsolve.estimate import Interval
from fieldsolve.sweeps.design.problem import DesignProblem, Limit
from fieldsolve.sweeps.inputs import input_numbers
from fieldsolve.sweeps.points import Point


def band_points(case: Case, best: Point) -> dict[str, tuple[Point, Point]]:
    """For each uncertain value the design one standard uncertainty below and above it; relative to a value that the design has changed."""
    found = {}
    for key, (value, uncertainty) in case.uncertainties.items():
        number = float(input_numbers(case, key, [best[key]])[0]) if key in best else value
        step = uncertainty * (abs(number / value) if key in best and value else 1.0)
        found[key] = ({**best, key: number - step}, {**best, key: number + step})
    return found


def band_of(best: Mapping[str, Any], keys: Sequence[str], rows: Sequence[Mapping[str, Any]], problem: DesignProblem,
            limits: Sequence[Limit]) -> dict[str, Interval]:
    """95 % intervals of the goal and of the limits' columns; undetermined where a run beside the design has not come out."""
    band = {}
    for name in dict.fromkeys((problem.goal, *(limit.column for limit in limits))):
        pairs = [(rows[2 * k].get(name), rows[2 * k + 1].get(name)) for k in range(len(keys))]
        known = best.get(name) is not None and all(low is not None and high is not None for low, high in pairs)
        deviation = sum((0.5 * (high - low)) ** 2 for low, high in pairs) ** 0.5 if known else float("inf")
        band[name] = Interval.normal(float(best[name] or 0.0), deviation)
    return band
