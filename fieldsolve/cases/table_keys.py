"""The tables of a case file that are no parts, and their keys with the SI unit of each."""
from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fieldsolve.errors import InputError, suggestion
from fieldsolve.rig.card import LIMIT_UNITS
from fieldsolve.rig.entries import units_of
from fieldsolve.rig.tables import Bleeder, Box, Charger, Gap, Instruments, Insulation, Site
from fieldsolve.units import parse_quantity

RIG_TABLES = {"site": Site, "gap": Gap, "bleeder": Bleeder, "box": Box, "insulation": Insulation, "charger": Charger,
              "instruments": Instruments}
RATING_UNITS = {"rated_voltage": "V", "rated_reversal": "", "rated_current": "A"}
BANK_UNITS = {"capacitance": "F", "voltage": "V", "resistance": "ohm", "inductance": "H", "arc_voltage": "V", "fires_at": "s",
              **RATING_UNITS}
UNITS: dict[str, dict[str, str | None]] = {            # by table and key; '' for a pure number, None for text, a date, true or false
    "field": {"applied_field": "T", "accuracy": "", "frequency": None},              # a frequency, or several
    "bank": BANK_UNITS,
    "second_bank": BANK_UNITS,
    "capacitor": RATING_UNITS,
    "crowbar": {"resistance": "ohm", "inductance": "H", "fires_at": "s", "across": None},
    "leads": {"resistance": "ohm", "inductance": "H", "spacing": "m", "length": "m", "width": "m", "wire_diameter": "m",
              "loop_area": "m^2"},
    "former": {"mass": "kg", "stiffness": "N", "strength": "N"},
    "run": {"end_time": "s", "motion": None, "heating": None, "accuracy": ""},
    **{name: units_of(table) for name, table in RIG_TABLES.items()},
    "limits": LIMIT_UNITS,
}


def check_keys(label: str, table: dict[str, Any], known: Iterable[str]) -> None:
    """Refuse a key that is not `known`, with the nearest that is: InputError."""
    for key in table:
        if key not in known:
            raise InputError(f"{label} {key} = {table[key]!r}: unknown key; {suggestion(key, known)}")


def read_values(tables: dict[str, dict[str, Any]], name: str) -> dict[str, Any]:
    """The entries of a table in SI, empty where the case has no such table.

    Raises InputError, with table, key, value and remedy, for an unknown key or a quantity that cannot be read.
    """
    table, units = tables.get(name, {}), UNITS[name]
    check_keys(f"[{name}]", table, units)
    return {key: value if units[key] is None else parse_quantity(value, units[key], f"[{name}] {key}") for key, value in table.items()}

