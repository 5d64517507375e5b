"""The data files of the metals that come with the package, found by name, designation or alias."""
from __future__ import annotations

import functools
import re
import tomllib
from pathlib import Path

from fieldsolve.errors import InputError, suggestion
from fieldsolve.units import shortened

DATA = Path(__file__).parent / "data"


def find_material_data(name: str) -> dict:
    """Data of the metal of a name, designation or alias.  Raises InputError for a name that is not known."""
    if not isinstance(name, str):
        raise InputError(f"material = {shortened(name)}: expected a name such as 'copper'")
    normalized = _normalize_name(name)
    data_file = DATA / f"{re.sub('[^a-z0-9]+', '_', normalized)[:100]}.toml"
    if data_file.is_file() and _normalize_name(_load_file(data_file)["name"]) == normalized:       # no alias: one file to read
        return _load_file(data_file)
    all_data = all_material_data()
    if normalized not in all_data:
        names = {spelling: data["name"] for spelling, data in all_data.items()}
        raise InputError(f"material = {shortened(name)}: not known; {suggestion(name, names, names)}; a metal of your own "
                         "is described in a data file, NAME.toml")
    return all_data[normalized]


def _normalize_name(name: str) -> str:
    return " ".join(name.casefold().split())


@functools.cache
def all_material_data() -> dict[str, dict]:
    """Data of every metal by name and by alias."""
    all_data = [_load_file(path) for path in sorted(DATA.glob("*.toml"))]
    return {_normalize_name(spelling): data for data in all_data for spelling in (data["name"], *data["aliases"])}


@functools.cache
def _load_file(path: Path) -> dict:
    return tomllib.loads(path.read_text(encoding="utf-8"))
