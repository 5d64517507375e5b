"""Bounds of what a rig can be, far beyond any that is built: a quantity outside of them has a wrong unit or a slip."""
from __future__ import annotations

import math
import numbers
from collections.abc import Mapping

from geometries.errors import InputError

BOUNDS = {                          # by SI unit: smallest magnitude that is not zero, and largest
    "s": (1e-12, 10.0), "F": (1e-12, 1.0), "V": (1e-3, 1e7), "ohm": (1e-9, 1e4), "H": (1e-12, 10.0), "A": (1e-6, 1e9), "T": (1e-12, 1e3),
    "Hz": (1e-3, 1e12), "A/m": (1e-6, 1e12),
}
EXAMPLES = {"s": "60e-6", "F": "120e-6", "V": "5e3", "ohm": "5e-3", "H": "300e-9", "A": "1e3", "T": "0.01", "Hz": "1e4", "A/m": "1e5"}
MEANT = {"s": "us", "F": "uF", "ohm": "mohm", "H": "nH"}     # the units of the bench, where a bare number or a prefix went wrong


def check_bounds(label: str, value: float, unit: str) -> float:
    """The number of an SI `unit`, if it is 0 or its magnitude lies within the bounds of that unit.

    Raises InputError, which begins with the `label` and names value, bounds and what may have been meant.

    >>> check_bounds("end_time", 40.0, "s")
    Traceback (most recent call last):
        ...
    geometries.errors.InputError: end_time = 40 s: outside of 1e-12 to 10 s, between which every rig lies; meant 40 us?
    """
    low, high = BOUNDS[unit]
    if isinstance(value, bool) or not isinstance(value, numbers.Complex):
        raise InputError(f"{label} = {value!r}: expected a number in {unit}, for example {EXAMPLES[unit]}")
    if value == 0 or low <= abs(value) <= high:
        return value
    meant = f"meant {value:g} {MEANT[unit]}?" if unit in MEANT and high < value < 1e4 * max(high, 1.0) else "check the unit"
    raise InputError(f"{label} = {value:g} {unit}: outside of {low:g} to {high:g} {unit}, between which every rig lies; {meant}")


def check_by_name(label: str, given: object, example: str) -> None:
    """Refuse what is no mapping of names to values; the InputError offers the `example`."""
    if not (given is None or isinstance(given, Mapping)):
        raise InputError(f"{label} = {given!r}: expected values by name, such as {example}")


def is_finite_number(value: object) -> bool:
    """Whether a value is a real number, neither true nor false, that a float can hold."""
    try:
        return isinstance(value, numbers.Real) and not isinstance(value, bool) and math.isfinite(value)
    except OverflowError:           # an int too large for a float
        return False


def check_end_time(end_time: float, label: str = "end_time") -> float:
    """The seconds that a shot lasts, if it is a number above 0 and within bounds; else InputError, which begins with the `label`."""
    if not is_finite_number(end_time) or end_time <= 0:
        shown = f"{end_time:g} s" if isinstance(end_time, (int, float)) else repr(end_time)
        raise InputError(f"{label} = {shown}: give a positive number of seconds such as 60e-6, or in a case file '60 us'")
    return check_bounds(label, float(end_time), "s")


MIN_ACCURACY, MAX_ACCURACY = 1e-8, 0.5


def check_accuracy(accuracy: float, label: str = "accuracy", smallest: float = MIN_ACCURACY) -> float:
    """The relative `accuracy`, if it lies between `smallest` and 0.5; else InputError, which begins with the `label`."""
    if not is_finite_number(accuracy) or not smallest <= accuracy <= MAX_ACCURACY:
        shown = f"{accuracy:g}" if isinstance(accuracy, float) else repr(accuracy)
        raise InputError(f"{label} = {shown}: must be larger than 0, from {smallest:g} to {MAX_ACCURACY:g}; "
                         "give a relative bound such as 1e-3")
    return float(accuracy)
