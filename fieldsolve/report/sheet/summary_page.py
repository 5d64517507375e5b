"""The page of a field or of a bridge check: what the screen shows of it, and its pictures, as one page of HTML by itself."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.report.sheet.page import image_data, render
from fieldsolve.screen import wrapped_lines

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.shot.problem import CaseText

FIELD_NOTE = "The field of a steady current or oscillation is not the field of a shot."


def write_summary_page(path: str | Path, title: str, summary: str, pictures: Iterable[tuple[str, Callable]], case: CaseText | Case,
                       note: str = FIELD_NOTE) -> None:
    """Write the page; a file that cannot be completed is not left there.

    summary   lines for a screen, the first of them the title and the last the caution, which the page has for itself
    pictures  of each its caption, and what draws it and returns its figure or axes
    note      behind the caution
    """
    results = summary.partition("\n")[2].removesuffix("\n".join(wrapped_lines(CAUTION)))
    text = render("summary_page.html.j2", case, title=title, summary=results, caution=CAUTION, note=note,
                  pictures=[(caption, image_data(draw, {})) for caption, draw in pictures])
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))
