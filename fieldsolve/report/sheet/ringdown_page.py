"""The page of a ring-down fit: one page of HTML by itself; each number stands beside its pointer into the JSON."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.records.ringdown.summary import LABELS, bank_table, load_note
from fieldsolve.report.plots.records.ringdown import plot_ring_down
from fieldsolve.report.sheet.page import LITERAL_TEXT, image_data, render
from fieldsolve.shot.problem import CaseText
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.estimate import Interval
    from fieldsolve.records.ringdown.result import RingDown

SIZE = (7.2, 1.9)                 # inches of each of the two plots
LETTERING = {"font.size": 9.6, "axes.labelsize": 9, "xtick.labelsize": 8, "ytick.labelsize": 8, **LITERAL_TEXT}
MOST_HALF_WAVES = 14              # rows of the table


def write_ring_down_page(path: str | Path, fit: RingDown, facts: dict[str, Any], load_case: CaseText | None = None) -> None:
    """Write the page of a fit; a file that cannot be completed is not left there.

    facts  of the fit, as in --json;  load_case  the case whose coil was taken off, None where there is none
    """
    text = ring_down_html(fit, facts, load_case)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def ring_down_html(fit: RingDown, facts: dict[str, Any], load_case: CaseText | None = None) -> str:
    """The page as HTML; every text from outside is escaped."""
    return render(
        "ringdown_page.html.j2", load_case or CaseText("no case file", ""), fit=fit, facts=facts, caution=CAUTION,
        name=" and ".join(facts["records"]), of_bank=bool(fit.bank),
        rows=[_row(f"/parameters/{name}", name, interval) for name, interval in fit.parameters.items()],
        bank=[_row(f"/bank/{name}", name, interval) for name, interval in fit.bank.items()],
        bank_table=bank_table(fit), load_note=load_note(fit), noise=display(fit.noise, "A"),
        half_waves=[(facts["records"][number], _half_wave_row(number, k, facts["half_waves"][number]))
                    for number in range(len(fit.half_waves))
                    for k in range(min(len(facts["half_waves"][number]["numbers"]), MOST_HALF_WAVES))],
        plot=image_data(lambda: plot_ring_down(fit, None, *SIZE), LETTERING))


def _row(at: str, name: str, interval: Interval) -> dict[str, Any]:
    """A parameter: label, and (pointer, value, text) of value, low and high."""
    key, _, number = name.partition(" ")
    cells = [(f"{at}/{end}", value, "undetermined" if value is None else display(value, interval.unit, 4))
             for end, value in (("value", interval.value), ("low", interval.low), ("high", interval.high))]
    return {"label": LABELS[key] + (f", record {number}" if number else ""), "cells": cells}


def _half_wave_row(number: int, k: int, facts: dict[str, Any]) -> list[tuple[str, Any, str]]:
    """(pointer, value, text) of a half-wave: its number, amplitude, that of the constant loop, R to the next."""
    at, cells = f"/half_waves/{number}", []
    for key, unit in (("amplitudes_A", "A"), ("deviations_A", "A"), ("expected_A", "A"), ("resistances_ohm", "ohm")):
        value = facts[key][k] if k < len(facts[key]) else None                # there is no R behind the last half-wave
        cells.append((f"{at}/{key}/{k}", value, "" if value is None else display(value, unit, 4 if key != "deviations_A" else 2)))
    return [(f"{at}/numbers/{k}", facts["numbers"][k], str(facts["numbers"][k])), *cells]
