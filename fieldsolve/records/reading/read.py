"""Reading a record from a file: what stands in its columns, and what the channels make of them."""
from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.reading.clipping import clipped
from fieldsolve.records.reading.columns import Columns, read_columns
from fieldsolve.records.reading.correction import corrected
from fieldsolve.records.reading.header import factor
from fieldsolve.records.reading.scale import scale_factor
from fieldsolve.records.record import ROLES, Channel, Record
from fieldsolve.units import display
from geometries.keywords import known_keywords

FEWEST_SAMPLES = 3


@known_keywords
def read_record(path: str | Path, channels: Mapping[str, Channel] | None = None, *, time_column: int | str | None = None,
                time_unit: str | None = None, sample_interval: float | None = None, sweep: int | None = None) -> Record:
    """What an oscilloscope wrote: a text file of columns, or with the extra `scope` the instrument's own file.

    Delimiter, decimal sign, encoding, header lines, units and the column of time are found.

    Parameters
    ----------
    path : str or Path
        The file.
    channels : mapping, optional
        A `Channel` for each quantity by name, such as {"current": Channel(column=1, scale="5 kA/V")}.  Without it the record has all
        columns under the names that the file gives.
    time_column : int or str, optional
        Number or name of the column of time, where it is not found.
    time_unit : str, optional
        Its unit, such as 'us', where the file does not say and it is not seconds.
    sample_interval : float, optional
        Seconds between samples, where there is no column of time.
    sweep : int, optional
        Which one of several sweeps in the file, from 1.

    Returns
    -------
    Record
        In SI.  Gaps, clipped samples and cells without a number are left out and named in its remarks; nothing is filled in.

    Raises
    ------
    InputError
        For what cannot be read, with file, line and remedy.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "shot.csv"
    >>> _ = path.write_text("Time (us);I (kA)\\n0,0;0,0\\n0,5;1,25\\n1,0;2,5\\n")
    >>> record = read_record(path, channels={"current": Channel(column=1)})
    >>> record.times, record.channel("current")
    (array([0.e+00, 5.e-07, 1.e-06]), array([   0., 1250., 2500.]))
    """
    if not isinstance(path, (str, Path)):
        raise InputError(f"record = {path!r}: expected the path of a file")
    path = Path(path)
    digest = hashlib.sha256()
    columns = read_columns(path, channels, digest, time_column=time_column, time_unit=time_unit, sample_interval=sample_interval,
                           sweep=sweep)
    remarks = list(columns.remarks)
    chosen = channels or {columns.names[k]: Channel(column=k) for k in columns.values}
    common = _common_delay(chosen)
    times = columns.times - common if common else columns.times
    values = {name: _quantity(name, channel, channel.delay - common, columns, times, remarks) for name, channel in chosen.items()}
    times, values = _without_empty(times, values)
    if len(times) < FEWEST_SAMPLES:
        raise InputError(f"{path.name}: holds {len(times)} row(s) of numbers that can be used; a record needs at least {FEWEST_SAMPLES}")
    units = {name: _unit(name, channel, columns) for name, channel in chosen.items()}
    return Record(times=times, values=values, units=units, channels=dict(channels or {}), remarks=tuple(remarks), path=path,
                  sha256=digest.hexdigest())


def _common_delay(channels: Mapping[str, Channel]) -> float:
    """The delay by which the times are shifted: that of the first channel; another channel's is interpolated."""
    return next(iter(channels.values())).delay if channels else 0.0


def _quantity(name: str, channel: Channel, delay: float, columns: Columns, times: np.ndarray, remarks: list[str]) -> np.ndarray:
    """Values of a channel in SI on `times`, NaN where it has none."""
    column = columns.find(channel.column)
    _check_unit(name, channel, columns, column)
    raw = columns.values[column]
    cut = clipped(raw)
    if missing := int(np.count_nonzero(~np.isfinite(raw))):
        remarks.append(f"{name}: {missing} sample(s) without a number were left out")
    if count := int(np.count_nonzero(cut)):
        levels = ", ".join(f"{level:g}" for level in np.unique(raw[cut]))
        remarks.append(f"{name}: {count} clipped sample(s) at {levels} were left out, the first at "
                       f"{display(float(times[np.argmax(cut)]), 's')}")
    values = scale_factor(channel, columns.units.get(column, ""), name) * np.where(cut, np.nan, raw) - channel.offset
    values = corrected(columns.times, values, channel, name, remarks)
    if delay:
        remarks.append(f"{name}: shifted by {display(delay, 's')} against the first channel by interpolation")
        values = np.interp(times + delay, times, values, left=np.nan, right=np.nan)
    return values


def _check_unit(name: str, channel: Channel, columns: Columns, column: int) -> None:
    """Refuse a column that is in another unit than its role, which no scale changes; volts are those of an oscilloscope."""
    role = channel.role or name
    wanted, found = ROLES.get(role), factor(columns.units.get(column, ""))[1]
    if channel.scale is None and wanted and found not in ("", "V", wanted):
        known = ", ".join(columns.names.values())
        raise InputError(f"{columns.name}: column {column} ({columns.names[column]}) is in {found}, a {role} in {wanted}: give the right "
                         f"column, of {known:.300}")


def _without_empty(times: np.ndarray, values: dict[str, np.ndarray]) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Without the instants at which no channel has a sample."""
    there = np.any([np.isfinite(column) for column in values.values()], axis=0)
    return (times, values) if there.all() else (times[there], {name: column[there] for name, column in values.items()})


def _unit(name: str, channel: Channel, columns: Columns) -> str:
    role = channel.role or name
    return ROLES[role] if role in ROLES else factor(columns.units.get(columns.find(channel.column), ""))[1]
