"""Rows of a comparison that come from other channels of a record: the bank's voltage, a speed, a field probe."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.records.comparison.alignment import Alignment
from fieldsolve.records.comparison.computed import (
    ReadingMissing,
    computed_trace,
    input_uncertainty,
    model_offsets,
    numerical_uncertainty,
)
from fieldsolve.records.comparison.helix import ModelTerm
from fieldsolve.records.comparison.rows import Row
from fieldsolve.records.comparison.sensitivities import Sensitivities
from fieldsolve.records.comparison.trace import Reading, Trace, block_length, read_peak
from fieldsolve.records.reading.correction import integrated
from fieldsolve.records.record import Channel, Record

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FIELD_INSTANTS = 60        # at which the field at a probe's place is computed
FEWEST_BEFORE = 5          # samples before the start, for the charge voltage
UNKNOWN = Channel(column=0)


def channel_rows(shot: Shot, record: Record, end: float, alignment: Alignment, sensitivities: Sensitivities | None,
                 terms: tuple[ModelTerm, ...], coil: str, bands=None) -> Iterator[Row]:
    """Rows of the channels that are no current, up to `end` in seconds."""
    block = block_length(computed_trace(shot, coil, end))
    for name in record.names:
        channel = record.channels.get(name, UNKNOWN)
        times, values = record.samples(name)
        trace, scale = Trace(times - alignment.shift, values), record.scale_uncertainty(name)
        for row, evaluate, reading in _readings(shot, channel.role or name, name, channel, trace, end, block):
            u_input, contributions = input_uncertainty(row, bands, shot, evaluate, sensitivities, False)
            unit = {"voltage": "V", "velocity": "m/s"}.get(channel.role or name, "T")
            yield Row(name=row, unit=unit, computed=evaluate(shot), measured=reading.value,
                      u_num=numerical_uncertainty(shot, evaluate, unit), u_input=u_input,
                      u_measured=math.hypot(reading.uncertainty, scale * reading.value) if math.isfinite(scale) else None,
                      contributions=contributions, offsets=model_offsets(shot, evaluate, sensitivities, terms, False))


def _readings(shot: Shot, role: str, name: str, channel: Channel, trace: Trace, end: float,
              block: float) -> Iterator[tuple[str, Callable[[Shot], float], Reading]]:
    """Name of the row, its value of a shot, and the reading, for what a channel of a role shows."""
    if role == "voltage" and shot.bank_places:
        yield from _voltage_readings(shot.bank_places[0], trace, end, block)
    elif role == "velocity":
        for body in [body for body in shot.bodies if ("speed", body) in shot.history.values][:1]:
            peak = _magnitude(read_peak(trace.until(end), block, 0))
            if peak:
                yield f"peak speed of {body}", lambda run, body=body: abs(run.history.peak("speed", body)[0]), peak
    elif role == "field_rate":
        field = _magnitude(read_peak(_field_of_rate(trace).until(end), block, 0))
        if field:
            place = "centre" if channel.place is None else f"r = {1e3 * channel.place[0]:.4g} mm, z = {1e3 * channel.place[1]:.4g} mm"
            yield f"peak axial field at {place}", lambda run: probe_peak(run, channel.place, end), field


def _voltage_readings(bank: str, trace: Trace, end: float, block: float) -> Iterator[tuple[str, Callable[[Shot], float], Reading]]:
    """The charge before the start, and the largest reverse voltage."""
    before = trace.values[trace.times < -block]
    if len(before) >= FEWEST_BEFORE:
        yield (f"charge voltage of {bank} in the record", lambda run: float(run.series("voltage", bank)[0]),
               Reading(float(before.mean()), float(before.std()) / math.sqrt(len(before))))
    reverse = read_peak(trace.until(end), block, 1)

    def largest_reverse(run: Shot) -> float:
        lowest = float(run.series("voltage", bank).min())
        if lowest >= 0:
            raise ReadingMissing("reverse voltage")
        return -lowest
    if reverse and reverse.value < 0:
        yield f"largest reverse voltage of {bank}", largest_reverse, _magnitude(reverse)


def probe_peak(shot: Shot, place: tuple[float, float] | None, end: float) -> float:
    """Largest axial flux density at a place (r, z) in metres up to `end`, in tesla; at the centre where there is no place."""
    if place is None:
        within = shot.times <= end
        return float(np.abs(shot.series("field", "centre")[within]).max())
    times = shot.times[shot.times <= end]
    chosen = times[np.unique(np.linspace(0, len(times) - 1, FIELD_INSTANTS).astype(int))]
    values = [float(np.asarray(shot.field_at(float(time)).flux_density(*place)[1]).ravel()[0]) for time in chosen]
    top = int(np.clip(np.abs(values).argmax(), 1, len(values) - 2))
    parabola = np.polyfit(chosen[top - 1:top + 2] - chosen[top], np.abs(values[top - 1:top + 2]), 2)
    return float(parabola[2] - parabola[1]**2 / (4 * parabola[0])) if parabola[0] < 0 else float(np.abs(values).max())


def _field_of_rate(trace: Trace) -> Trace:
    """The field of its rate, whose mean before the start is taken for its offset."""
    before = trace.values[trace.times < 0]
    return Trace(trace.times, integrated(trace.times, trace.values, float(before.mean()) if len(before) >= FEWEST_BEFORE else 0.0))


def _magnitude(reading: Reading | None) -> Reading | None:
    return reading and Reading(abs(reading.value), reading.uncertainty)
