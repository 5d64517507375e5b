"""Entries of the rig's tables: each optional, with its unit and the check of what it may be."""
from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import field, fields
from typing import Any

from fieldsolve.errors import InputError, suggestion


def optional_entry(unit: str | None, check: Callable[[str, Any], Any]) -> Any:
    """An entry that may be left out: its SI unit ('' for a pure number, None where it is no number) and its check."""
    return field(default=None, metadata={"unit": unit, "check": check})


def units_of(table_class: type) -> dict[str, str | None]:
    """SI unit of each entry of a class of tables; '' for a pure number, None where it is no number."""
    return {item.name: item.metadata["unit"] for item in fields(table_class)}


def table_name(table: Any) -> str:
    """Name of a table in a case file: that of its class in small letters."""
    return type(table).__name__.lower()


def check_entries(table: Any) -> None:
    """Refuse what an entry of a table cannot be: InputError with table, entry, value and limit."""
    for item in fields(table):
        value = getattr(table, item.name)
        if value is not None:
            object.__setattr__(table, item.name, item.metadata["check"](f"[{table_name(table)}] {item.name}", value))


def check_positive(label: str, value: Any) -> float:
    """A finite number above 0; else InputError."""
    number = check_finite(label, value)
    if number <= 0:
        raise InputError(f"{label} = {value!r}: must be larger than 0; leave it out where it is not known")
    return number


def check_finite(label: str, value: Any) -> float:
    """A finite number; else InputError."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"{label} = {value!r}: must be a finite number in SI units")
    return float(value)


def check_fraction(label: str, value: Any) -> float:
    """A number above 0 and at most 1; else InputError."""
    share = check_positive(label, value)
    if share > 1:
        raise InputError(f"{label} = {value!r}: must be at most 1" + (f"; meant '{value:g} %'?" if share <= 100 else ""))
    return share


def check_count(label: str, value: Any) -> int:
    """A whole number above 0; else InputError."""
    count = check_positive(label, value)
    if count != int(count):
        raise InputError(f"{label} = {value!r}: must be a whole number")
    return int(count)


def check_altitude(label: str, value: Any) -> float:
    """Metres above the sea, -500 to 9000; else InputError."""
    metres = check_finite(label, value)
    if not -500 <= metres <= 9000:
        raise InputError(f"{label} = {value!r}: must be from -500 m to 9000 m above the sea")
    return metres


def check_room_temperature(label: str, value: Any) -> float:
    """Kelvin of a room's air, 230 to 330; else InputError."""
    kelvin = check_finite(label, value)
    if not 230 <= kelvin <= 330:
        raise InputError(f"{label} = {value!r}: must be from 230 K to 330 K, the air's; a number alone is in kelvin, else '20 degC'")
    return kelvin


def check_pressure(label: str, value: Any) -> float:
    """Pascal of the air, 30 kPa to 110 kPa; else InputError."""
    pascal = check_finite(label, value)
    if not 30e3 <= pascal <= 110e3:
        raise InputError(f"{label} = {value!r}: must be from 30 kPa to 110 kPa, the air's, not reduced to sea level")
    return pascal


def check_boolean(label: str, value: Any) -> bool:
    """True or false; else InputError."""
    if not isinstance(value, bool):
        raise InputError(f"{label} = {value!r}: expected true or false")
    return value


def check_choice(*choices: str) -> Callable[[str, Any], str]:
    """The check that an entry is one of `choices`; it raises InputError."""
    def check(label: str, value: Any) -> str:
        if value not in choices:
            raise InputError(f"{label} = {value!r}: not known; {suggestion(str(value), choices)}")
        return value
    return check


def check_day(label: str, value: Any) -> datetime.date:
    """A date; else InputError."""
    if not isinstance(value, datetime.date):
        raise InputError(f"{label} = {value!r}: expected a date without quotes, such as 2026-03-31")
    return value.date() if isinstance(value, datetime.datetime) else value
