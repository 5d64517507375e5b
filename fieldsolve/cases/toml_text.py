"""A case from a dictionary to TOML text."""
from __future__ import annotations

import datetime
import json
import numbers
import re
from collections.abc import Mapping
from typing import Any

from fieldsolve.errors import InputError

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


def write_toml(tables: Mapping[str, Mapping[str, Any]]) -> str:
    """The text whose tables are `tables`: text, numbers, true and false, dates, lists and dictionaries of these.

    Raises InputError, with table, key and value, for anything else.

    >>> print(write_toml({"bank": {"voltage": "5 kV", "capacitance": 120e-6}}), end="")
    [bank]
    voltage = "5 kV"
    capacitance = 0.00012
    """
    blocks = []
    for name, table in tables.items():
        if not isinstance(table, Mapping):
            raise outside_a_table(name, table)
        lines = [f"{_key_text(key)} = {_value_text(f'[{name}] {key}', value)}" for key, value in table.items()]
        blocks.append("\n".join([f"[{_key_text(name)}]", *lines]) + "\n")
    return "\n".join(blocks)


def outside_a_table(name: Any, value: Any) -> InputError:
    """The error for a value that stands outside a table."""
    return InputError(f"{name} = {value!r}: stands outside a table; write it below a [table] such as [field]")


def _key_text(key: Any) -> str:
    if not isinstance(key, str):
        raise InputError(f"{key!r}: the name of a table or key must be text")
    return key if BARE_KEY.fullmatch(key) else _quoted(key)


def _value_text(label: str, value: Any) -> str:
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key_text(key)} = {_value_text(f'{label} {key}', entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value_text(label, entry) for entry in value) + "]"
    return _number_text(label, value)


def _number_text(label: str, value: Any) -> str:
    if isinstance(value, bool) or type(value).__name__ in ("bool", "bool_"):        # numpy's, of 2 and of 1, too
        return "true" if value else "false"
    if isinstance(value, numbers.Integral):
        return str(int(value))
    if isinstance(value, numbers.Real):
        return repr(float(value))
    raise InputError(f"{label} = {value!r}: expected text with a unit such as '5 kV', a number in SI, true, false, a date, a list or table")


def _quoted(text: str) -> str:
    """A basic string of TOML: as in JSON, and DEL escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
