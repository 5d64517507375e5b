"""Values of a case by dotted key as numbers in SI, for tables and axes of plots."""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.cases.part_tables import LENGTH_KEYWORDS, MEASURED_RESISTANCE, METAL_KEYS
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.errors import InputError
from fieldsolve.units import parse_quantity

PART_UNITS = {**dict.fromkeys(LENGTH_KEYWORDS, "m"), **METAL_KEYS, "current": "A", MEASURED_RESISTANCE: "ohm"}


def input_unit(case: Case, key: str, values: Sequence[Any]) -> str | None:
    """SI unit of the values of a key, '' for pure numbers; None where they are no numbers, as names of metals are not."""
    try:
        table, _, entry = key.rpartition(".")
        unit = UNITS[table].get(entry) if table in UNITS else PART_UNITS.get(entry, "")
        if unit is None:
            return None
        for value in values:
            parse_quantity(value, unit, key)
    except InputError:
        return None
    return unit


def input_numbers(case: Case, key: str, values: Sequence[Any]) -> np.ndarray:
    """The values of a key in SI, (n,); as text where they are no numbers."""
    unit = input_unit(case, key, values)
    if unit is None:
        return np.array([str(value) for value in values])
    return np.array([parse_quantity(value, unit, key) for value in values], dtype=float)
