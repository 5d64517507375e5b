"""A measured current beside the computed one: reading the record, and the difference of the peaks."""
from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.local_peak import baseline, local_peak
from fieldsolve.records.reading.read import read_record
from fieldsolve.records.record import Channel, Record
from fieldsolve.shot.history import History
from fieldsolve.units import display

FEWEST_INSTANTS = 3              # instants of a record that can hold a peak


@dataclass(frozen=True)
class PeakDifference:
    """Computed less measured, at the largest magnitude in the time that both cover; the measured peak is that of a local fit.

    current, time            ampere and seconds
    computed, measured       (ampere, seconds) of each peak
    residual                 root mean square of computed less measured, ampere
    baseline                 of the record before the firing, ampere; it is taken off
    """

    computed: tuple[float, float]
    measured: tuple[float, float]
    residual: float = 0.0
    baseline: float = 0.0

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
                f"{self._signed(self.time, 's')}; residual {display(self.residual, 'A')} rms"
                + (f", baseline {display(self.baseline, 'A')} taken off" if self.baseline else ""))

    @staticmethod
    def _signed(value: float, unit: str) -> str:
        return ("+" if value >= 0 else "") + display(value, unit)


def read_current(path: str | Path) -> Record:
    """A record of two columns, time in seconds and current in ampere; InputError for what cannot be read."""
    return read_record(path, channels={"current": Channel(column=1)})


def peak_difference(shot, record: Record, coil: str) -> PeakDifference:
    """Difference of a coil's computed current and of a record, its baseline before time 0 taken off.

    InputError where the two share no time.
    """
    times, values = record.samples("current")
    start, end = max(shot.times[0], times[0]), min(shot.times[-1], times[-1])
    computed, rest = shot.series("current", coil), baseline(times, values)
    within, common = (shot.times >= start) & (shot.times <= end), (times >= start) & (times <= end)
    if min(within.sum(), common.sum()) < FEWEST_INSTANTS:
        raise InputError(f"{record.path.name}: runs from {display(times[0], 's')} to {display(times[-1], 's')}, the shot "
                         f"from 0 to {display(shot.times[-1], 's')}: too little in common; is its time in seconds, from the firing?")
    residual = np.interp(times[common], shot.times, computed) - values[common] + rest
    return PeakDifference(History(shot.times[within], {("current", coil): computed[within]}).peak("current", coil),
                          local_peak(times[common], values[common] - rest), float(np.sqrt(np.mean(residual**2))), rest)
