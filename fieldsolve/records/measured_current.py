"""A measured current beside the computed one: reading the record, and the difference of the peaks."""
from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.reading.read import read_record
from fieldsolve.records.record import Channel, Record
from fieldsolve.shot.history import History
from fieldsolve.units import display

FEWEST_INSTANTS = 3              # instants of a record that can hold a peak


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


def read_current(path: str | Path) -> Record:
    """A record of two columns, time in seconds and current in ampere; InputError for what cannot be read."""
    return read_record(path, channels={"current": Channel(column=1)})


def peak_difference(shot, record: Record, coil: str) -> PeakDifference:
    """Difference of the peaks of a coil's computed current and of a record; InputError where the two share no time."""
    start, end = max(shot.times[0], record.times[0]), min(shot.times[-1], record.times[-1])
    peaks = [_peak_between(times, current, start, end)
             for times, current in ((shot.times, shot.series("current", coil)), record.samples("current"))]
    if None in peaks:
        raise InputError(f"{record.path.name}: runs from {display(record.times[0], 's')} to {display(record.times[-1], 's')}, the shot "
                         f"from 0 to {display(shot.times[-1], 's')}: too little in common; is its time in seconds, from the firing?")
    return PeakDifference(*peaks)


def _peak_between(times: np.ndarray, current: np.ndarray, start: float, end: float) -> tuple[float, float] | None:
    common = (times >= start) & (times <= end)
    if common.sum() < FEWEST_INSTANTS:
        return None
    return History(times[common], {("current", "coil"): current[common]}).peak("current", "coil")
