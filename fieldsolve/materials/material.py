"""A metal as the field sees it, and the metals that come with the package."""
from __future__ import annotations

import copy
import functools
import math
import numbers
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

from fieldsolve.errors import InputError, nearest

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Material:
    """A metal: straight magnetization curve `B = mu_0 mu_r H + B_rem`, Ohm's law `J = sigma E`.

    name                   for messages and reports
    conductivity           S/m, 0 for an insulator
    relative_permeability  pure number, larger than 0; 1 for what is not magnetic
    remanence              tesla, along +z (negative: along -z)

    Raises InputError where a number is not finite or out of these bounds.

    >>> Material(conductivity=58.0e6).relative_permeability
    1.0
    """

    name: str = "own metal"
    conductivity: float | None = None
    relative_permeability: float = 1.0
    remanence: float = 0.0

    def __post_init__(self):
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError(f"name = {self.name!r}: expected the material's name, such as 'copper'")
        if self.conductivity is None:
            raise InputError(f"{self.name}: conductivity is missing; give conductivity= in S/m, such as 58.0e6 for copper")
        for key, example in (("conductivity", "58.0e6 (S/m)"), ("relative_permeability", "1.0"), ("remanence", "1.2 (T)")):
            object.__setattr__(self, key, _finite(self.name, key, getattr(self, key), example))
        if self.conductivity < 0:
            raise InputError(f"{self.name}: conductivity = {self.conductivity:g} S/m: must be 0 or more; give 0 for an insulator")
        if self.relative_permeability <= 0:
            raise InputError(f"{self.name}: relative_permeability = {self.relative_permeability:g}: must be larger than 0; "
                             "give 1 for a metal that is not magnetic")


def _finite(name: str, key: str, value, example: str) -> float:
    try:
        if isinstance(value, numbers.Real) and not isinstance(value, bool) and math.isfinite(value):
            return float(value)
    except OverflowError:                # an int too large for a float
        pass
    raise InputError(f"{name}: {key} = {value!r}: expected a finite number, such as {example}")


def material(name: str, *, relative_permeability: float | None = None) -> Material:
    """The metal called `name`, at 293.15 K.

    name                   name or alias, upper or lower case; see `material_names()`
    relative_permeability  pure number; needed for a magnetic metal, for which no single value holds
    Raises InputError for an unknown name (the nearest are offered) and for a magnetic metal without a permeability.
    The sources are in `material_sheet(name)`.

    >>> material("Copper").conductivity
    58000000.0
    """
    sheet = _sheet(name)
    if sheet.get("magnetic") and relative_permeability is None:
        raise InputError(f"{sheet['name']} is magnetic; give relative_permeability=, which depends on the field "
                         "(1 where it is far beyond saturation), or a Material(...) of your own")
    metal = Material(name=sheet["name"], conductivity=sheet["conductivity"]["value"])
    return metal if relative_permeability is None else replace(metal, relative_permeability=relative_permeability)


def material_names() -> list[str]:
    """Names of the metals that come with the package, without their aliases."""
    return sorted({sheet["name"] for sheet in _sheets().values()})


def material_sheet(name: str) -> dict:
    """Everything in the data file of a metal: each number with `value`, `unit` (SI), `source`, `mark`, where useful `temperature` (K).

    mark  how the number is known: 'read', 'from-memory' (unconfirmed), 'computed', 'common-practice'
    Raises InputError for an unknown name.
    """
    return copy.deepcopy(_sheet(name))


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
