"""Checks as lines of text and as the README's table."""
from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from benchmarks.checks import Check

START, END = "<!-- validation table: written by `python -m benchmarks --table --into README.md` -->", "<!-- end of the validation table -->"
COLUMNS = f"{'case':34} {'quantity':44} {'computed':>15} {'reference':>15} {'deviation':>9} {'tolerance':>13}     kind     mark; source"


def line(check: Check) -> str:
    """One line of the running table; of an array the entry that is furthest off."""
    if check.remark:
        return f"{check.case:34} {check.remark}  OUT"
    name = check.quantity if check.entries == 1 else f"{check.quantity}[{check.entry}]"
    verdict = "   " if check.passed else "OUT"
    return (
        f"{check.case:34} {name:44} {check.computed:15.8g} {check.reference:15.8g} {check.deviation:9.1e} "
        f"{_tolerance(check):>13} {verdict} {check.kind:8} {check.mark}; {check.source}"
    )


def markdown(checks: Iterable[Check]) -> str:
    """Validation table in Markdown: a row a case, with the deviation that is largest against its tolerance."""
    header = "| case | kind | figures compared | largest deviation | tolerance | source | mark |\n"
    return header + "| --- " * 7 + "|\n" + "".join(_row(list(group)) for _, group in groupby(checks, key=lambda check: check.case))


def replaced(text: str, table: str) -> str:
    """`text` with what stands between its two markers replaced by the table; ValueError where it does not hold each once, in order."""
    before, start, rest = text.partition(START)
    _, end, after = rest.partition(END)
    if not start or not end or START in rest or END in after:
        raise ValueError(f"the markers {START!r} and {END!r} must each stand in it once, in this order")
    return f"{before}{START}\n\n{table}\n{END}{after}"


def _row(checks: list[Check]) -> str:
    worst = max(checks, key=lambda check: check.deviation / check.tolerance)
    figures = sum(check.entries for check in checks)
    deviation = f"{worst.deviation:.1e}" if worst.passed else f"**{worst.deviation:.1e}**"
    return f"| {worst.case} | {worst.kind} | {figures} | {deviation} | {_tolerance(worst)} | {worst.source} | {worst.mark} |\n"


def _tolerance(check: Check) -> str:
    return f"{check.tolerance:.1e}" + (" abs" if check.measure == "absolute" else "")
