"""A comparison on one screen, and as plain data for JSON."""
from __future__ import annotations

import math
from typing import Any

from fieldsolve.records.comparison.rows import Row
from fieldsolve.units import display

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
    """One screen: the rows, what their uncertainty is made of, what the model leaves out, remarks."""
    head = ("quantity", "computed", "measured", "difference", "u_num", "u_input", "u_measured", "verdict")
    lines = [head, *(_cells(row) for row in comparison.rows)]
    widths = [max(len(line[k]) for line in lines) for k in range(len(head) - 1)]
    table = ["  " + "  ".join([*(cell.ljust(width) for cell, width in zip(line, widths, strict=False)), line[-1]]) for line in lines]
    return "\n".join([f"{comparison.record_name} against {comparison.title}", f"  {comparison.verdict}", *table, *_notes(comparison)])


def _cells(row: Row) -> tuple[str, ...]:
    return (row.name, quantity_text(row.computed, row.unit), quantity_text(row.measured, row.unit), signed_text(row.difference, row.unit),
            *(quantity_text(u, row.unit, 2) for u in (row.u_num, row.u_input, row.u_measured)), row.short_verdict)


def _notes(comparison) -> list[str]:
    lines = ["  E = computed - measured; standard uncertainties; '-' is not known; a verdict is at 95 % (ASME V&V 20)"]
    shift = comparison.alignment
    if shift.uncertainty:
        lines.append(f"  time zero fitted at {display(shift.shift, 's', 4)} of the record (u {display(shift.uncertainty, 's', 2)}); "
                     f"offset taken off {display(shift.offset, 'A')}")
    if comparison.residual_rms is not None:
        lines.append(f"  residual, root mean square: {display(comparison.residual_rms, 'A')}")
    for row in comparison.rows:
        if any(row.contributions.values()):
            lines.append(f"  u_input of {row.name}: {_contributions_text(row)}")
    for term in comparison.terms:
        moved = [f"{row.name} {signed_text(row.offsets[term.name], row.unit, 2)}" for row in comparison.rows
                 if row.offsets.get(term.name)]
        lines.append(f"  left out by the model: {term.name}, {display(term.inductance, 'H')}" + (f"; it would move {', '.join(moved)}"
                                                                                             if moved else ""))
    return lines + [f"  note: {remark}" for remark in comparison.remarks]


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
