"""The page of a shot in the log: prediction, what was written down, the last comparison, what is missing, hashes."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.records.comparison.compare import Comparison
from fieldsolve.records.log.comparisons import kept_comparison
from fieldsolve.records.log.entry import COMPARISON
from fieldsolve.report.plots.comparison import plot_comparison
from fieldsolve.report.sheet.comparison_page import EXPLANATION, LETTERING, SIZE, escape_pointer, row_context
from fieldsolve.report.sheet.page import image_data, render
from fieldsolve.shot.problem import CaseText
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.records.log.entry import LogEntry

PREDICTED = (("peak_current_A", "peak current of {}", "A"), ("time_of_peak_s", "its time, {}", "s"),
             ("radius_ratio", "radius of {}, end over start", ""), ("rim_thickness_ratio", "rim thickness of {}, end over start", ""))


def write_log_page(path: str | Path, entry: LogEntry, facts: dict[str, Any]) -> None:
    """Write the page of a shot in the log; a file that cannot be completed is not left there.

    facts  of the shot, as in --json
    """
    text = log_html(entry, facts)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def log_html(entry: LogEntry, facts: dict[str, Any]) -> str:
    """The page as HTML; every text from outside is escaped."""
    comparisons = entry.current(COMPARISON)
    comparison = kept_comparison(entry, comparisons[-1]) if comparisons else None
    return render("log_page.html.j2", CaseText(Path(entry.stored["case"]["file"]).name, entry.case_text), entry=entry, facts=facts,
                  caution=CAUTION, explanation=EXPLANATION, predicted=list(_predicted(facts)), comparison=comparison,
                  rows=_rows(comparison, comparisons[-1].number - 1) if comparison else [],
                  plot=image_data(lambda: plot_comparison(comparison, None, *SIZE), LETTERING) if comparison else None)


def _predicted(facts: dict[str, Any]):
    """Label, pointer, value and text of each predicted number."""
    for key, label, unit in PREDICTED:
        for name, value in facts["prediction"][key].items():
            yield label.format(name), f"/prediction/{key}/{escape_pointer(name)}", value, display(value, unit, 4)


def _rows(comparison: Comparison, addition: int) -> list[dict[str, Any]]:
    """Rows of a comparison that stands in the additions, from 0."""
    return [row_context(f"/additions/{addition}/facts/rows/{number}", row) for number, row in enumerate(comparison.rows)]
