"""A measured current beside the computed one: baseline and peak of the record, the differences, and what is left between the curves."""
from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.peak_fit import PeakFit, fit_peak, measured_baseline
from fieldsolve.records.reading.read import read_record
from fieldsolve.records.record import Channel, Record
from fieldsolve.records.ringdown.trace import current_samples
from fieldsolve.shot.history import History
from fieldsolve.units import display

FEWEST_INSTANTS = 3              # instants of a record that can hold a peak


@dataclass(frozen=True)
class PeakDifference:
    """Computed less measured, at the largest magnitude in the time that both cover; the measured peak is that of a local fit.

    current, time            ampere and seconds
    computed, measured       (ampere, seconds) of each peak
    uncertainty              standard uncertainty of the measured peak from the scatter of its samples, (ampere, seconds)
    baseline                 ampere that the record holds before the firing, which is taken off; None where it holds too little of it
    residual                 root of the mean square of computed less measured in the time that both cover, ampere
    span                     (start, end) of that time, seconds
    """

    computed: tuple[float, float]
    measured: tuple[float, float]
    uncertainty: tuple[float, float] = (0.0, 0.0)
    baseline: float | None = None
    residual: float = 0.0
    span: tuple[float, float] = (0.0, 0.0)

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

    @property
    def residual_share(self) -> float:
        """The residual relative to the measured peak; infinite where that is zero."""
        return self.residual / abs(self.measured[0]) if self.measured[0] else math.inf

    def __str__(self) -> str:
        peaks = ", ".join(f"{name} {display(value, 'A', 4)} at {display(time, 's', 4)}"
                          for name, (value, time) in (("computed", self.computed), ("measured", self.measured)))
        scatter = f" (standard uncertainty {display(self.uncertainty[0], 'A', 2)}, {display(self.uncertainty[1], 's', 2)})" \
            if any(self.uncertainty) else ""
        baseline = "not known, no samples before the firing" if self.baseline is None else f"{display(self.baseline, 'A', 2)}, taken off"
        return (f"peak current: {peaks}{scatter}; computed less measured {self._signed(self.current, 'A')} ({100 * self.share:+.2g} %), "
                f"{self._signed(self.time, 's')}; rms residual {display(self.residual, 'A', 2)} ({100 * self.residual_share:.2g} % of the "
                f"peak) from {display(self.span[0], 's')} to {display(self.span[1], 's')}; baseline {baseline}")

    @staticmethod
    def _signed(value: float, unit: str) -> str:
        return ("+" if value >= 0 else "") + display(value, unit)


def read_current(path: str | Path) -> Record:
    """A record of two columns, time in seconds and current in ampere; InputError for what cannot be read."""
    return read_record(path, channels={"current": Channel(column=1)})


def peak_difference(shot, record: Record, coil: str) -> PeakDifference:
    """Difference of the peaks of a coil's computed current and of a record; InputError where the two share no time.

    The record's peak is that of a polynomial fitted round it, not its highest noisy sample.
    """
    all_times, all_values = current_samples(record)
    baseline = measured_baseline(all_times, all_values)
    check_overlap(record, shot.times[-1])
    times, values = _within(all_times, all_values - (baseline or 0.0), shot.times)
    computed_times, computed = _within(shot.times, shot.series("current", coil), record.times)
    if len(computed) < FEWEST_INSTANTS:
        raise _too_little(record, shot.times[-1])
    peak: PeakFit = fit_peak(times, values)
    difference = np.interp(times, shot.times, shot.series("current", coil)) - values
    return PeakDifference(
        computed=History(computed_times, {("current", coil): computed}).peak("current", coil), measured=(peak.value, peak.time),
        uncertainty=(peak.value_uncertainty, peak.time_uncertainty), baseline=baseline,
        residual=float(np.sqrt((difference**2).mean())), span=(float(times[0]), float(times[-1])))


def check_overlap(record: Record, end_time: float) -> None:
    """Refuse a record that has next to no samples in a shot from 0 to an end time in seconds: InputError."""
    times = current_samples(record)[0]
    if np.count_nonzero((times >= 0) & (times <= end_time)) < FEWEST_INSTANTS:
        raise _too_little(record, end_time)


def _too_little(record: Record, end_time: float) -> InputError:
    return InputError(f"{record.path.name}: runs from {display(record.times[0], 's')} to {display(record.times[-1], 's')}, the shot from 0 "
                      f"to {display(end_time, 's')}: too little in common; is its time in seconds, from the firing? Otherwise give its "
                      "unit and its delay")


def _within(times: np.ndarray, values: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The part of a series in the time that another covers."""
    common = (times >= other[0]) & (times <= other[-1])
    return times[common], values[common]
