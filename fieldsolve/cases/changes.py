"""The tables of a case with some values changed, by dotted keys such as 'bank.voltage'."""
from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import deepcopy
from typing import Any

from fieldsolve.cases.calibration_file import EXCEPT, TABLE
from fieldsolve.cases.part_tables import SHAPES, part_keys
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.errors import InputError, suggestion

Tables = dict[str, dict[str, Any]]


def changed_tables(tables: Mapping[str, Mapping[str, Any]], values: Mapping[str, Any]) -> Tables:
    """A copy of `tables` with the `values` in it; None removes a key, or a table where the key is the table's name alone.

    Raises InputError, with the nearest name, for a table that is not there and cannot be.
    """
    changed = deepcopy(dict(tables))
    for key, value in values.items():
        name, *path = _split(key, changed, values)
        if not path:
            _remove_table(changed, key, value)
        elif value is None:
            _remove_entry(changed, key, name, path)
        else:
            _put(changed.setdefault(name, {}), key, path, value)
    if TABLE in changed:                         # what is set here counts, whatever the calibration says
        changed[TABLE][EXCEPT] = sorted({*changed[TABLE].get(EXCEPT, ()), *(key for key in values if not key.startswith(f"{TABLE}."))})
    return {name: table for name, table in changed.items() if table or not tables.get(name, True)}


def _split(key: str, tables: Tables, values: Mapping[str, Any]) -> list[str]:
    """The table's name and the keys within it; the name may hold dots."""
    if not isinstance(key, str):
        raise InputError(f"{key!r}: expected a dotted key such as 'bank.voltage'")
    steps = key.split(".")
    known = {*tables, *UNITS, TABLE, *_new_parts(values)}
    for count in range(len(steps), 0, -1):
        name = ".".join(steps[:count])
        if name in known:
            return [name, *steps[count:]]
    raise InputError(f"{key}: there is no table [{steps[0]}]; {suggestion(steps[0], known)}")


def _new_parts(values: Mapping[str, Any]) -> Iterable[str]:
    """Names of parts that the values add: those with a shape."""
    return [key.removesuffix(".shape") for key in values if isinstance(key, str) and key.endswith(".shape")]


def _remove_table(tables: Tables, name: str, value: Any) -> None:
    if value is not None:
        raise InputError(f"{name} = {value!r}: give table and key, such as '{name}.KEY'; None removes the table")
    tables.pop(name, None)


def _remove_entry(tables: Tables, key: str, name: str, path: list[str]) -> None:
    table = tables.get(name, {})
    known = _known_keys(name, table)
    if len(path) == 1 and path[0] not in (*table, *known):
        raise InputError(f"{key} = None: unknown key of [{name}]; {suggestion(path[0], known)}")
    if name not in tables:
        return
    inner = _inner_table(table, key, path)
    if isinstance(inner, list):
        raise InputError(f"{key} = None: stands in a list; give the list whole")
    inner.pop(path[-1], None)


def _known_keys(name: str, table: dict[str, Any]) -> Iterable[str]:
    if "shape" in table:
        return part_keys(table["shape"]) if table["shape"] in SHAPES else table
    return UNITS.get(name, table)


def _put(table: dict[str, Any], key: str, path: list[str], value: Any) -> None:
    """Set what stands at a path, in a table or at a number of a list."""
    inner = _inner_table(table, key, path)
    if isinstance(inner, list) and _entry(inner, path[-1]) is None:
        raise InputError(f"{key}: give the number of an entry of {inner!r}, counted from 0")
    inner[int(path[-1]) if isinstance(inner, list) else path[-1]] = deepcopy(value)


def _inner_table(table: Any, key: str, path: list[str]) -> Any:
    """The table or list that holds the last key of the path."""
    for step in path[:-1]:
        inner = _entry(table, step)
        if not isinstance(inner, dict | list):
            raise InputError(f"{key}: {step} is {inner!r}, not a table of its own; give its value whole")
        table = inner
    return table


def _entry(table: Any, step: str) -> Any:
    """What stands under a key of a table or at a number of a list; None where nothing does."""
    if isinstance(table, list):
        return table[int(step)] if step.isdigit() and int(step) < len(table) else None
    return table.get(step)
