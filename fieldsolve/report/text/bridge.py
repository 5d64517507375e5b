"""What a bridge should read at a coil before a shot: as facts for JSON and as a table."""
from __future__ import annotations

from collections.abc import Iterable

from fieldsolve.caution import CAUTION
from fieldsolve.estimate import Estimate
from fieldsolve.report.text.facts import facts_with_error, finite_or_none
from fieldsolve.screen import column_lines, wrapped_lines
from fieldsolve.units import display

ADVICE = ("Compare with the bridge: off by more than 10 %: stop and find out (common practice, no source). "
          "Leads are not in these values.")
HEADINGS = ("frequency", "R empty", "R loaded", "loaded/empty", "L empty", "L loaded", "loaded/empty")


def bridge_facts(rows: Iterable) -> dict:
    """The `rows` of a bridge check: floats and None, with the SI unit at the end of each key; a ratio has none."""
    rows = list(rows)
    return {"coil": rows[0].coil, "load": list(rows[0].load), "rows": [_row_facts(row) for row in rows],
            "accuracy_reached": all(row.accuracy_reached for row in rows)}


def _row_facts(row) -> dict:
    facts = {"frequency_Hz": float(row.frequency)}
    for name, unit in (("resistance", "ohm"), ("inductance", "H")):
        for state in ("empty", "loaded"):
            facts |= facts_with_error(f"{name}_{state}", getattr(row, f"{name}_{state}"), unit)
        ratio = getattr(row, f"{name}_ratio")
        facts |= {f"{name}_ratio": ratio and float(ratio), f"{name}_ratio_error": ratio and finite_or_none(ratio.error)}
    return facts


def bridge_summary(title: str, rows: Iterable) -> str:
    """The `rows` of a bridge check as a table, with the largest numerical error in it and what to do."""
    rows = list(rows)
    table = column_lines([HEADINGS, *([display(row.frequency, "Hz", 6), *map(_cell, _estimates(row))] for row in rows)])
    reached = "" if all(row.accuracy_reached for row in rows) else "; the requested accuracy was NOT reached"
    worst = max(estimate.error / abs(estimate) for row in rows for estimate in _estimates(row) if estimate)
    return "\n".join([*wrapped_lines(title), *table, f"  largest numerical error {100 * worst:.1g} %{reached}", *wrapped_lines(ADVICE),
                      *wrapped_lines(CAUTION)])


def _estimates(row) -> tuple[Estimate | None, ...]:
    return (row.resistance_empty, row.resistance_loaded, row.resistance_ratio,
            row.inductance_empty, row.inductance_loaded, row.inductance_ratio)


def _cell(estimate: Estimate | None) -> str:
    return display(estimate, getattr(estimate, "unit", ""), 4)
