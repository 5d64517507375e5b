"""The numbers of a text file, block by block: fast where every line is whole, line by line where one is not."""
from __future__ import annotations

import io
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.reading.layout import NUMBER, Layout

OVERFLOW = 9e36                   # what instruments write where a sample is none: 9.9e37
MISSING = ("", "-", "nan", "inf", "+inf", "-inf", "over", "overflow", "ovl", "o.l", "ol", "clip", "clipped", "n/a", "na", "none", "null",
           "****", "***", "--")
MOST_TEXT_LINES = 50              # among the numbers; more of them are another kind of file
MOST_SAMPLES = 40_000_000


@dataclass
class Numbers:
    """What was read: a list of arrays (rows, columns), and lines without numbers."""

    arrays: list[np.ndarray] = field(default_factory=list)
    text_lines: list[int] = field(default_factory=list)
    cut_line: int | None = None         # the last line of the file, where it is not whole
    rows: int = 0


def read_numbers(texts: Iterable[str], layout: Layout, columns: tuple[int, ...], name: str) -> Numbers:
    """Numbers in `columns` of the lines from `layout.first` on, NaN where a cell is empty or an overflow.

    Raises InputError, with the line, for a cell that is no number and for a line with other columns than the rest.
    """
    numbers, line = Numbers(), 1
    for text in texts:
        count = text.count("\n")
        if line == 1:
            text = _without_lines(text, layout.first)
            line, count = line + layout.first, count - layout.first
        if numbers.cut_line is not None:
            raise _broken(name, numbers.cut_line, f"fewer than {layout.cells} columns")
        _read_block(text, line, layout, columns, name, numbers)
        line += count
        if numbers.rows * len(columns) > MOST_SAMPLES * 2:
            raise InputError(f"{name}: more than {MOST_SAMPLES} rows of numbers; export fewer samples, or choose channels")
    return numbers


def _without_lines(text: str, count: int) -> str:
    start = 0
    for _ in range(count):
        start = text.index("\n", start) + 1
    return text[start:]


def _read_block(text: str, line: int, layout: Layout, columns: tuple[int, ...], name: str, numbers: Numbers) -> None:
    array = _fast(text, layout, columns)
    if array is None:
        array = _line_by_line(text, line, layout, columns, name, numbers)
    numbers.arrays.append(array)
    numbers.rows += len(array)


def _fast(text: str, layout: Layout, columns: tuple[int, ...]) -> np.ndarray | None:
    """All lines at once; None where one is not as the others."""
    if layout.delimiter and text.count(layout.delimiter) != (layout.cells - 1) * text.count("\n"):
        return None
    if layout.decimal == ",":
        text = text.replace(",", ".")
    try:
        array = np.loadtxt(io.StringIO(text), delimiter=layout.delimiter, usecols=columns, ndmin=2, quotechar='"', comments=None)
    except ValueError:
        return None
    return array if len(array) == text.count("\n") and np.abs(array).max(initial=0.0) < OVERFLOW else None


def _line_by_line(text: str, line: int, layout: Layout, columns: tuple[int, ...], name: str, numbers: Numbers) -> np.ndarray:
    rows = []
    for number, content in enumerate(text.split("\n"), start=line):
        stripped = content.strip()
        if not stripped or stripped.startswith("#"):
            continue
        if numbers.cut_line is not None:
            raise _broken(name, numbers.cut_line, f"fewer than {layout.cells} columns")
        row = _read_line(content, number, layout, columns, name, numbers)
        if row is not None:
            rows.append(row)
    return np.array(rows, dtype=float).reshape(-1, len(columns))


def _read_line(content: str, number: int, layout: Layout, columns: tuple[int, ...], name: str, numbers: Numbers) -> list[float] | None:
    cells = layout.split(content)
    while len(cells) > layout.cells and not cells[-1]:
        cells.pop()
    here = [cells[k] if k < len(cells) else None for k in columns]
    if not any(cell is not None and NUMBER[layout.decimal].fullmatch(cell) for cell in here):
        numbers.text_lines.append(number)
        if len(numbers.text_lines) > MOST_TEXT_LINES:
            raise _broken(name, number, f"{content.strip()[:60]!r} is no row of numbers")
        return None
    if len(cells) > layout.cells:
        raise _broken(name, number, f"{len(cells)} column(s), the lines before have {layout.cells}")
    if None in here:
        numbers.cut_line = number
        return None
    return [_number(cell or "", number, layout, name) for cell in here]


def _number(cell: str, number: int, layout: Layout, name: str) -> float:
    if NUMBER[layout.decimal].fullmatch(cell):
        value = float(cell.replace(",", "."))
        return value if abs(value) < OVERFLOW else math.nan
    if cell.lower() in MISSING:
        return math.nan
    raise _broken(name, number, f"{cell[:40]!r} is not a number")


def _broken(name: str, number: int, what: str) -> InputError:
    return InputError(f"{name}, line {number}: {what}; put the line right, take it out, or put # before it")
