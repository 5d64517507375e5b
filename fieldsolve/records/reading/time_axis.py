"""The time of each sample: from a column or from the interval between samples, with its gaps and its rounding."""
from __future__ import annotations

import re

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.reading.header import factor
from fieldsolve.records.reading.layout import Layout
from fieldsolve.units import display

TIME_TITLE = re.compile(r"(time|zeit|temps|tempo|tiempo|t|seconds?|sec|x|x[ _-]?axis)\b.*", re.IGNORECASE)
COUNT_TITLE = re.compile(r"(sequence|samples?|index|points?|no|nr|n|#|x)\b.*", re.IGNORECASE)
GAP = 1.5                         # times the interval between samples
FEWEST_REPEATS = 4                # of a time, by which few digits are known; fewer are a mistake
LONG = 10.0                       # seconds: a record of this length without a unit of time is doubtful


def time_column(layout: Layout, head: np.ndarray, claimed: set[int]) -> int | None:
    """Column of the time, None where the file has none.

    head     the first rows of all columns of numbers
    claimed  columns that are channels
    """
    for column in layout.columns:
        if column not in claimed and _is_time(layout, column) and _increases(layout, head, column):
            return column
    first = layout.columns[0]
    counts = layout.settings.interval is not None and _counts(layout, head, first)
    if first in claimed or counts or (len(layout.columns) == 1):
        return None
    return first


def _is_time(layout: Layout, column: int) -> bool:
    unit = factor(layout.units.get(column, ""))[1]
    named = bool(TIME_TITLE.fullmatch(layout.names.get(column, "")))
    if unit == "s":
        return True
    return named and not unit and not (layout.settings.interval and layout.names[column].lower() == "x")


def _increases(layout: Layout, head: np.ndarray, column: int) -> bool:
    values = head[:, layout.columns.index(column)]
    return len(values) < 2 or values[-1] >= values[0]


def _counts(layout: Layout, head: np.ndarray, column: int) -> bool:
    """Whether a column is 0, 1, 2, ... and no time."""
    values = head[:, layout.columns.index(column)]
    return len(values) > 1 and bool(np.all(np.diff(values) == 1)) and values[0] in (0, 1)


def even_times(count: int, interval: float | None, start: float | None, name: str) -> np.ndarray:
    """Times of samples at a fixed interval.  Raises InputError where the interval is not known."""
    if interval is None:
        raise InputError(f"{name}: no column of time and no sample interval; give sample_interval= in seconds")
    return (start or 0.0) + interval * np.arange(count)


def checked_times(times: np.ndarray, layout: Layout, first_line: int, name: str) -> tuple[np.ndarray, list[str]]:
    """Increasing times, and what is to say of them.  Raises InputError where they jump back."""
    if not np.isfinite(times).all():
        row = int(np.argmin(np.isfinite(times)))
        raise InputError(f"{name}, line {first_line + row}: has no time; put the line right or take it out")
    steps = np.diff(times)
    if steps.size and (lowest := steps.min()) <= 0:
        row = int(np.argmin(steps > 0)) + 1
        if lowest < 0:
            raise _jumps_back(times, int(np.argmin(steps)) + 1, first_line, name)
        return _spread_equal(times, steps, row, first_line, name)
    return times, _gap_remarks(times, steps)


def _jumps_back(times: np.ndarray, row: int, first_line: int, name: str) -> InputError:
    sweeps = f"there are several sweeps in the file: give sweep=1 for the first, or export one trigger; {times[row]:g} s"
    return InputError(f"{name}, line {first_line + row}: time {times[row]:g} s does not increase from {times[row - 1]:g} s; sort the rows, "
                      f"or where {sweeps} is where the next begins")


def _spread_equal(times: np.ndarray, steps: np.ndarray, row: int, first_line: int, name: str) -> tuple[np.ndarray, list[str]]:
    """Times that repeat because the file gives too few digits; refused where that is not the reason."""
    even = np.linspace(times[0], times[-1], len(times))
    digit = steps[steps > 0].min() if (steps > 0).any() else 0.0
    if np.count_nonzero(steps == 0) < FEWEST_REPEATS or np.abs(even - times).max() > 1.5 * digit:
        raise InputError(f"{name}, line {first_line + row}: time {times[row]:g} s does not increase from {times[row - 1]:g} s; sort the "
                         "rows and keep each time once, or export more digits")
    return even, [f"{int((steps == 0).sum())} times repeat, for the file gives them with too few digits: evenly spaced times were taken "
                  f"({display(even[1] - even[0], 's')})"]


def _gap_remarks(times: np.ndarray, steps: np.ndarray) -> list[str]:
    if not steps.size:
        return []
    interval = float(np.median(steps))
    wide = np.flatnonzero(steps > GAP * interval)
    if not wide.size or wide.size > 0.2 * steps.size:               # an uneven sampling has no gaps
        return []
    longest = int(wide[np.argmax(steps[wide])])
    return [f"{wide.size} gap(s) in the times, the longest {display(float(steps[longest]), 's')} at {display(float(times[longest]), 's')}: "
            "nothing was filled in"]
