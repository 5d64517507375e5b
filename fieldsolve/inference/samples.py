"""The samples of a record as means over blocks, with the noise of a mean; and where the record's current starts."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.inference.runs import FIELD_RATE, ModelRun
from fieldsolve.records.comparison.alignment import align
from fieldsolve.records.comparison.trace import Trace
from fieldsolve.records.reading.correction import integrated
from fieldsolve.records.record import Record

SERIES = {"voltage": "voltage", "velocity": "speed"}             # of a run, by the role of a channel
MOST_BLOCKS = 240               # means that a record is reduced to
LEAD = 0.25                     # of the shot's length: what of the record before its start is kept, for the offset
FEWEST_SAMPLES = 2
START_DEVIATION = 0.02          # of the shot's length: how well the start is known before the fit, where the rise was found
WIDE_START = 0.1                # the same where it was not
FEW_SAMPLES, FEW_NOISE = 16, 0.05            # fewer do not tell their noise, which is then taken for so much of the largest
LEAST_NOISE = 1e-4              # of the largest sample: no instrument is better


@dataclass(frozen=True, eq=False)
class RecordSamples:
    """One channel of a record as means over blocks.

    name            of the series of a run that it shows
    times, values   (n,) seconds of the record's own time, and the quantity in SI
    block           samples in a mean
    start           seconds at which the current starts, roughly
    start_deviation how well that is known
    scale_uncertainty  relative, of a channel that is no current
    """

    name: str
    times: np.ndarray
    values: np.ndarray
    block: int
    start: float
    start_deviation: float
    scale_uncertainty: float = 0.0

    @property
    def scale(self) -> float:
        """Largest magnitude, which shares are shares of."""
        return float(np.abs(self.values).max()) or 1.0

    def noise(self, computed: np.ndarray) -> float:
        """Standard deviation of a mean, from the second differences of what is left of it besides the `computed` values."""
        residual = self.values - computed
        if len(residual) < FEW_SAMPLES:
            return max(float(np.sqrt(np.mean(residual**2))), FEW_NOISE * self.scale)
        second = residual[2:] - 2 * residual[1:-1] + residual[:-2]
        return max(float(np.sqrt(np.mean(second**2) / 6)), LEAST_NOISE * self.scale)


def sampled_current(record: Record, base: ModelRun) -> RecordSamples:
    """Means of the measured current; InputError where the record has none, or too little of it."""
    times, values = measured_current(record)
    length = float(base.times[-1])
    start, deviation = _start(Trace(times, values), base, record.path.name)
    return averaged_samples("current", times, values, start, deviation, length, record.path.name)


def averaged_samples(name: str, times: np.ndarray, values: np.ndarray, start: float, deviation: float, length: float,
                     file: str) -> RecordSamples:
    """Means of the samples from a little before the start to the shot's end."""
    within = (times >= start - LEAD * length) & (times <= start + length)
    times, values = times[within], values[within]
    if np.count_nonzero(times > start) < FEWEST_SAMPLES:
        raise InputError(f"{file}: {np.count_nonzero(times > start)} samples of the {name} in the {1e6 * length:g} us of the shot; at "
                         f"least {FEWEST_SAMPLES} are needed; is the record's time in seconds?")
    block = max(1, len(times) // MOST_BLOCKS)
    count = len(times) // block
    times, values = (column[:count * block].reshape(count, block).mean(axis=1) for column in (times, values))
    return RecordSamples(name, times, values, block, start, deviation)


def sampled_others(record: Record, current: RecordSamples, run: ModelRun) -> tuple[RecordSamples, ...]:
    """Means of the other channels that a run computes, over the time of the current: the bank's voltage, the speed of the part, and the
    rates of flux densities at places."""
    found = []
    for name in record.names:
        role = role_of(record, name)
        series = FIELD_RATE + name if role == "field_rate" else SERIES.get(role)
        if series in run.series:
            scale = record.channels[name].scale_uncertainty if name in record.channels else 0.0
            if not math.isfinite(scale):
                continue                            # of an unknown scale: it tells nothing that the current does not
            seen = averaged_samples(series, *record.samples(name), current.start, current.start_deviation, float(run.times[-1]),
                                    record.path.name)
            found.append(replace(_after_start(seen) if role == "field_rate" else seen, scale_uncertainty=scale))
    return tuple(found)


def _after_start(samples: RecordSamples) -> RecordSamples:
    """The samples behind the jump of a rate when the current starts."""
    later = samples.times > samples.start + 2 * (samples.times[1] - samples.times[0])
    return replace(samples, times=samples.times[later], values=samples.values[later])


def field_places(record: Record) -> dict[str, tuple[float, float] | None]:
    """Where the loops of a record measure: (r, z) in metres by channel, None at the centre."""
    return {name: record.channels[name].place if name in record.channels else None
            for name in record.names if role_of(record, name) == "field_rate"}


def role_of(record: Record, name: str) -> str:
    """What a channel measures."""
    return (record.channels[name].role or name) if name in record.channels else name


def measured_current(record: Record) -> tuple[np.ndarray, np.ndarray]:
    """Times and current of a record, of its rate the integral."""
    roles = {name: role_of(record, name) for name in record.names}
    for name, role in roles.items():
        if role == "current":
            return record.samples(name)
    for name, role in roles.items():
        if role == "current_rate":
            times, values = record.samples(name)
            before = values[times < times[0] + 0.02 * np.ptp(times)]
            return times, integrated(times, values, float(np.median(before)) if len(before) else 0.0)
    raise InputError(f"{record.path.name}: has no current; read it with channels={{'current': fs.Channel(column=1)}}")


def gain_uncertainty(record: Record) -> float:
    """Relative standard uncertainty of the scale of the current, 0 where it is exact."""
    for name in record.names:
        if name in record.channels and role_of(record, name) in ("current", "current_rate"):
            found = record.channels[name].scale_uncertainty
            return found if math.isfinite(found) else 1.0
    return 0.0


def _start(measured: Trace, base: ModelRun, file: str) -> tuple[float, float]:
    """When the current starts, by a fit of its rise; time 0 of the record where the rise shows too little."""
    try:
        found = align(measured, Trace(base.times, base.series["current"]), file)
    except InputError as error:
        if "sign" in str(error):
            raise
        return 0.0, WIDE_START * float(base.times[-1])
    return found.shift, max(10 * found.uncertainty, START_DEVIATION * float(base.times[-1]))
