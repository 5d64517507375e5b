"""A comparison on one screen, and as plain data for JSON."""
from __future__ import annotations

import math
from typing import Any

from fieldsolve.caution import CAUTION
from fieldsolve.records.comparison.rows import Row
from fieldsolve.screen import wrapped_lines
from fieldsolve.units import display

COLUMN_WIDTH = 15
MOST_CONTRIBUTIONS = 3      # inputs named below a row


def quantity_text(value: float | None, unit: str, digits: int = 4) -> str:
    """A quantity for printing; masses in grams.

    >>> quantity_text(12.64e-3, "kg"), quantity_text(None, "A")
    ('12.64 g', '-')
    """
    return display(1e3 * value, "g", digits) if unit == "kg" and value is not None else display(value, unit, digits)


def signed_text(value: float, unit: str, digits: int = 3) -> str:
    """The same with its sign."""
    return ("+" if value >= 0 else "") + quantity_text(value, unit, digits)


def comparison_text(comparison) -> str:
    """One screen: each quantity with its verdict and numbers, what the uncertainty is made of, what the model leaves out, remarks."""
    lines = [*wrapped_lines(f"{comparison.record_name} against {comparison.title}"), *wrapped_lines(comparison.verdict, "  "),
             _columns("computed", "measured", "E", "u_num", "u_input", "u_measured")]
    for row in comparison.rows:
        lines += [*wrapped_lines(f"{row.name}: {row.short_verdict}", "  ", "    "), _columns(*_cells(row))]
    return "\n".join([*lines, *(line for note in _notes(comparison) for line in wrapped_lines(note, "  ", "    ")),
                      *wrapped_lines(CAUTION)])


def _columns(*cells: str) -> str:
    return ("    " + "".join(cell.ljust(COLUMN_WIDTH) for cell in cells)).rstrip()


def _cells(row: Row) -> tuple[str, ...]:
    return (quantity_text(row.computed, row.unit), quantity_text(row.measured, row.unit), signed_text(row.difference, row.unit),
            *(quantity_text(u, row.unit, 2) for u in (row.u_num, row.u_input, row.u_measured)))


def _notes(comparison) -> list[str]:
    lines = ["E = computed - measured; u are standard uncertainties, '-' is not known; verdicts are at 95 % (ASME V&V 20)"]
    shift = comparison.alignment
    if shift.uncertainty:
        lines.append(f"time zero fitted at {display(shift.shift, 's', 4)} of the record (u {display(shift.uncertainty, 's', 2)}); "
                     f"offset taken off {display(shift.offset, 'A')}")
    if comparison.residual_rms is not None:
        lines.append(f"residual, root mean square: {display(comparison.residual_rms, 'A')}")
    lines += [f"u_input of {row.name}: {_contributions_text(row)}" for row in comparison.rows if any(row.contributions.values())]
    for term in comparison.terms:
        moved = [f"{row.name} {signed_text(row.offsets[term.name], row.unit, 2)}" for row in comparison.rows if row.offsets.get(term.name)]
        lines.append(f"left out by the model: {term.name}, {display(term.inductance, 'H')}"
                     + (f"; it would move {', '.join(moved)}" if moved else ""))
    return lines + [f"note: {remark}" for remark in comparison.remarks]


def _contributions_text(row: Row) -> str:
    largest = sorted(row.contributions.items(), key=lambda item: -item[1])[:MOST_CONTRIBUTIONS]
    return ", ".join(f"{key} {quantity_text(value, row.unit, 2)}" for key, value in largest)


def comparison_facts(comparison) -> dict[str, Any]:
    """Everything but the traces: floats, text and None, never NaN."""
    return {
        "record": comparison.record_name, "record_sha256": comparison.record_sha256, "title": comparison.title,
        "case": comparison.case.name if comparison.case else None, "verdict": comparison.verdict,
        "time_zero_s": comparison.alignment.shift, "u_time_zero_s": comparison.alignment.uncertainty,
        "offset_A": comparison.alignment.offset, "residual_rms_A": comparison.residual_rms,
        "rows": [row_facts(row) for row in comparison.rows],
        "model_terms": [{"name": term.name, "inductance_H": term.inductance} for term in comparison.terms],
        "remarks": list(comparison.remarks),
    }


def row_facts(row: Row) -> dict[str, Any]:
    """One row."""
    return {"name": row.name, "unit": row.unit, "computed": float(row.computed), "measured": float(row.measured),
            "difference": float(row.difference), "u_num": row.u_num, "u_input": row.u_input, "u_measured": row.u_measured,
            "u_val": row.u_val, "ratio": row.ratio if row.ratio is None or math.isfinite(row.ratio) else None,
            "outcome": row.outcome, "verdict": row.verdict, "reason": row.reason,
            "contributions": dict(row.contributions), "offsets": dict(row.offsets)}
