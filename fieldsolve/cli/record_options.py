"""Options that say how the record of a current is read: column, scale, delay, time; and the record read by them."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from fieldsolve.cli.arguments import number_or_text

if TYPE_CHECKING:
    from fieldsolve.records.record import Channel, Record

CHANNEL_OPTIONS = ("column", "scale", "scale_uncertainty", "delay", "offset", "droop", "rate", "time_unit")


def add_channel(command: argparse.ArgumentParser) -> None:
    """What is known of the record of the current: its column, its unit, its delay, its time."""
    group = command.add_argument_group("the record of the current")
    group.add_argument("--column", metavar="1", help="number of the current's column from 0, or its name (default 1)")
    group.add_argument("--scale", metavar="'5 kA/V'", help="of the column (default: as the file says, else ampere)")
    group.add_argument("--delay", metavar="'20 ns'", help="by which the record lags behind the current")
    group.add_argument("--offset", metavar="'100 A'", help="which the record adds to the current")
    group.add_argument("--droop", metavar="'2 ms'", help="time constant of the integrator, which is corrected")
    group.add_argument("--rate", action="store_true", help="the column is the rate of the current, which is integrated")
    group.add_argument("--time-unit", metavar="us", help="of the column of time (default: as the file says, else s)")


def add_scale_uncertainty(command: argparse.ArgumentParser) -> None:
    """How well the scale of the record is known."""
    command.add_argument("--scale-uncertainty", metavar="'2 %'", help="relative standard uncertainty of the scale (default: exact)")


def channel_values(options: argparse.Namespace) -> dict[str, dict[str, Any]]:
    """What the options say of the channel, by its role."""
    from fieldsolve.units import parse_quantity

    column = "1" if options.column is None else options.column
    values: dict[str, Any] = {"column": int(column) if column.isdecimal() else column}
    if options.scale is not None:
        values["scale"] = number_or_text(options.scale)
    for key, unit in (("scale_uncertainty", ""), ("delay", "s"), ("offset", "A/s" if options.rate else "A"), ("droop", "s")):
        text = getattr(options, key, None)
        if text is not None:
            values[key] = parse_quantity(number_or_text(text), unit, f"--{key.replace('_', '-')}")
    return {"current_rate" if options.rate else "current": values}


def read_measured(path: str, options: argparse.Namespace) -> Record:
    """The record of the current in a file, read as the options say."""
    from fieldsolve.records.reading.read import read_record

    return read_record(path, channels_of(channel_values(options)), time_unit=checked_time_unit(options))


def checked_time_unit(options: argparse.Namespace) -> str | None:
    """The unit of the record's time, None where none was given; InputError for another unit."""
    from fieldsolve.errors import InputError
    from fieldsolve.records.reading.header import factor, normal_unit

    unit = options.time_unit
    if unit is not None and (factor(unit)[1] != "s" or not normal_unit(unit)):
        raise InputError(f"--time-unit {unit!r}: expected a unit of time such as us")
    return unit


def check_record_is_given(options: argparse.Namespace, record: str | None, option: str) -> None:
    """Refuse what says how a record is read where there is none: InputError."""
    from fieldsolve.errors import InputError

    given = [name for name in CHANNEL_OPTIONS if getattr(options, name, None) not in (None, False)]
    if given and record is None:
        raise InputError(f"--{given[0].replace('_', '-')} says how a record is read, and none is given: give {option} too")


def channels_of(values: dict[str, dict[str, Any]]) -> dict[str, Channel]:
    """The channels that these values describe."""
    from fieldsolve.records.record import Channel

    return {role: Channel(**described) for role, described in values.items()}
