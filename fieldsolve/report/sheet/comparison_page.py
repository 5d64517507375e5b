"""The page of a comparison: one page of HTML by itself, which prints on A4; each number stands beside its pointer into the JSON."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.records.comparison.rows import DIFFERS, Row
from fieldsolve.records.comparison.text import quantity_text, signed_text
from fieldsolve.report.plots.comparison import plot_comparison
from fieldsolve.report.sheet.page import LITERAL_TEXT, image_data, render
from fieldsolve.shot.problem import CaseText

if TYPE_CHECKING:
    from fieldsolve.records.comparison.compare import Comparison

SIZE = (7.2, 1.9)           # inches of each of the two plots
LETTERING = {"font.size": 9.6, "axes.labelsize": 9, "xtick.labelsize": 8, "ytick.labelsize": 8, **LITERAL_TEXT}
LABELS = {"difference": "E"}
NO_CASE = CaseText("no case file", "")
EXPLANATION = ("E = computed - measured. Uncertainties are standard ones: u_num is half the numerical error bound, u_input comes from the "
               "uncertainties in the case file, u_measured from the record or the instrument; - is not known. Known uncertainty explains a "
               "difference of 2 sqrt(u_num² + u_input² + u_measured²), at 95 % (ASME V&V 20).")


def write_comparison_page(path: str | Path, comparison: Comparison, facts: dict[str, Any]) -> None:
    """Write the page of a comparison; a file that cannot be completed is not left there.

    facts  of the comparison, as in --json
    """
    text = comparison_html(comparison, facts)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def comparison_html(comparison: Comparison, facts: dict[str, Any]) -> str:
    """The page as HTML; every text from outside is escaped."""
    return render(
        "comparison_page.html.j2", comparison.case or NO_CASE, comparison=comparison, facts=facts, caution=CAUTION,
        explanation=EXPLANATION, rows=[row_context(f"/rows/{number}", row) for number, row in enumerate(comparison.rows)],
        figures=[(label, pointer, value, quantity_text(value, unit)) for label, pointer, value, unit in _key_figures(facts)],
        terms=[(f"/model_terms/{k}/inductance_H", term["name"], term["inductance_H"], quantity_text(term["inductance_H"], "H", 3))
               for k, term in enumerate(facts["model_terms"])],
        plot=image_data(lambda: plot_comparison(comparison, None, *SIZE), LETTERING))


def _key_figures(facts: dict[str, Any]) -> list[tuple[str, str, float | None, str]]:
    return [("time zero in the record", "/time_zero_s", facts["time_zero_s"], "s"),
            ("its standard uncertainty", "/u_time_zero_s", facts["u_time_zero_s"], "s"),
            ("offset taken off the record", "/offset_A", facts["offset_A"], "A"),
            ("residual, root mean square", "/residual_rms_A", facts["residual_rms_A"], "A")]


def row_context(at: str, row: Row) -> dict[str, Any]:
    """Cells of a row, which stands `at` a pointer in the JSON: pointer, label, value and text of each number."""
    cells = [(f"{at}/{key}", LABELS.get(key, key), value, text) for key, value, text in (
        ("computed", row.computed, quantity_text(row.computed, row.unit)),
        ("measured", row.measured, quantity_text(row.measured, row.unit)),
        ("difference", row.difference, signed_text(row.difference, row.unit)),
        *((key, getattr(row, key), quantity_text(getattr(row, key), row.unit, 2)) for key in ("u_num", "u_input", "u_measured")))]
    parts = [(f"{at}/contributions/{escape_pointer(key)}", key, value, quantity_text(value, row.unit, 2))
             for key, value in sorted(row.contributions.items(), key=lambda item: -item[1])]
    offsets = [(f"{at}/offsets/{escape_pointer(key)}", key, value, signed_text(value, row.unit, 2)) for key, value in row.offsets.items()]
    return {"name": row.name, "cells": cells, "verdict": row.short_verdict, "differs": row.outcome == DIFFERS, "contributions": parts,
            "offsets": offsets}


def escape_pointer(key: str) -> str:
    """A key in a JSON pointer (RFC 6901)."""
    return key.replace("~", "~0").replace("/", "~1")
