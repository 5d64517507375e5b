"""The tables of a case file that are parts: a shape, its builder's keywords with units, and its metal."""
from __future__ import annotations

import inspect
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import geometries
from fieldsolve.cases.table_keys import check_keys
from fieldsolve.errors import GeometryError, InputError, suggestion
from fieldsolve.materials import Material, material, measured_disc, read_material
from fieldsolve.rig.entries import check_boolean
from fieldsolve.units import parse_quantity
from geometries.parts import Part

SHAPES = ("loop", "sheet", "solenoid", "spiral", "winding", "disc", "washer", "clad_disc", "ring_and_core", "tube", "ring", "plate",
          "cylinder", "sphere", "spheroid", "shell")
LENGTH_KEYWORDS = ("radius", "length", "bore_radius", "inner_radius", "outer_radius", "hole_radius", "core_radius", "wire_diameter",
                   "pitch", "layer_pitch", "height", "thickness", "wall", "radial", "axial", "at")
METAL_KEYWORDS = ("material", "ring", "core")                       # keywords of the builders that take a metal
METAL_KEYS = {"conductivity": "S/m", "relative_permeability": "", "remanence": "T"}
MEASURED_RESISTANCE = "measured_resistance"                         # of the real disc, between contacts at its rim


def part_keywords(shape: str) -> dict[str, inspect.Parameter]:
    """Keywords of the builder of a shape, which are keys of its table."""
    return {key: parameter for key, parameter in inspect.signature(getattr(geometries, shape)).parameters.items() if key != "name"}


def metal_keys(shape: str) -> tuple[str, ...]:
    """Keys that say what a part of a shape is made of; none where its builder takes no material."""
    if "material" not in part_keywords(shape):
        return ()
    return ("material", "temper", *METAL_KEYS, *([MEASURED_RESISTANCE] if shape == "disc" else []))


def part_keys(shape: str) -> tuple[str, ...]:
    """All keys of the table of a part."""
    return ("shape", "current", "held", *part_keywords(shape), *metal_keys(shape))


def with_resolved_paths(folder: Path, value: Any) -> Any:
    """The same table with names of material files taken from a folder."""
    if isinstance(value, dict):
        return {key: with_resolved_paths(folder, entry) if key in (*METAL_KEYWORDS, "layers") else entry for key, entry in value.items()}
    if isinstance(value, list):
        return [with_resolved_paths(folder, entry) for entry in value]
    return str(folder / value) if isinstance(value, str) and value.endswith(".toml") else value


def material_files(tables: dict[str, dict[str, Any]], folder: Path) -> list[Path]:
    """The material files that a case names, by full path."""
    def names(value: Any) -> Iterator[str]:
        if isinstance(value, str) and value.endswith(".toml"):
            yield value
        elif isinstance(value, (dict, list)):
            for entry in value.values() if isinstance(value, dict) else value:
                yield from names(entry)
    return [folder / name for name in dict.fromkeys(names(tables))]


def build_part(name: str, table: dict[str, Any]) -> Part:
    """The part that a table describes, its material files by full path.

    Raises InputError (with table, key, value and remedy) for what cannot be read, GeometryError for a part that cannot exist.
    """
    label, shape = f"[{name}]", table["shape"]
    if shape not in SHAPES:
        raise InputError(f"{label} shape = {shape!r}: not known; {suggestion(str(shape), SHAPES)}")
    keywords = part_keywords(shape)
    check_keys(label, table, part_keys(shape))
    missing = [key for key, parameter in keywords.items() if parameter.default is parameter.empty and key not in table]
    if missing:
        raise InputError(f"{label}: a {shape} needs {' and '.join(missing)}; add {missing[0]} = ...")
    check_boolean(f"{label} held", table.get("held", False))
    values = {key: _builder_value(f"{label} {key}", key, table[key]) for key in keywords if key in table and key != "material"}
    if metal := {key: table[key] for key in metal_keys(shape) if key in table}:
        values["material"] = _disc_metal(label, metal, values.get("thickness"))
    try:
        return getattr(geometries, shape)(name=name, **values)
    except GeometryError as error:
        raise GeometryError(f"{label} {error}") from error


def _builder_value(label: str, key: str, value: Any) -> Any:
    """Value of one keyword of a builder, in SI."""
    if key in LENGTH_KEYWORDS:
        return parse_quantity(value, "m", label)
    if key in METAL_KEYWORDS:
        return _read_metal(label, value)
    if key == "wire_section":
        return tuple(parse_quantity(side, "m", label) for side in _check_pair(label, value, '["2 mm", "3 mm"], radial and axial'))
    if key == "layers" and isinstance(value, list):
        return [_read_layer(label, layer) for layer in value]
    if key == "stranded":
        return check_boolean(label, value)
    return _int_if_integral(parse_quantity(value, "", label))


def _read_layer(label: str, layer: Any) -> tuple[float, Material]:
    thickness, metal = _check_pair(label, layer, '["1 mm", "copper"], thickness and metal')
    return parse_quantity(thickness, "m", label), _read_metal(label, metal)


def _check_pair(label: str, value: Any, example: str) -> list:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{label} = {value!r}: expected a pair such as {example}")
    return value


def _int_if_integral(number: float) -> float | int:
    """8.0 as the int 8, for the keywords that count."""
    return int(number) if number.is_integer() else number


def _disc_metal(label: str, table: dict[str, Any], thickness: float | None) -> Material:
    """Metal of a disc; its conductivity from a measured resistance where there is one."""
    if MEASURED_RESISTANCE not in table:
        return _build_metal(label, table)
    if "conductivity" in table:
        raise InputError(f"{label} conductivity and {MEASURED_RESISTANCE} say the same twice; give one of them")
    metal = _build_metal(label, {key: value for key, value in table.items() if key != MEASURED_RESISTANCE})
    try:
        return measured_disc(metal, parse_quantity(table[MEASURED_RESISTANCE], "ohm", f"{label} {MEASURED_RESISTANCE}"), thickness)
    except InputError as error:
        raise InputError(f"{label} {error}") from error


def _read_metal(label: str, value: Any) -> Material:
    """Metal from its name alone, or from an inline table { material = ..., conductivity = ..., ... }."""
    return _build_metal(label, value if isinstance(value, dict) else {"material": value})


def _build_metal(label: str, table: dict[str, Any]) -> Material:
    """Metal named by `material`, with its properties overridden by the other keys."""
    check_keys(label, table, ("material", "temper", *METAL_KEYS))
    overrides = {key: parse_quantity(table[key], unit, f"{label} {key}") for key, unit in METAL_KEYS.items() if key in table}
    permeability = overrides.get("relative_permeability")
    from_file = str(table.get("material")).endswith(".toml")
    if "temper" in table and ("material" not in table or from_file):
        raise InputError(f"{label} temper = {table['temper']!r}: is for a metal by name; leave it out")
    try:
        if "material" not in table:
            return Material(**overrides)
        if from_file:
            return replace(read_material(table["material"], relative_permeability=permeability), **overrides)
        return replace(material(table["material"], relative_permeability=permeability, temper=table.get("temper")), **overrides)
    except InputError as error:
        raise InputError(f"{label} {error}") from error
