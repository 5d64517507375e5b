"""Uncertainties in a case file, such as '120 uF +- 3 %': taken out of the tables, by dotted key."""
from __future__ import annotations

import math
from typing import Any

from fieldsolve.errors import InputError
from fieldsolve.units import coverage_factor, split_uncertainty

EXACT_TABLES = ("field", "run", "limits", "capacitor")           # what a person decides or a maker allows
SIGNED = ("at", "remanence")                                     # keys that may be negative
COUNTS = ("turns", "layers", "parts", "strings")

Uncertainties = dict[str, tuple[float, float]]


def split_uncertainties(tables: dict[str, dict[str, Any]]) -> tuple[dict[str, dict[str, Any]], Uncertainties]:
    """The tables without their uncertainties, and (value, standard uncertainty) in SI by dotted key; an entry of a list by its number.

    Raises InputError, with table, key and value, where an uncertainty cannot be read or has no place.

    >>> split_uncertainties({"bank": {"capacitance": "120 uF +- 3 % (k=2)", "voltage": "5 kV"}})
    ({'bank': {'capacitance': '120 uF', 'voltage': '5 kV'}}, {'bank.capacitance': (0.00012, 1.8e-06)})
    """
    found: Uncertainties = {}
    return {name: _split_value((name,), table, found) for name, table in tables.items()}, found


def _split_value(path: tuple[str, ...], value: Any, found: Uncertainties) -> Any:
    """A value without uncertainties, which go into `found`."""
    if isinstance(value, dict):
        return {key: _split_value((*path, key), entry, found) for key, entry in value.items()}
    if isinstance(value, list):
        return [_split_value((*path, str(number)), entry, found) for number, entry in enumerate(value)]
    if not isinstance(value, str):
        return value
    label = f"[{path[0]}] {' '.join(path[1:])}"
    quantity, uncertainty = split_uncertainty(value, label)
    if uncertainty is None:
        return value
    if path[0] in EXACT_TABLES or path[-1] in COUNTS:
        raise InputError(f"{label} = {value!r}: takes no uncertainty; give {quantity!r}")
    half_width = uncertainty[1] * (coverage_factor(value) or math.sqrt(3))
    if path[-1] not in SIGNED and half_width > (1 + 1e-9) * uncertainty[0]:
        raise InputError(f"{label} = {value!r}: the uncertainty is larger than the value, which cannot be negative; give the middle of "
                         "what is possible and half its width")
    found[".".join(path)] = uncertainty
    return quantity


def normal_keys(tables: dict[str, dict[str, Any]]) -> set[str]:
    """Dotted keys of the values whose uncertainty is given with a coverage factor: a normal distribution; all others are rectangular.

    >>> normal_keys({"bank": {"capacitance": "120 uF +- 3 % (k=2)", "voltage": "5 kV +- 1 %"}})
    {'bank.capacitance'}
    """
    def walk(path: tuple[str, ...], value: Any) -> set[str]:
        if isinstance(value, (dict, list)):
            entries = value.items() if isinstance(value, dict) else enumerate(value)
            return {key for name, entry in entries for key in walk((*path, str(name)), entry)}
        return {".".join(path)} if isinstance(value, str) and coverage_factor(value) is not None else set()
    return walk((), tables)
