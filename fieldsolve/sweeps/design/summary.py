"""The answer of a design as text for a screen."""
from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fieldsolve.caution import CAUTION
from fieldsolve.rig.checks.rule import margin_text
from fieldsolve.screen import labelled_lines, wrapped_lines
from fieldsolve.sweeps.inputs import input_unit
from fieldsolve.units import display

EXACT = 1e-5                    # of a value: what differs by less was no matter of the shot
MOST_POINTS = 8                 # of the frontier


def design_summary(design) -> str:
    """Values, goal with error bound and band, limits with their room, the frontier and cautions."""
    row = design.best or design.nearest
    lines = wrapped_lines(_first_sentence(design))
    if row is not None:
        lines += ["", *labelled_lines([*_value_rows(design, row), *_goal_rows(design, row)])]
        lines += ["", "LIMITS", *labelled_lines(_limit_rows(design, row))] if design.limits else []
    lines += ["", *_frontier_lines(design)] if len(design.frontier) > 1 else []
    lines += ["", *_first_pass_lines(design)] if design.first_pass.rows else []
    return "\n".join([*lines, "", *_remarks(design), *wrapped_lines(CAUTION)])


def _first_sentence(design) -> str:
    problem, count = design.problem, len(design.rows)
    wish = f"{'smallest' if problem.smallest else 'largest'} {problem.goal}"
    if design.best is not None:
        word = "binds" if len(design.binding) == 1 else "bind"
        binds = f"; {' and '.join(design.binding)} {word}" if design.binding else "; no limit binds"
        return f"{design.case.name}: the {wish} of {count} runs within the limits{binds}"
    if design.interrupted:
        return f"{design.case.name}: interrupted before any of {count} runs met all limits"
    if design.never_met:
        return (f"{design.case.name}: NOTHING fulfils the limits between these ends: none of {count} runs meets "
                f"{' or '.join(design.never_met)}; the nearest run misses by what stands below")
    return (f"{design.case.name}: NOTHING fulfils all limits between these ends: each is met by some of {count} runs, never all together; "
            f"the nearest run misses {' and '.join(design.binding) or 'nothing that was computed'}")


def _value_rows(design, row: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for key in design.inputs:
        value, unit = row[key], input_unit(design.case, key, [row[key]])
        yield key, display(value, unit, 4) if isinstance(value, float) and unit else f"{value}"


def _goal_rows(design, row: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for name in dict.fromkeys((design.problem.goal, design.problem.against)):
        if name is not None and row.get(name) is not None:
            error = row.get(f"error of {name}")
            known = "" if not error else f" (numerical error {display(error, design.unit(name), 1)})"
            yield name, f"{display(row[name], design.unit(name), 4)}{known}{_band_text(design, name)}"


def _band_text(design, name: str) -> str:
    interval = design.band.get(name)
    if interval is None:
        return ""
    if interval.low is None or interval.high is None:
        return "; its band is not known: a run beside it has not come out"
    unit = design.unit(name)
    return f"; {display(interval.low, unit, 3)} to {display(interval.high, unit, 3)} with the uncertainties of the case (95 %)"


def _limit_rows(design, row: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for limit in design.limits:
        margin, unit = limit.margin_in(row), design.unit(limit.column)
        if margin is None:
            yield limit.column, "NOT ASSESSED"
            continue
        met = "within" if margin >= 0 else "OUTSIDE"
        alone = "; by the first pass alone" if limit.column in design.first_pass_only else ""
        yield limit.column, (f"{met}: {display(row[limit.column], unit, 3)}, {limit.sense} {display(limit.limit, unit, 3)}, room "
                             f"{margin_text(margin, limit.limit, unit)}{alone}{_beyond(design, limit)}")


def _beyond(design, limit) -> str:
    """Where the band of a limited quantity reaches beyond its limit."""
    interval = design.band.get(limit.column)
    if interval is None or interval.low is None or interval.high is None:
        return ""
    reaches = interval.high > limit.limit if limit.sense == "at most" else interval.low < limit.limit
    return "; its band (95 %) reaches BEYOND the limit" if reaches else ""


def _frontier_lines(design) -> list[str]:
    problem = design.problem
    step = max(1, (len(design.frontier) + MOST_POINTS - 1) // MOST_POINTS)
    shown = [*design.frontier[:-1:step], design.frontier[-1]]
    rows = [(display(row[problem.against], design.unit(problem.against or ""), 3),
             f"{display(row[problem.goal], design.unit(problem.goal), 4)} with "
             + ", ".join(f"{key} = {row[key]}" for key in design.inputs)) for row in shown]
    return [f"FRONTIER: {problem.goal} over {problem.against}", *labelled_lines(rows)]


def _first_pass_lines(design) -> list[str]:
    """What the first pass was, and how far from the runs that followed."""
    first, off = design.first_pass, design.differences
    exact = [found.column for found in off if abs(found.largest) < EXACT]
    rows = [(found.column, f"{100 * found.mean:+.2g} % in the mean, {100 * found.largest:+.2g} % at most, of {_runs(found.runs)}")
            for found in off if found.column not in exact]
    rows += [(name, f"not predicted: {reason}") for name, reason in first.not_predicted.items()]
    rows += [("by closed forms", ", ".join(exact))] if exact else []
    return [*wrapped_lines(f"FIRST PASS: {len(first.rows)} discharges of {first.models} reduced models, metal held and cold, in "
                           f"{display(first.seconds, 's', 2)}; what they say less what the runs say"), *labelled_lines(rows)]


def _runs(count: int) -> str:
    return "1 run" if count == 1 else f"{count} runs"


def _remarks(design) -> list[str]:
    lines = []
    if design.interrupted:
        lines += wrapped_lines("INTERRUPTED: this is the best of what was computed until then")
    if design.first_pass.reason:
        lines += wrapped_lines(f"No first pass of reduced discharges: {design.first_pass.reason}")
    if design.first_pass_only:
        names = ", ".join(sorted(design.first_pass_only))
        lines += wrapped_lines(f"By the first pass alone, for the runs do not hold the metal: {names}; card = true computes them")
    if design.not_met:
        names = ", ".join(limit.column for limit in design.not_met)
        lines += wrapped_lines(f"Outside in every run, for the free values do not bear on it: {names}")
    card = (design.best or design.nearest or {}).get("card")
    if card:
        lines += wrapped_lines(f"Card of this run: {card}. The answer is no go: `fieldsolve rig` judges the rig as it stands on the day.")
    return lines
