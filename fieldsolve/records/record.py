"""What an instrument wrote, in SI: the record with its channels, and what each of them stands for."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fieldsolve.errors import InputError, suggestion
from geometries.keywords import known_keywords

ROLES = {"current": "A", "current_rate": "A/s", "voltage": "V", "field_rate": "T/s", "velocity": "m/s", "light": ""}    # role and unit


@known_keywords
@dataclass(frozen=True)
class Channel:
    """Where a channel stands in a file, and how its numbers become the quantity.

        quantity(t) = scale column(t + delay) - offset

    Parameters
    ----------
    column : int or str
        Number of the column in the file, from 0, or its name.
    scale : float or str, optional
        Quantity a unit of the column, such as 5e3 for amperes a volt, or text with its unit such as "5 kA/V".  Where it is left out, the
        column holds the quantity itself, in the unit that the file gives, else in SI.
    delay : float
        Seconds by which the record lags behind the quantity.
    offset : float
        In the quantity's unit, taken off after scaling.
    scale_uncertainty : float
        Standard uncertainty of the scale, relative; `math.inf` where the scale is not known.
    role : str, optional
        What the channel measures: 'current', 'current_rate', 'voltage', 'field_rate', 'velocity' or 'light'; by default its name.
    droop : float, optional
        Time constant in seconds with which the integrator, or the coupling, of the instrument lets go; it is corrected.
    shunt_time : float, optional
        Inductance over resistance of a shunt in seconds; its inductive voltage is taken off.
    area : float, optional
        Of a field probe's loop, turns times area in m^2.
    place : tuple, optional
        (r, z) of a field probe in metres.

    Raises
    ------
    InputError
        For values that cannot be.

    Examples
    --------
    >>> Channel(column=1, scale="5 kA/V", delay=20e-9).scale
    '5 kA/V'
    """

    column: int | str
    scale: float | str | None = None
    delay: float = 0.0
    offset: float = 0.0
    scale_uncertainty: float = 0.0
    role: str | None = None
    droop: float | None = None
    shunt_time: float | None = None
    area: float | None = None
    place: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        _check_column(self.column)
        for name in ("delay", "offset"):
            _check_number(name, getattr(self, name))
        if not isinstance(self.scale, (str, int, float, type(None))):
            raise InputError(f"Channel: scale = {self.scale!r} must be a number or text such as '5 kA/V'")
        if isinstance(self.scale, (int, float)) and not (math.isfinite(self.scale) and self.scale):
            raise InputError(f"Channel: scale = {self.scale!r} must be a finite number other than 0, such as 5e3 or '5 kA/V'")
        if not self.scale_uncertainty >= 0:
            raise InputError(f"Channel: scale_uncertainty = {self.scale_uncertainty!r} must be 0 or more, such as 0.02 for 2 %")
        for name in ("droop", "shunt_time", "area"):
            value = getattr(self, name)
            if value is not None and not 0 < value < math.inf:
                raise InputError(f"Channel: {name} = {value!r} must be a positive number")
        if self.role is not None and self.role not in ROLES:
            raise InputError(f"Channel: role = {self.role!r} is not known; {suggestion(self.role, ROLES)}")


@known_keywords
@dataclass(frozen=True, eq=False, repr=False)
class Record:
    """What an instrument wrote, in SI, and where it came from.  Made by `read_record`.

    Attributes
    ----------
    path : Path
    sha256 : str
        Hash of the file.
    times : ndarray (samples,)
        Seconds, increasing; samples that no channel has are left out.
    values : mapping
        An array on `times` for each channel by name; NaN where this channel alone has no sample.
    units : mapping
        Unit of each channel.
    channels : mapping
        Its `Channel` for each channel, empty where none were given.
    remarks : tuple of str
        What was left out or put right.

    Examples
    --------
    >>> import numpy as np
    >>> record = Record(times=np.arange(3.0), values={"current": np.zeros(3)}, units={"current": "A"})
    >>> record
    Record(current; 3 samples, 0 s to 2 s)
    >>> record.channel("current")
    array([0., 0., 0.])
    """

    times: np.ndarray
    values: Mapping[str, np.ndarray]
    units: Mapping[str, str] = field(default_factory=dict)
    channels: Mapping[str, Channel] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    path: Path = Path("record")
    sha256: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the channels."""
        return tuple(self.values)

    def channel(self, name: str) -> np.ndarray:
        """Values of a channel on `times`; NaN where it has no sample.  InputError for an unknown one."""
        if name not in self.values:
            raise InputError(f"{self.path.name}: no channel {name!r}; {suggestion(name, self.values)}; say which column it is with "
                             f"channels={{{name!r}: Channel(column=1)}}")
        return self.values[name]

    def samples(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Times and values of a channel where it has samples."""
        values = self.channel(name)
        there = np.isfinite(values)
        return (self.times, values) if there.all() else (self.times[there], values[there])

    def unit(self, name: str) -> str:
        """Unit of a channel, empty where none is known."""
        self.channel(name)
        return self.units.get(name, "")

    def scale_uncertainty(self, name: str) -> float:
        """Relative standard uncertainty of a channel's scale, 0 where none was given."""
        return self.channels[name].scale_uncertainty if name in self.channels else 0.0

    def __repr__(self) -> str:
        from fieldsolve.units import display

        span = f"{display(self.times[0], 's')} to {display(self.times[-1], 's')}" if len(self.times) else "empty"
        return f"Record({', '.join(self.names)}; {len(self.times)} samples, {span})"


def _check_column(column: int | str) -> None:
    if isinstance(column, bool) or not isinstance(column, (int, str)) or (isinstance(column, int) and column < 0):
        raise InputError(f"Channel: column = {column!r} must be the number of a column from 0, or its name")


def _check_number(name: str, value: float) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"Channel: {name} = {value!r} must be a finite number in SI")
