"""The tables of a case file that describe the rig, and the rig with its shot computed."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from fieldsolve.cases.case_file import Case, check_keys, read_case
from fieldsolve.cases.shot_tables import (
    BANK_KEYS,
    BANK_TABLES,
    LEADS_KEYS,
    RUN_KEYS,
    ShotCase,
    read_banks,
    read_leads,
    read_shot_case,
    solve_plan,
)
from fieldsolve.errors import FieldError, SolveError
from fieldsolve.rig.card import LIMIT_UNITS, check_limit
from fieldsolve.rig.coil import empty_inductance
from fieldsolve.rig.from_shot import MovingShotQuantities, moving_shot_quantities, shot_quantities
from fieldsolve.rig.rig import Rig
from fieldsolve.rig.tables import (
    Bleeder,
    Box,
    Capacitor,
    Charger,
    FormerTable,
    Gap,
    Instruments,
    Insulation,
    LeadLayout,
    Site,
    check_positive,
    units_of,
)
from fieldsolve.units import parse_quantity
from geometries.cross_section import CrossSection

RIG_TABLES = {"site": Site, "gap": Gap, "bleeder": Bleeder, "box": Box, "lead_layout": LeadLayout, "insulation": Insulation,
        "former": FormerTable, "charger": Charger, "instruments": Instruments}             # by their names in a Rig
MOVING_SHOT_ACCURACY = 3e-2  # accuracy of the shot with moving metal: its speeds change by less than 1 %, and design is for twice the bound
REQUIRED_FOR_SHOT = {"bank": ("capacitance", "voltage"), "run": ("end_time",)}      # without which there is none


def read_rig(path: str | Path, accuracy: float | None = None, shot: Callable | None = None) -> Rig:
    """The rig in a case file, its coil's inductance, and its shot with the metal held and, unless [run] motion = false, once more moving.

    The held shot overstates currents and forces, so all checks take its figures; the moving one tells when the coil bursts, and how fast.

    accuracy  relative, of the shot; None: the case's in [run], else the usual
    shot      what computes it, a function of (section, plan, accuracy); None: the solver
    What the file does not tell is left out of the rig.
    Raises InputError, with file, table, key, value and remedy, and what a shot raises.
    """
    case = read_case(path)
    try:
        return rig_from_case(case, accuracy, shot or solve_plan)
    except FieldError as error:
        file_is_named = str(error).startswith(f"{case.path.name}: ")            # as `read_shot_case` does
        raise error if file_is_named else type(error)(f"{case.path.name}: {error}") from None


def rig_from_case(case: Case, accuracy: float | None, solve: Callable) -> Rig:
    """The rig of a case that was read, its shots by `solve`; see `read_rig`, but InputError without the file's name."""
    rig = rig_from_tables(case)
    if not _has_required_keys(case, "bank"):
        return rig
    capacitors, case = _read_capacitors(case)
    rig = replace(rig, banks=read_banks(case), capacitors=capacitors)
    if not rig.coils:
        return rig
    rig = replace(rig, coil_inductance=empty_inductance(case.section, rig.coils))
    if not _has_required_keys(case, "run"):
        return rig
    plan = read_shot_case(case)
    accuracy = plan.accuracy if accuracy is None else accuracy
    held = solve(case.section, replace(plan, motion=False), accuracy)
    return replace(
        rig, shot=shot_quantities(held), moving_shot=_solve_moving_shot(case.section, plan, accuracy, solve) if plan.motion else None
    )


def rig_from_tables(case: Case) -> Rig:
    """The rig as the tables tell it, without inductance, bank and shot; InputError without the file's name."""
    return Rig(
        case.section,
        leads=read_leads(case),
        limits=_read_limits(case),
        **{name: _read_table(case, table_class) for name, table_class in RIG_TABLES.items()},
    )


def _solve_moving_shot(section: CrossSection, plan: ShotCase, accuracy: float | None, solve: Callable) -> MovingShotQuantities | None:
    """The figures of the shot with moving metal, up to where it can be followed; None where the turns are held."""
    try:
        return moving_shot_quantities(solve(section, plan, max(accuracy or MOVING_SHOT_ACCURACY, MOVING_SHOT_ACCURACY)))
    except SolveError as error:
        return error.partial and moving_shot_quantities(error.partial)


def _has_required_keys(case: Case, name: str) -> bool:
    """Whether a table holds what a shot cannot do without."""
    table, known = case.tables.get(name, {}), {"bank": BANK_KEYS, "run": RUN_KEYS}[name]
    check_keys(f"[{name}]", table, known)
    return all(key in table for key in REQUIRED_FOR_SHOT[name])


def _read_capacitors(case: Case) -> tuple[tuple[Capacitor, ...], Case]:
    """What the makers of the banks allow, and the case without their rated voltages: above one the card says so, where a bank refuses."""
    shared, tables, found = _read_table(case, Capacitor), dict(case.tables), []
    for name in BANK_TABLES:
        if name not in tables:
            continue
        table = tables[name] = dict(tables[name])
        volts = [shared.rated_voltage] if shared.rated_voltage is not None else []
        if "rated_voltage" in table:
            label = f"[{name}] rated_voltage"
            volts.append(check_positive(label, parse_quantity(table.pop("rated_voltage"), "V", label)))
        found.append(replace(shared, rated_voltage=min(volts, default=None)))
    return tuple(found), replace(case, tables=tables)


def _read_table(case: Case, table_class: type) -> Any:
    """One table as an object; empty where the file has none."""
    name, units = table_class.TABLE, units_of(table_class)
    table = case.tables.get(name, {})
    check_keys(f"[{name}]", table, (*units, *(LEADS_KEYS if name == "leads" else ())))
    return table_class(**{key: _table_value(f"[{name}] {key}", value, units[key]) for key, value in table.items() if key in units})


def _table_value(label: str, value: Any, unit: str | None) -> Any:
    return value if unit is None else parse_quantity(value, unit, label)


def _read_limits(case: Case) -> dict[str, float]:
    limits = {}
    for name, value in case.tables.get("limits", {}).items():
        limits[name] = parse_quantity(value, LIMIT_UNITS[name], f"[limits] {name}") if name in LIMIT_UNITS else value
        check_limit(name, limits[name])
    return limits
