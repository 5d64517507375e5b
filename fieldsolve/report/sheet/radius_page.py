"""The page of a radius from the trace: one page of HTML by itself; each number stands beside its pointer into the JSON."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.inference.text import LABELS, ROWS, verdicts
from fieldsolve.report.plots.records.radius import plot_radius_from_trace
from fieldsolve.report.sheet.comparison_page import escape_pointer
from fieldsolve.report.sheet.page import LITERAL_TEXT, image_data, render
from fieldsolve.shot.problem import CaseText
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.inference.radius import RadiusFromTrace

SIZE = (7.2, 1.8)                 # inches of each of the two plots
LETTERING = {"font.size": 9.6, "axes.labelsize": 9, "xtick.labelsize": 8, "ytick.labelsize": 8, **LITERAL_TEXT}
DETECTABLE = (("current, of its peak,", "detectable_current_error"), ("push and flow stress", "detectable_motion_error"))
COLUMNS = (("time_s", "s"), ("radius_m", "m"), ("low_m", "m"), ("high_m", "m"), ("speed_m_per_s", "m/s"), ("coil_stretch", ""),
           ("predicted_radius_m", "m"), ("predicted_radius_m_low", "m"), ("predicted_radius_m_high", "m"))


def write_radius_page(path: str | Path, seen: RadiusFromTrace, facts: dict[str, Any], case: Case) -> None:
    """Write the page; a file that cannot be completed is not left there.

    facts  of the result, as in --json
    """
    text = radius_html(seen, facts, case)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def radius_html(seen: RadiusFromTrace, facts: dict[str, Any], case: Case) -> str:
    """The page as HTML; every text from outside is escaped."""
    count = len(seen.times)
    instants = sorted({round(k * (count - 1) / (ROWS - 1)) for k in range(ROWS)})
    return render("radius_page.html.j2", CaseText(case.name, case.text), seen=seen, facts=facts, caution=CAUTION, verdicts=verdicts(seen),
                  rows=[[(f"/{key}/{n}", facts[key][n], display(facts[key][n], unit, 4)) for key, unit in COLUMNS] for n in instants],
                  parameters=[_parameter_row(name, facts) for name in facts["parameters"]],
                  numbers=[(label, f"/{key}", fact_at(facts, key), text) for label, key, text in _numbers(facts)],
                  plot=image_data(lambda: plot_radius_from_trace(seen, None, *SIZE), LETTERING))


def _parameter_row(name: str, facts: dict[str, Any]) -> dict[str, Any]:
    """Label, and (pointer, value, text) of value, low and high, and of the prior's low and high."""
    cells = []
    for group, ends in (("parameters", ("value", "low", "high")), ("priors", ("low", "high"))):
        entry = facts[group].get(name)
        for end in ends:
            value = entry and entry[end]
            cells.append((f"/{group}/{escape_pointer(name)}/{end}", value, "" if value is None else display(value, entry["unit"], 4)))
    return {"label": LABELS.get(name, name), "cells": cells}


def fact_at(facts: dict[str, Any], path: str) -> Any:
    """The value under keys that a slash joins.

    >>> fact_at({"misfit": {"p_value": 0.3}}, "misfit/p_value")
    0.3
    """
    for key in path.split("/"):
        facts = facts[key]
    return facts


def _numbers(facts: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [("width of the band over that without the record", "determination", f"{100 * facts['determination']:.0f} %"),
            ("noise of a mean of samples", "noise_A", display(facts["noise_A"], "A")),
            ("expected error of the model's current, of its peak", "current_error", f"{100 * facts['current_error']:.2g} %"),
            ("expected error of the model's push and flow stress", "motion_error", f"{100 * facts['motion_error']:.2g} %"),
            ("how often a right model leaves a record like this", "misfit/p_value", f"{facts['misfit']['p_value']:.2g}"),
            *((f"error of the {label} that half of such records would show", f"misfit/{key}", f"{100 * facts['misfit'][key]:.2g} %")
              for label, key in DETECTABLE if facts["misfit"][key] is not None)]
