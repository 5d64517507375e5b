"""The page of a go / no-go card: every check with value, limit, reason and source, as one page of HTML by itself."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.report.sheet.card_bars import plot_card
from fieldsolve.report.sheet.page import check_row, image_data, render
from fieldsolve.report.sheet.rig_drawing import plot_rig
from fieldsolve.report.sheet.small_plots import LETTERING
from fieldsolve.report.text.rig import named_sources, source_mark
from fieldsolve.rig.checks.rule import NOT_ASSESSED, Check
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.rig.card import Card

BARS = (7.3, 0.16)         # inches: width, and height of a row


def write_card_page(path: str | Path, title: str, card: Card, case: Case) -> None:
    """Write the page; a file that cannot be completed is not left there.  Numbers stand beside their pointers into the JSON of the card."""
    text = card_html(title, card, case)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def card_html(title: str, card: Card, case: Case) -> str:
    """The page as HTML; every text from outside is escaped."""
    sources = named_sources(card)
    assessed = [(k, check) for k, check in enumerate(card.checks) if check.verdict != NOT_ASSESSED]
    groups = [(name, [_row(k, check, sources) for k, check in assessed if check.hard is hard])
              for name, hard in (("Hard stops", True), ("Warnings", False))]
    return render("card_page.html.j2", case, title=title, verdict=card.verdict, cautions=card.cautions, caution=CAUTION, sources=sources,
                  rig=image_data(lambda: plot_rig(case), LETTERING),
                  bars=image_data(lambda: plot_card(card, "", *BARS), LETTERING),
                  groups=[(name, sorted(rows, key=lambda row: row["verdict"] != "OUTSIDE")) for name, rows in groups],
                  missing=[(k, check) for k, check in enumerate(card.checks) if check.verdict == NOT_ASSESSED],
                  quantities=_quantity_rows(card, sources))


def _row(number: int, check: Check, sources: dict[str, int]) -> dict[str, Any]:
    """A check as a row of its table, with the numbers of its sources."""
    value, limit = ((check.source, check.mark, sources, check.run), (check.limit_source, check.limit_mark, sources))
    return check_row(f"/checks/{number}", check) | {"mark": f"{source_mark(*value)}; limit {source_mark(*limit)}"}


def _quantity_rows(card: Card, sources: dict[str, int]) -> list[dict[str, Any]]:
    return [{"at": f"/quantities/{k}/value", "label": quantity.label, "value": quantity.value,
             "text": display(quantity.value, quantity.unit), "mark": source_mark(quantity.source, quantity.mark, sources, quantity.run)}
            for k, quantity in enumerate(card.quantities) if quantity.value is not None]
