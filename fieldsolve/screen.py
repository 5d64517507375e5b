"""Text for a screen of a hundred columns: lines that keep a number and its unit together, labels that leave room."""
from __future__ import annotations

import re
from collections.abc import Iterable
from textwrap import wrap

WIDTH = 100             # of a line
LONGEST_LABEL = 30      # letters of a label
NUMBER_AND_WORD = re.compile(r"(\d) (?=[a-zA-Z%/])")
NO_BREAK = "\N{NO-BREAK SPACE}"


def wrapped_lines(text: str, first: str = "", rest: str = "  ") -> list[str]:
    """Lines of at most WIDTH letters, the first one behind `first` and the others behind `rest`; a number and its unit stay on one.

    >>> wrapped_lines("one two", "a: ")
    ['a: one two']
    """
    lines = wrap(unbroken_numbers(text), WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace(NO_BREAK, " ") for line in lines] or [first.rstrip()]


def unbroken_numbers(text: str) -> str:
    """A text in which no line ends between a number and its unit."""
    return NUMBER_AND_WORD.sub(rf"\1{NO_BREAK}", text)


def labelled_lines(rows) -> list[str]:
    """Lines of a label and what it says, one row below the other.

    >>> labelled_lines([("coil", "8 turns"), ("body", "disc")])
    ['  coil  8 turns', '  body  disc']
    """
    rows = [(shorten_label(label), text) for label, text in rows]
    width = max(len(label) for label, _ in rows) + 2
    return [line for label, text in rows for line in wrapped_lines(text, f"  {label:<{width}}", " " * (width + 2))]


def column_lines(rows: Iterable[Iterable[str]]) -> list[str]:
    """Lines of a table, its columns as wide as they must be.

    >>> column_lines([("time", "radius"), ("1 us", "15 mm")])
    ['  time  radius', '  1 us  15 mm']
    """
    rows = [list(row) for row in rows]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def shorten_label(label: str) -> str:
    """A label that leaves room for what stands beside it."""
    return label if len(label) <= LONGEST_LABEL else f"{label[:LONGEST_LABEL - 3]}..."
