"""The metals that come with the package, found by name, designation or alias, and metals of one's own from a file or a few numbers."""
from __future__ import annotations

import copy
import functools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from fieldsolve.errors import InputError, nearest
from fieldsolve.materials.data_file import BASES, checked_sheet, filled, read_sheet
from fieldsolve.materials.magnetization import BHTable, Frohlich, Magnetization
from fieldsolve.materials.material import Material
from fieldsolve.materials.mechanical import cold_worked, mechanical_of_sheet
from fieldsolve.materials.thermal import thermal_of_sheet

DATA = Path(__file__).parent / "data"
TEMPERS = ("soft", "hard")


def material(name: str, *, relative_permeability: float | None = None, temper: str | None = None) -> Material:
    """The metal called `name`, at 293.15 K.

    name                   name or alias, upper or lower case; see `material_names()`
    relative_permeability  pure number, in place of a magnetic metal's curve; only fields at rest follow the curve as yet
    temper                 'soft': annealed; 'hard': cold-worked to the yield stress of the hard temper; None: as the data file says,
                           mostly annealed. Conductivity stays as it is: cold work takes off a few percent, so measure it
    Raises InputError for an unknown name (the nearest are offered), and for a temper where only one is known.
    The sources are in `material_sheet(name)`.

    >>> material("Copper").conductivity
    58000000.0
    """
    sheet = _sheet(name)
    metal = _metal(sheet["name"])
    if temper is not None:
        metal = _tempered(metal, temper)
    return metal if relative_permeability is None else _straight(metal, relative_permeability)


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


def read_material(path: str | Path, *, relative_permeability: float | None = None) -> Material:
    """A metal of one's own from a TOML file with the keys of the package's own, each number with unit, source and mark.

    Needed are `name` and `conductivity`; for heat also `density` and `solidus`, for motion also `yield_soft` or `yield_hard`. What is
    missing of the rest is taken from copper or aluminium, whichever is nearer in density, and named in the metal's `assumed`.
    Raises InputError as `checked_sheet` and `filled`.
    """
    sheet = own_sheet(path)
    metal = metal_of_sheet(sheet)
    return metal if relative_permeability is None else _straight(metal, relative_permeability)


def own_sheet(path: str | Path) -> dict:
    """Everything known of the metal in a file, defaults included; as `material_sheet`."""
    return _filled(read_sheet(path))


def alloy(name: str, *, iacs: float, density: float, melting: tuple[float, float], yield_stress: float) -> Material:
    """An alloy of which only four things are known; all else is a default, named in its `assumed`.

    iacs          conductivity at 293.15 K in percent of the annealed copper standard
    density       kg/m^3
    melting       (solidus, liquidus) in K
    yield_stress  Pa, at low rate and room temperature
    Raises InputError where a number is missing or out of the bounds of metals.

    >>> "heat_capacity" in alloy("coin alloy", iacs=16.5, density=8000.0, melting=(1283.0, 1313.0), yield_stress=150e6).assumed
    True
    """
    try:
        solidus, liquidus = melting
    except (TypeError, ValueError):
        raise InputError(f"{name}: melting = {melting!r}: expected (solidus, liquidus) in K, such as (1283.0, 1313.0)") from None
    given = {"conductivity": (iacs, "% IACS"), "density": (density, "kg/m^3"), "solidus": (solidus, "K"), "liquidus": (liquidus, "K"),
             "yield_soft": (yield_stress, "Pa")}
    known = {"source": "given by the caller", "mark": "given"}
    entries = {key: {"value": value, "unit": unit, **known} for key, (value, unit) in given.items()}
    return metal_of_sheet(_filled(checked_sheet({"name": name, **entries}, name)))


def measured_disc(metal: Material, resistance: float, thickness: float) -> Material:
    """The metal with the conductivity of a real disc, from four contacts at its rim a quarter turn apart.

        rho = pi thickness R / ln 2

    resistance  R in ohm: voltage between two neighbouring contacts over the current between the other two, at 293.15 K
    thickness   m
    Raises InputError where one of them is not a finite number larger than 0, and where no metal conducts so. Source: L. J. van der Pauw,
    Philips Res. Rep. 13, 1 (1958).

    >>> f"{measured_disc(material('copper'), 1.9e-6, 2e-3).conductivity / 1e6:.1f} MS/m"
    '58.1 MS/m'
    """
    for key, value in (("resistance", resistance), ("thickness", thickness)):
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < math.inf:
            raise InputError(f"{metal.name}: measured {key} = {value!r}: expected a finite number larger than 0")
    conductivity = math.log(2) / (math.pi * thickness * resistance)
    entry = {"value": conductivity, "unit": "S/m", "source": "measured on the disc", "mark": "measured"}
    checked_sheet({"name": metal.name, "conductivity": entry}, f"{metal.name}, measured resistance {resistance:g} ohm")
    return replace(metal, conductivity=conductivity)


@functools.cache
def _metal(name: str) -> Material:
    return metal_of_sheet(_sheet(name))


def metal_of_sheet(sheet: Mapping) -> Material:
    """The metal of a full sheet, as `material_sheet` and `own_sheet` give it."""
    metal = Material(name=sheet["name"], conductivity=sheet["conductivity"]["value"], magnetization=_magnetization(sheet),
                     curie=sheet["curie"]["value"] if "curie" in sheet else None)
    if "solidus" in sheet:
        try:
            metal = replace(metal, density=sheet["density"]["value"], thermal=thermal_of_sheet(sheet),
                            mechanical=mechanical_of_sheet(sheet))
        except InputError as error:
            raise InputError(f"{sheet['name']}: {error}") from error
    assumed = tuple(key for key, entry in sheet.items() if isinstance(entry, dict) and entry["source"].startswith("no source: default"))
    return replace(metal, assumed=assumed)


def _straight(metal: Material, relative_permeability: float) -> Material:
    return replace(metal, relative_permeability=relative_permeability, magnetization=None, curie=None)


def _magnetization(sheet: Mapping) -> Magnetization | None:
    """The curve of a table, or Froehlich's law; None for what is not magnetic."""
    if "flux_density" in sheet:
        return BHTable(tuple(sheet["flux_density"]["field"]), tuple(sheet["flux_density"]["value"]))
    given = [key for key in ("saturation", "initial_permeability") if key in sheet]
    if len(given) == 1:
        raise InputError(f"{sheet['name']}: {given[0]} alone makes no magnetization curve; give saturation and initial_permeability, or a "
                         "table flux_density")
    return Frohlich(*(sheet[key]["value"] for key in given)) if given else None


def _filled(sheet: dict) -> dict:
    return filled(sheet, {name: _sheet(name) for name in BASES})


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
