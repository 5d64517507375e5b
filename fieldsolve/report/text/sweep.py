"""A sweep as text for a screen: how many runs came out, the first rows, the largest and smallest of each result, and why runs failed."""
from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.caution import CAUTION
from fieldsolve.screen import column_lines, wrapped_lines
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.sweeps.result import Sweep

MOST_ROWS = 12                  # of the table
SHOWN = ("field in bore", "radius ratio of ", "current of ", "inductance of ", "resistance of ", "loss of ", "reversal of bank",
         "field at centre")
MOST_COLUMNS = 4                # of results
MOST_REASONS = 5


def sweep_summary(sweep: Sweep) -> str:
    """Counts, a table of the first rows, ranges of its results, reasons of failures, and the caution."""
    counts = Counter(row["status"] for row in sweep.rows)
    title = f"{sweep.case.name}: {len(sweep.rows)} runs over {', '.join(sweep.inputs)}: " \
            + ", ".join(f"{number} {status}" for status, number in counts.items())
    return "\n".join([*wrapped_lines(title), "", *_table_lines(sweep), *_verdict_lines(sweep), *_reason_lines(sweep), "",
                      *wrapped_lines(CAUTION)])


def shown_results(sweep: Sweep) -> list[str]:
    """The results that a screen has room for."""
    found = [name for start in SHOWN for name in sweep.results if name.startswith(start) and name != "current of bank"]
    return (found or list(sweep.results))[:MOST_COLUMNS]


def _table_lines(sweep: Sweep) -> list[str]:
    names = shown_results(sweep)
    rows = [[*sweep.inputs, *names, "status"]]
    rows += [[*(_cell(row[name], "") for name in sweep.inputs), *(_cell(row[name], sweep.unit(name)) for name in names), row["status"]]
             for row in sweep.rows[:MOST_ROWS]]
    more = len(sweep.rows) - MOST_ROWS
    return [*column_lines(rows), *([f"  ... and {more} more rows"] if more > 0 else []), *_range_lines(sweep, names)]


def _cell(value, unit: str) -> str:
    return display(value, unit, 4) if isinstance(value, float) or value is None else str(value)


def _range_lines(sweep: Sweep, names: list[str]) -> list[str]:
    """The ends of each result, and where they are."""
    lines = []
    for name in names:
        values = sweep.column(name)
        if values.dtype.kind == "f" and np.isfinite(values).sum() > 1:
            ends = [(word, sweep.rows[int(find(values))]) for word, find in (("smallest", np.nanargmin), ("largest", np.nanargmax))]
            lines.append([f"{name}:", *(f"{word} {display(row[name], sweep.unit(name), 4)} at "
                                        + ", ".join(f"{key} = {row[key]}" for key in sweep.inputs) for word, row in ends)])
    texts = ["; ".join([" ".join(row[:2]), *row[2:]]) for row in lines]
    return ["", *(line for text in texts for line in wrapped_lines(text, "  ", "      "))] if lines else []


def _verdict_lines(sweep: Sweep) -> list[str]:
    verdicts = Counter(row["card"].partition(";")[0] for row in sweep.rows if row.get("card"))
    if not verdicts:
        return []
    texts = [f"card of {number} run{'' if number == 1 else 's'}: {verdict}" for verdict, number in verdicts.items()]
    return ["", *(line for text in texts for line in wrapped_lines(text, "  ", "      "))]


def _reason_lines(sweep: Sweep) -> list[str]:
    """Why runs failed or fell short, the most frequent reasons first."""
    reasons = Counter((row["status"], row["reason"]) for row in sweep.rows if row["reason"])
    lines = [line for (status, reason), number in reasons.most_common(MOST_REASONS)
             for line in wrapped_lines(f"{number} {status}: {reason}", "  ", "      ")]
    more = len(reasons) - MOST_REASONS
    return ["", *lines, *([f"  ... and {more} other reasons"] if more > 0 else [])] if lines else []
