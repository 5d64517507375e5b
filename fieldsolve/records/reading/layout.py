"""How a text file of columns is laid out: delimiter, decimal sign, columns of numbers, their names and units, settings at the top."""
from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

from fieldsolve.errors import InputError
from fieldsolve.records.reading.header import Settings, is_unit, read_settings, split_unit

CANDIDATES = (("\t", "."), ("\t", ","), (";", "."), (";", ","), (",", "."), ("|", "."), (None, "."), (None, ","))   # None: blanks
NUMBER = {sign: re.compile(rf"[+-]?(\d+({re.escape(sign)}\d*)?|{re.escape(sign)}\d+)([eE][+-]?\d+)?") for sign in ".,"}
MOST_LINES = 400                  # that are looked at
DELIMITER_NAMES = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", None: "blanks"}


@dataclass(frozen=True)
class Layout:
    """How the lines of a file are read.

    delimiter, decimal   as in CANDIDATES
    first                index of the first line with numbers, from 0
    columns              those that hold numbers
    cells                cells of a line with numbers
    names, units         by column, where the file gives them
    settings             sample interval and start from the top of the file
    """

    delimiter: str | None
    decimal: str
    first: int
    columns: tuple[int, ...]
    cells: int
    names: dict[int, str] = field(default_factory=dict)
    units: dict[int, str] = field(default_factory=dict)
    settings: Settings = Settings()         # noqa: RUF009

    def split(self, line: str) -> list[str]:
        """Cells of a line."""
        return split_line(line, self.delimiter)


def find_layout(lines: list[str], name: str) -> Layout:
    """The layout of a file from its first lines, a longer look where the first are all header.

    Raises InputError where they hold no table of numbers.
    """
    try:
        return _layout_of(lines[:MOST_LINES], name)
    except InputError:
        if len(lines) <= MOST_LINES:
            raise
        return _layout_of(lines, name)


def _layout_of(lines: list[str], name: str) -> Layout:
    found = [(*_score(lines, *candidate), candidate) for candidate in CANDIDATES]
    share, rows, _, columns, cells, (delimiter, decimal) = max(found, key=lambda entry: entry[:3])
    if not rows or share < 0.6:
        raise InputError(f"{name}: no table of numbers in the first {len(lines)} line(s); export it as CSV, one row of numbers a "
                         "sample, with one delimiter")
    first = next(k for k, line in enumerate(lines) if set(columns) <= set(_numeric(split_line(line, delimiter), decimal)))
    _check_commas(lines[first:], delimiter, columns, name)
    header = [split_line(line.lstrip("# "), delimiter) for line in lines[:first]]
    names, units = _titles(header, columns)
    settings = read_settings(lines[:first + 40])
    return Layout(delimiter, decimal, first, columns, cells, names, units, settings)


def split_line(line: str, delimiter: str | None) -> list[str]:
    """Cells of a line without blanks and quotes around them."""
    return [cell.strip().strip('"').strip() for cell in line.split(delimiter)]


def _numeric(cells: list[str], decimal: str) -> tuple[int, ...]:
    return tuple(k for k, cell in enumerate(cells) if NUMBER[decimal].fullmatch(cell))


def _score(lines: list[str], delimiter: str | None, decimal: str):
    """Share of filled cells that are numbers in the most frequent kind of line, how many such lines, its columns and cells."""
    split = [split_line(line, delimiter) for line in lines if line.strip() and not line.lstrip().startswith("#")]
    kinds = Counter(columns for cells in split if (columns := _numeric(cells, decimal)))
    if not kinds:
        return 0.0, 0, 0, (), 0
    columns, _ = max(kinds.items(), key=lambda item: (item[1], len(item[0])))
    rows = [cells for cells in split if set(columns) <= set(_numeric(cells, decimal))]
    filled = sum(bool(cell) for cells in rows for cell in cells)
    widths = Counter(len(cells) for cells in rows)
    share = sum(len(_numeric(cells, decimal)) for cells in rows) / max(filled, 1)
    return round(share, 1), len(rows) * min(len(columns), 2), len(columns), columns, widths.most_common(1)[0][0]


def _check_commas(lines: list[str], delimiter: str | None, columns: tuple[int, ...], name: str) -> None:
    """Refuse commas that part the cells and the decimals as well: then odd cells begin with zeros, and no number has a point."""
    if delimiter != "," or len(columns) % 2 or any("." in line for line in lines):
        return
    cells = [split_line(line, ",") for line in lines if line.strip()]
    fractions = [row[k] for row in cells for k in columns[1::2] if k < len(row)]
    if any(len(cell) > 1 and cell.startswith("0") for cell in fractions):
        raise InputError(f"{name}: commas stand between the columns and before the decimals as well, so that numbers cannot be told "
                         "apart; export with semicolons or tabs between the columns")


def _titles(header: list[list[str]], columns: tuple[int, ...]) -> tuple[dict[int, str], dict[int, str]]:
    """Names and units of the columns, from the last lines before the numbers."""
    rows = [row for row in header if len(row) > max(columns) and all(row[k] for k in columns)][-2:]
    if not rows:
        return {}, {}
    units: dict[int, str] = {}
    if all(is_unit(rows[-1][k]) for k in columns):
        units = {k: split_unit(f"x ({rows[-1][k].strip('()[]')})")[1] for k in columns}
        rows = rows[:-1]
    names = {}
    for k in columns if rows else ():
        names[k], unit = split_unit(rows[-1][k])
        units.setdefault(k, unit)
    return names, {k: unit for k, unit in units.items() if unit}
