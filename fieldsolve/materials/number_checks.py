"""Checks of the numbers that a metal is made of."""
from __future__ import annotations

import numbers
from dataclasses import fields

import numpy as np

from fieldsolve.errors import InputError

TOO_LARGE = 1e300


def check_number(key: str, value, allow_zero: bool = False):
    """A finite number above 0 (or 0, if allowed) as a float; of an array every element, as an array of floats.

    Raises InputError that names `key`, the value and what is expected.
    """
    is_array = isinstance(value, np.ndarray)
    if is_array or (isinstance(value, numbers.Real) and not isinstance(value, bool)):
        in_bounds = (value < TOO_LARGE) & ((value > 0) | ((value == 0) & allow_zero))
        if np.all(in_bounds):
            return value.astype(float) if is_array else float(value)
    raise InputError(f"{key} = {value!r}: expected a finite number {'0 or above' if allow_zero else 'larger than 0'}")


def check_fields(record) -> None:
    """Make a float larger than 0 of every field of a frozen dataclass; InputError names class and field."""
    for entry in fields(record):
        object.__setattr__(record, entry.name, check_number(f"{type(record).__name__}: {entry.name}", getattr(record, entry.name)))
