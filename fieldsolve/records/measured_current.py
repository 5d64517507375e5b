"""A measured current beside the computed one: reading the record, and the difference of the peaks."""
from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.shot.history import History
from fieldsolve.units import display

FEWEST_INSTANTS = 3              # instants of a record that can hold a peak


@dataclass(frozen=True, eq=False)
class Record:
    """A measured current in ampere over `times` in seconds, from the file `path`."""

    path: Path
    times: np.ndarray
    current: np.ndarray


@dataclass(frozen=True)
class PeakDifference:
    """Computed less measured, at the largest magnitude in the time that both cover.

    current, time            ampere and seconds
    computed, measured       (ampere, seconds) of each peak
    """

    computed: tuple[float, float]
    measured: tuple[float, float]

    @property
    def current(self) -> float:
        """Computed less measured peak in ampere."""
        return self.computed[0] - self.measured[0]

    @property
    def time(self) -> float:
        """Computed less measured time of the peak in seconds."""
        return self.computed[1] - self.measured[1]

    @property
    def share(self) -> float:
        """The difference of the peaks relative to the measured one; infinite where that is zero."""
        return self.current / abs(self.measured[0]) if self.measured[0] else math.inf

    def __str__(self) -> str:
        peaks = ", ".join(f"{name} {display(value, 'A', 4)} at {display(time, 's', 4)}"
                          for name, (value, time) in (("computed", self.computed), ("measured", self.measured)))
        return (f"peak current: {peaks}; computed less measured {self._signed(self.current, 'A')} ({100 * self.share:+.2g} %), "
                f"{self._signed(self.time, 's')}")

    @staticmethod
    def _signed(value: float, unit: str) -> str:
        return ("+" if value >= 0 else "") + display(value, unit)


def read_record(path: str | Path) -> Record:
    """A record of two columns, time in seconds and current in ampere, parted by a comma, semicolon, tab or spaces.

    Lines that begin with # and empty lines are passed over.  Raises InputError, with the line, where a row is not two finite numbers
    or a time does not increase.
    """
    path = Path(path)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (FileNotFoundError, IsADirectoryError):
        raise InputError(f"no such record: {str(path)!r}; give a file of two columns, time in s and current in A") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: not a text file in UTF-8 ({error.reason} at byte {error.start})") from None
    rows: list[tuple[float, float]] = []
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            rows.append(_parse_row(f"{path.name}, line {number}", line, rows[-1][0] if rows else -math.inf))
    if len(rows) < FEWEST_INSTANTS:
        raise InputError(f"{path.name}: holds {len(rows)} row(s) up to line {len(lines)}; a record needs at least {FEWEST_INSTANTS}")
    return Record(path, *np.array(rows).T)


def _parse_row(where: str, line: str, before: float) -> tuple[float, float]:
    cells = [cell for cell in re.split(r"\s*[,;]\s*|\s+", line.strip()) if cell]
    try:
        values = [float(cell) for cell in cells]
    except ValueError:
        raise InputError(f"{where}: {line.strip()!r} is not two numbers; put # before a header") from None
    if len(values) != 2:
        raise InputError(f"{where}: {len(values)} column(s); a record has two, time in s and current in A")
    if not all(map(math.isfinite, values)):
        raise InputError(f"{where}: {line.strip()!r}: both numbers must be finite; take the row out")
    if values[0] <= before:
        raise InputError(f"{where}: time {values[0]:g} s does not increase from {before:g} s; sort the rows and keep each time once")
    return values[0], values[1]


def peak_difference(shot, record: Record, coil: str) -> PeakDifference:
    """Difference of the peaks of a coil's computed current and of a record; InputError where the two share no time."""
    start, end = max(shot.times[0], record.times[0]), min(shot.times[-1], record.times[-1])
    peaks = [_peak_between(times, current, start, end)
             for times, current in ((shot.times, shot.series("current", coil)), (record.times, record.current))]
    if None in peaks:
        raise InputError(f"{record.path.name}: runs from {display(record.times[0], 's')} to {display(record.times[-1], 's')}, the shot "
                         f"from 0 to {display(shot.times[-1], 's')}: too little in common; is its time in seconds, from the firing?")
    return PeakDifference(*peaks)


def _peak_between(times: np.ndarray, current: np.ndarray, start: float, end: float) -> tuple[float, float] | None:
    common = (times >= start) & (times <= end)
    if common.sum() < FEWEST_INSTANTS:
        return None
    return History(times[common], {("current", "coil"): current[common]}).peak("current", "coil")
