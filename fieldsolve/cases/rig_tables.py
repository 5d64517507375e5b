"""The tables of a case file that only the rig's card needs, and the limits of its checks."""
from __future__ import annotations

from typing import Any

from fieldsolve.cases.table_keys import RIG_TABLES, read_values
from fieldsolve.rig.card import LIMIT_UNITS, check_limit
from fieldsolve.units import parse_quantity


def read_rig_tables(tables: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """Site, gap, bleeder, box, insulation, charger and instruments by name, empty where the case has no such table.

    Raises InputError, with table, key, value and remedy, for what is unknown or cannot be.
    """
    return {name: table_class(**read_values(tables, name)) for name, table_class in RIG_TABLES.items()}


def read_limits(tables: dict[str, dict[str, Any]]) -> dict[str, float]:
    """Limits by name of check, in place of the defaults; InputError as `read_rig_tables`."""
    limits = {}
    for name, value in tables.get("limits", {}).items():
        limits[name] = parse_quantity(value, LIMIT_UNITS[name], f"[limits] {name}") if name in LIMIT_UNITS else value
        check_limit(name, limits[name])
    return limits
