"""The columns of a file as arrays on one time axis, before any channel is made of them."""
from __future__ import annotations

import hashlib
import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.records.reading.header import factor, normal_unit
from fieldsolve.records.reading.layout import Layout, find_layout
from fieldsolve.records.reading.numbers import Numbers, read_numbers
from fieldsolve.records.reading.text import blocks, check_file, encoding_of
from fieldsolve.records.reading.time_axis import LONG, checked_times, even_times, time_column
from fieldsolve.records.reading.waveform_file import WAVEFORM_SUFFIXES, read_waveform_file
from fieldsolve.records.record import Channel
from fieldsolve.units import display


@dataclass(frozen=True, eq=False)
class Columns:
    """Times in seconds, and each column of numbers but the time by its number, with names and units as the file gives them."""

    name: str
    times: np.ndarray
    values: dict[int, np.ndarray]
    names: dict[int, str]
    units: dict[int, str]
    remarks: tuple[str, ...] = ()

    def find(self, column: int | str) -> int:
        """Number of a column given by number or name.  Raises InputError for an unknown one."""
        return find_column(column, {k: self.names[k] for k in self.values}, self.name)


def find_column(column: int | str, names: Mapping[int, str], file: str) -> int:
    """Number of a column given by number or name; InputError, with those that are there, for an unknown one."""
    found = [k for k, name in names.items() if (k == column if isinstance(column, int) else name.casefold() == column.casefold())]
    if not found:
        known = ", ".join(f"{k} ({name})" for k, name in names.items()) or "none"
        hint = f"; {suggestion(column, names.values())}" if isinstance(column, str) and names else ""
        raise InputError(f"{file}: no column {column!r} of numbers{hint}; there are {known}")
    return found[0]


def read_columns(path: Path, channels: Mapping[str, Channel] | None, digest: hashlib._Hash, *, time_column: int | str | None = None,
                 time_unit: str | None = None, sample_interval: float | None = None, sweep: int | None = None) -> Columns:
    """The columns that the channels need, all of them where none are given; arguments as of `read_record`."""
    check_file(path)
    if path.suffix.lower() in WAVEFORM_SUFFIXES:
        return _from_waveform_file(path, digest)
    texts = blocks(path, encoding_of(path), digest)
    head = next(texts, "")
    layout = find_layout(head[:1 << 18].splitlines(), path.name)
    names = _unique({k: layout.names.get(k) or f"column {k}" for k in layout.columns})
    claimed = {find_column(channel.column, names, path.name) for channel in (channels or {}).values()}
    time = _time_of(layout, head, claimed, names, time_column, sample_interval, path.name)
    wanted = tuple(k for k in layout.columns if k == time or not channels or k in claimed)
    numbers = read_numbers(itertools.chain([head], texts), layout, wanted, path.name)
    return _assemble(path.name, layout, names, wanted, time, numbers, time_unit, sample_interval, sweep)


def _unique(names: dict[int, str]) -> dict[int, str]:
    """Names of columns, those that repeat with their number."""
    return {k: name if list(names.values()).index(name) == list(names).index(k) else f"{name} (column {k})" for k, name in names.items()}


def _time_of(layout: Layout, head: str, claimed: set[int], names: dict[int, str], given: int | str | None, interval: float | None,
             file: str) -> int | None:
    if given is not None:
        return find_column(given, names, file)
    if interval is not None:
        return None
    start = "".join(line + "\n" for line in head.splitlines()[layout.first:layout.first + 200])
    return time_column(layout, read_numbers(["\n" * layout.first + start], layout, layout.columns, file).arrays[0], claimed)


def _assemble(file: str, layout: Layout, names: dict[int, str], wanted: tuple[int, ...], time: int | None, numbers: Numbers,
              time_unit: str | None, sample_interval: float | None, sweep: int | None) -> Columns:
    arrays = {k: _joined(numbers.arrays, position) for position, k in enumerate(wanted)}
    numbers.arrays.clear()
    remarks = _remarks_of_lines(numbers)
    if time is None:
        times = even_times(numbers.rows, sample_interval or layout.settings.interval, layout.settings.start, file)
    else:
        unit = _time_factor(time_unit, layout.units.get(time, ""), arrays[time], remarks)
        times, arrays, chosen = _one_sweep(arrays.pop(time), arrays, sweep, file)
        times, of_times = checked_times(times, layout, layout.first + 1, file)
        times = times if unit == 1.0 else unit * times
        remarks += of_times + chosen
    return Columns(file, times, arrays, names, {k: unit for k, unit in layout.units.items() if k in arrays}, tuple(remarks))


def _joined(arrays: list[np.ndarray], position: int) -> np.ndarray:
    return np.concatenate([array[:, position] for array in arrays]) if arrays else np.empty(0)


def _remarks_of_lines(numbers: Numbers) -> list[str]:
    remarks = []
    if numbers.text_lines:
        remarks.append(f"{len(numbers.text_lines)} line(s) without numbers among the others, the first line {numbers.text_lines[0]}, "
                       "were left out")
    if numbers.cut_line is not None:
        remarks.append(f"the last line, {numbers.cut_line}, is cut off and was left out")
    return remarks


def _time_factor(given: str | None, found: str, times: np.ndarray, remarks: list[str]) -> float:
    """Seconds a unit of the time column."""
    if given is not None:
        if factor(given)[1] != "s" or not normal_unit(given):
            raise InputError(f"time_unit = {given!r}: expected a unit of time such as 'us'")
        return factor(given)[0]
    value, unit = factor(found)
    if unit == "s":
        return value
    if times.size and times[-1] - times[0] > LONG:
        remarks.append(f"the file gives no unit of time and spans {times[-1] - times[0]:g} s: give time_unit='us' if it is microseconds")
    return 1.0


def _one_sweep(times: np.ndarray, arrays: dict[int, np.ndarray], sweep: int | None,
               file: str) -> tuple[np.ndarray, dict[int, np.ndarray], list[str]]:
    """The rows of one of several sweeps, which begin where the time jumps back."""
    if sweep is None:
        return times, arrays, []
    starts = [0, *(np.flatnonzero(np.diff(times) < 0) + 1).tolist(), len(times)]
    if not 1 <= sweep < len(starts):
        raise InputError(f"{file}: sweep = {sweep!r}: the file has {len(starts) - 1}; give a number from 1 to that")
    rows = slice(starts[sweep - 1], starts[sweep])
    return times[rows], {k: values[rows] for k, values in arrays.items()}, [f"sweep {sweep} of {len(starts) - 1} was read"]


def _from_waveform_file(path: Path, digest: hashlib._Hash) -> Columns:
    with path.open("rb") as file:
        for chunk in iter(lambda: file.read(1 << 20), b""):
            digest.update(chunk)
    times, channels = read_waveform_file(path)
    values = {k: column for k, (_, column, _) in enumerate(channels, start=1)}
    return Columns(path.name, times, values, {k: name for k, (name, _, _) in enumerate(channels, start=1)},
                   {k: unit for k, (_, _, unit) in enumerate(channels, start=1)},
                   (f"read as {display(times[1] - times[0], 's')} a sample",))
