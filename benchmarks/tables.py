"""Checks as lines of text and as the table of VALIDATION.md."""
from __future__ import annotations

import argparse
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

from benchmarks.checks import CaseCheck

START = "<!-- validation table: written by `python -m benchmarks --table --into benchmarks/VALIDATION.md` -->"
END = "<!-- end of the validation table -->"
COLUMNS = f"{'case':34} {'quantity':44} {'computed':>15} {'reference':>15} {'deviation':>9} {'tolerance':>13}     kind     mark; source"


def line(check: CaseCheck) -> str:
    """One line of the running table; of an array the entry that is furthest off."""
    if check.remark:
        return f"{check.case:34} {check.remark}  OUT"
    name = check.quantity if check.entries == 1 else f"{check.quantity}[{check.entry}]"
    verdict = "   " if check.passed else "OUT"
    return (
        f"{check.case:34} {name:44} {check.computed:15.8g} {check.reference:15.8g} {check.deviation:9.1e} "
        f"{_tolerance(check):>13} {verdict} {check.kind:8} {check.mark}; {check.source}"
    )


def markdown(checks: Iterable[CaseCheck]) -> str:
    """Validation table in Markdown: a row a case, with the deviation that is largest against its tolerance."""
    header = "| case | kind | figures compared | largest deviation | tolerance | source | mark |\n"
    return header + "| --- " * 7 + "|\n" + "".join(_row(list(group)) for _, group in groupby(checks, key=lambda check: check.case))


def replaced(text: str, table: str, markers: tuple[str, str] = (START, END)) -> str:
    """`text` with what stands between the two markers replaced by the table; ValueError where it does not hold each once, in order."""
    first, last = markers
    before, start, rest = text.partition(first)
    _, end, after = rest.partition(last)
    if not start or not end or first in rest or last in after:
        raise ValueError(f"the markers {first!r} and {last!r} must each stand in it once, in this order")
    return f"{before}{first}\n\n{table}\n{last}{after}"


def check_markers(parser: argparse.ArgumentParser, path: Path, markers: tuple[str, str] = (START, END)) -> None:
    """Find out before anything is computed that a table has no place in the file; then the parser ends with why."""
    try:
        replaced(path.read_text(encoding="utf-8"), "", markers)
    except (OSError, ValueError) as error:
        parser.error(f"--into {path}: {error}")


def _row(checks: list[CaseCheck]) -> str:
    worst = max(checks, key=lambda check: check.deviation / check.tolerance)
    figures = sum(check.entries for check in checks)
    deviation = f"{worst.deviation:.1e}" if worst.passed else f"**{worst.deviation:.1e}**"
    return f"| {worst.case} | {worst.kind} | {figures} | {deviation} | {_tolerance(worst)} | {worst.source} | {worst.mark} |\n"


def _tolerance(check: CaseCheck) -> str:
    return f"{check.tolerance:.1e}" + (" abs" if check.measure == "absolute" else "")
