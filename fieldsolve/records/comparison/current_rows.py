"""Rows of a comparison that come from the record of the current."""
from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from fieldsolve.records.comparison.alignment import Alignment
from fieldsolve.records.comparison.computed import (
    ReadingMissing,
    computed_trace,
    input_uncertainty,
    model_offsets,
    numerical_uncertainty,
    trace_reader,
)
from fieldsolve.records.comparison.helix import ModelTerm
from fieldsolve.records.comparison.rows import Row
from fieldsolve.records.comparison.sensitivities import Sensitivities
from fieldsolve.records.comparison.trace import Reading, Trace, block_length, read_trace

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

UNITS = {"peak": "A", "time of peak": "s", "second peak over first": "", "integral of I^2 dt": "A^2 s"}      # the rest are times
POWERS = {"peak": 1, "integral of I^2 dt": 2}           # of the scale, that a reading follows


def current_rows(shot: Shot, coil: str, measured: Trace, end: float, alignment: Alignment, scale_uncertainty: float,
                 sensitivities: Sensitivities | None, terms: tuple[ModelTerm, ...], remarks: list[str], bands=None) -> Iterator[Row]:
    """Peak, its time, crossings, damping and integral of I^2, as far as both show them up to `end` in seconds."""
    block = block_length(computed_trace(shot, coil, end))
    readings, read = read_trace(measured.until(end), block), trace_reader(coil, end, block)
    for name, reading in readings.items():
        evaluate, unit = partial(_swapped, read, name), UNITS.get(name, "s")
        try:
            computed = evaluate(shot)
        except ReadingMissing:
            remarks.append(f"{name}: the record shows it, the shot does not")
            continue
        u_input, contributions = input_uncertainty(row_name(name, coil), bands, shot, evaluate, sensitivities, False)
        yield Row(name=row_name(name, coil), unit=unit, computed=computed, measured=reading.value,
                  u_num=numerical_uncertainty(shot, evaluate, unit), u_input=u_input,
                  u_measured=_measured_uncertainty(name, reading, alignment, scale_uncertainty),
                  contributions=contributions, offsets=model_offsets(shot, evaluate, sensitivities, terms, False))
    remarks += [f"{name}: the shot shows it, the record does not (clipped, a gap, or it ends before)"
                for name in ("peak", "integral of I^2 dt") if name not in readings]


def row_name(reading: str, coil: str) -> str:
    """Name of the row of a reading.

    >>> row_name("time of peak", "coil"), row_name("zero crossing 1", "coil")
    ('time of peak current of coil', 'zero crossing 1 of current')
    """
    names = {"peak": f"peak current of {coil}", "time of peak": f"time of peak current of {coil}",
             "second peak over first": "second peak over first of current"}
    return names.get(reading, f"{reading} of current" if reading.startswith("zero") else reading)


def _swapped(read, name: str, shot: Shot) -> float:
    return read(shot, name)


def _measured_uncertainty(name: str, reading: Reading, alignment: Alignment, scale_uncertainty: float) -> float | None:
    """Standard uncertainty of a reading: noise, scale and offset, and of a time that of time zero."""
    if name not in UNITS or name == "time of peak":
        return math.hypot(reading.uncertainty, alignment.uncertainty)
    power = POWERS.get(name, 0)
    if power and not math.isfinite(scale_uncertainty):
        return None
    of_scale = power * scale_uncertainty * abs(reading.value) if power else 0.0
    of_offset = alignment.offset_uncertainty if name == "peak" else 0.0
    return math.hypot(reading.uncertainty, of_scale, of_offset)
