"""The metals that come with the package: found by name, designation or alias."""
from __future__ import annotations

import copy
import functools
import tomllib
from dataclasses import replace
from pathlib import Path

from fieldsolve.errors import InputError, nearest
from fieldsolve.materials.material import Material
from fieldsolve.materials.mechanical import cold_worked, mechanical_of_sheet
from fieldsolve.materials.thermal import thermal_of_sheet

DATA = Path(__file__).parent / "data"
TEMPERS = ("soft", "hard")


def material(name: str, *, relative_permeability: float | None = None, temper: str | None = None) -> Material:
    """The metal called `name`, at 293.15 K.

    name                   name or alias, upper or lower case; see `material_names()`
    relative_permeability  pure number; needed for a magnetic metal, for which no single value holds
    temper                 'soft': annealed; 'hard': cold-worked to the yield stress of the hard temper; None: as the data file says,
                           mostly annealed. Conductivity stays as it is: cold work takes off a few percent, so measure it
    Raises InputError for an unknown name (the nearest are offered), for a magnetic metal without a permeability, and for a temper
    where only one is known.
    The sources are in `material_sheet(name)`.

    >>> material("Copper").conductivity
    58000000.0
    """
    sheet = _sheet(name)
    if sheet.get("magnetic") and relative_permeability is None:
        raise InputError(f"{sheet['name']} is magnetic; give relative_permeability=, which depends on the field "
                         "(1 where it is far beyond saturation), or a Material(...) of your own")
    metal = _metal(sheet["name"])
    if temper is not None:
        metal = _tempered(metal, temper)
    return metal if relative_permeability is None else replace(metal, relative_permeability=relative_permeability)


def material_names() -> list[str]:
    """Names of the metals that come with the package, without their aliases."""
    return sorted({sheet["name"] for sheet in _sheets().values()})


def material_sheet(name: str) -> dict:
    """Everything in the data file of a metal: each number with `value`, `unit` (SI), `source`, `mark`, where useful `temperature` (K).

    A table has lists of the same length as `value` and `temperature`.
    mark  how the number is known: 'read', 'from-memory' (unconfirmed), 'computed', 'common-practice'
    Raises InputError for an unknown name.
    """
    return copy.deepcopy(_sheet(name))


@functools.cache
def _metal(name: str) -> Material:
    sheet = _sheet(name)
    return Material(name=sheet["name"], conductivity=sheet["conductivity"]["value"], density=sheet["density"]["value"],
                    thermal=thermal_of_sheet(sheet), mechanical=mechanical_of_sheet(sheet))


def _tempered(metal: Material, temper: str) -> Material:
    if temper not in TEMPERS:
        raise InputError(f"{metal.name}: temper = {temper!r}: expected 'soft' or 'hard'")
    sheet = _sheet(metal.name)
    if metal.mechanical is None or sheet["temper"] != "annealed" or "yield_hard" not in sheet:
        raise InputError(f"{metal.name}: temper = {temper!r}: its flow stress is known in one temper only, {sheet['temper']}; leave temper "
                         "out, or give mechanical= of your own")
    return metal if temper == "soft" else replace(metal, mechanical=cold_worked(metal.mechanical, sheet["yield_hard"]["value"]))


def _sheet(name: str) -> dict:
    if not isinstance(name, str):
        raise InputError(f"material = {name!r}: expected a name such as 'copper'")
    sheets = _sheets()
    if _key(name) not in sheets:
        names = {spelling: sheet["name"] for spelling, sheet in sheets.items()}
        raise InputError(f"material = {name!r}: not known; {nearest(name, names, names)}; your own is Material(conductivity=...)")
    return sheets[_key(name)]


def _key(name: str) -> str:
    return " ".join(name.casefold().split())


@functools.cache
def _sheets() -> dict[str, dict]:
    """Data of every metal by name and by alias."""
    sheets = [tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(DATA.glob("*.toml"))]
    return {_key(spelling): sheet for sheet in sheets for spelling in (sheet["name"], *sheet["aliases"])}
