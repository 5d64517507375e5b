"""The page of bands: one page of HTML by itself, which prints on A4; each number stands beside its pointer into the JSON."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.propagation.text import digits_of, main_rows, marks, methods, what_matters
from fieldsolve.report.plots.propagation.indices import plot_indices
from fieldsolve.report.plots.propagation.traces import plot_bands
from fieldsolve.report.sheet.page import LITERAL_TEXT, image_data, render
from fieldsolve.screen import unbroken_numbers
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Band, Bands

LETTERING = {"font.size": 9, "axes.labelsize": 8.5, "xtick.labelsize": 8, "ytick.labelsize": 8, **LITERAL_TEXT}
TRACES = (7.2, 1.05)        # inches: width, and height of a row
LABELS = {"value": "shot", "low": "from", "high": "to", "standard_uncertainty": "u"}
EXPLANATION = ("Dark: the share of a quantity's variance that an input causes alone (first-order index). Light: its share together with "
               "the other inputs (total index). What is not worth measuring better has a short bar.")


def write_bands_page(path: str | Path, bands: Bands) -> None:
    """Write the page of bands; a file that cannot be completed is not left there."""
    text = bands_html(bands)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def bands_html(bands: Bands) -> str:
    """The page as HTML; every text from outside is escaped."""
    numbers = {row.name: number for number, row in enumerate(bands.rows)}
    return render(
        "bands_page.html.j2", bands.case, bands=bands, caution=CAUTION, explanation=EXPLANATION,
        rows=[_row_context(f"/rows/{numbers[row.name]}", row) for row in main_rows(bands)],
        inputs=[(entry, display(entry.value, entry.unit, 6), display(entry.standard_uncertainty, entry.unit, 2)) for entry in bands.inputs],
        methods=[unbroken_numbers(sentence) for sentence in methods(bands)],
        traces=image_data(lambda: plot_bands(bands, None, *TRACES).ravel(), LETTERING),
        indices=image_data(lambda: plot_indices(bands).ravel(), LETTERING))


def _row_context(at: str, row: Band) -> dict[str, Any]:
    """Cells of a row, which stands `at` a pointer in the JSON: pointer, value and text of each number."""
    cells = [(f"{at}/{key}", LABELS[key], getattr(row, key), display(getattr(row, key), row.unit, digits))
             for key, digits in (*((key, digits_of(row)) for key in ("value", "low", "high")), ("standard_uncertainty", 2))]
    return {"name": row.name, "cells": cells, "matters": what_matters(row), "marks": marks(row).strip(" []")}
