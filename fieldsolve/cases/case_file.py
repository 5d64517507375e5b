"""Case files: TOML with units to parts, currents and tables."""
from __future__ import annotations

import inspect
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geometries
from fieldsolve.errors import FieldError, GeometryError, InputError, suggestion
from fieldsolve.materials import Material, material, measured_disc, read_material
from fieldsolve.units import parse_quantity
from geometries.cross_section import CrossSection
from geometries.parts import Part

SHAPES = ("loop", "sheet", "solenoid", "spiral", "winding", "disc", "washer", "clad_disc", "ring_and_core", "tube", "ring", "plate",
          "cylinder", "sphere", "spheroid", "shell")
TABLES = ("bank", "run", "site", "capacitor", "gap", "bleeder", "box", "leads", "insulation", "former", "crowbar", "second_bank",
          "charger", "instruments", "limits")
LENGTH_KEYWORDS = (
    "radius",
    "length",
    "bore_radius",
    "inner_radius",
    "outer_radius",
    "hole_radius",
    "core_radius",
    "wire_diameter",
    "pitch",
    "layer_pitch",
    "height",
    "thickness",
    "wall",
    "radial",
    "axial",
    "at",
)
METAL_KEYWORDS = ("material", "ring", "core")                       # keywords of the builders that take a metal
METAL_KEYS = {"conductivity": "S/m", "relative_permeability": "", "remanence": "T"}
MEASURED_RESISTANCE = "measured_resistance"                            # of the real disc, between contacts at its rim
FIELD_KEYS = {"applied_field": "T", "accuracy": "", "frequency": "Hz"}


@dataclass(frozen=True)
class Case:
    """What a case file says, in SI.

    path           the file
    section        cross-section of the parts, in the order of the file
    currents       ampere per turn by part name, for the parts that give one
    applied_field  tesla, along +z; 0 where none is given
    accuracy       relative, or None where none is given
    frequencies    hertz, in the order given; none for the field at rest
    tables         the other tables, as written
    """

    path: Path
    section: CrossSection
    currents: Mapping[str, float] = field(default_factory=dict)
    applied_field: float = 0.0
    accuracy: float | None = None
    frequencies: tuple[float, ...] = ()
    tables: Mapping[str, dict] = field(default_factory=dict)

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts of the section."""
        return self.section.parts


def read_case(path: str | Path) -> Case:
    """The case in the TOML file `path`.

    Every table with a `shape` is a part, named as the table; its other keys are the keywords of the builder of that shape.
    A length may be text with a unit or a number in metres.
    Raises InputError (with file, table, key, value and remedy) for what cannot be read, GeometryError for a part that cannot exist.
    """
    path = Path(path)
    try:
        return _build_case(path, _read_tables(path))
    except FieldError as error:
        raise type(error)(f"{path.name}: {error}") from error


def _read_tables(path: Path) -> dict[str, dict]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, IsADirectoryError):
        raise InputError(f"no such case file: {str(path)!r}; give the path of a TOML file") from None
    except UnicodeDecodeError as error:
        raise InputError(f"not a text file in UTF-8 ({error.reason} at byte {error.start}); a case file is TOML") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"not valid TOML: {error}") from None
    for name, table in content.items():
        if not isinstance(table, dict):
            raise InputError(f"{name} = {table!r}: stands outside a table; write it below a [table] such as [field]")
    return content


def _build_case(path: Path, tables: dict[str, dict]) -> Case:
    parts = {name: _with_resolved_paths(path, table) for name, table in tables.items() if "shape" in table}
    for name in tables:
        if name not in parts and name not in TABLES and name != "field":
            raise InputError(f"[{name}]: neither a part (no shape=) nor a known table; {suggestion(name, (*TABLES, 'field'))}")
    if not parts:
        raise InputError("no part: give at least one table with a shape=, such as [coil] with shape = 'solenoid'")
    settings = _field_settings(tables.get("field", {}) if "field" not in parts else {})
    return Case(
        path=path,
        section=CrossSection(tuple(_build_part(name, table) for name, table in parts.items())),
        currents={name: parse_quantity(table["current"], "A", f"[{name}] current") for name, table in parts.items() if "current" in table},
        tables={name: table for name, table in tables.items() if name not in parts and name != "field"},
        **settings,
    )


def _with_resolved_paths(path: Path, value: Any) -> Any:
    """The same value with names of material files taken from the case file's folder."""
    if isinstance(value, dict):
        return {key: _with_resolved_paths(path, entry) if key in (*METAL_KEYWORDS, "layers") else entry for key, entry in value.items()}
    if isinstance(value, list):
        return [_with_resolved_paths(path, entry) for entry in value]
    return str(path.parent / value) if isinstance(value, str) and value.endswith(".toml") else value


def _field_settings(table: dict[str, Any]) -> dict[str, Any]:
    check_keys("[field]", table, FIELD_KEYS)
    settings = {key: parse_quantity(value, FIELD_KEYS[key], f"[field] {key}") for key, value in table.items() if key != "frequency"}
    if "accuracy" in settings:
        check_accuracy(settings["accuracy"], "[field] accuracy")
    if "frequency" in table:
        settings["frequencies"] = read_frequencies(table["frequency"], "[field] frequency")
    return settings


def read_frequencies(value: Any, label: str) -> tuple[float, ...]:
    """Frequencies in hertz, each once, from a text such as '1 kHz, 10 kHz', a number, or a list of these; else InputError."""
    items = value if isinstance(value, list) else [value]
    texts = [text for item in items for text in (item.split(",") if isinstance(item, str) else [item])]
    if not texts:
        raise InputError(f"{label} = []: give at least one, such as '10 kHz', or leave it out")
    frequencies = [parse_quantity(text, "Hz", label) for text in texts]
    for text, frequency in zip(texts, frequencies, strict=True):
        if not frequency > 0:
            raise InputError(f"{label} = {text!r}: must be larger than 0; leave it out for the field at rest")
    return tuple(dict.fromkeys(frequencies))


def check_accuracy(accuracy: float, name: str) -> float:
    """The relative `accuracy`, if it lies between 0 and 0.5; else InputError."""
    if not 0.0 < accuracy <= 0.5:
        raise InputError(f"{name} = {accuracy:g}: must be larger than 0 and at most 0.5; give a relative bound such as 1e-3")
    return accuracy


def _build_part(name: str, table: dict[str, Any]) -> Part:
    label, shape = f"[{name}]", table["shape"]
    if shape not in SHAPES:
        raise InputError(f"{label} shape = {shape!r}: not known; {suggestion(str(shape), SHAPES)}")
    builder = getattr(geometries, shape)
    keywords = {key: parameter for key, parameter in inspect.signature(builder).parameters.items() if key != "name"}
    metal_keys = ("material", "temper", *METAL_KEYS, *([MEASURED_RESISTANCE] if shape == "disc" else [])) if "material" in keywords else ()
    check_keys(label, table, ("shape", "current", *keywords, *metal_keys))
    missing = [key for key, parameter in keywords.items() if parameter.default is parameter.empty and key not in table]
    if missing:
        raise InputError(f"{label}: a {shape} needs {' and '.join(missing)}; add {missing[0]} = ...")
    values = {key: _builder_value(f"{label} {key}", key, table[key]) for key in keywords if key in table and key != "material"}
    if metal := {key: table[key] for key in metal_keys if key in table}:
        values["material"] = _disc_metal(label, metal, values.get("thickness"))
    try:
        return builder(name=name, **values)
    except GeometryError as error:
        raise GeometryError(f"{label} {error}") from error


def check_keys(label: str, table: dict[str, Any], known: Iterable[str]) -> None:
    """Refuse a key that is not `known`, with the nearest that is: InputError."""
    for key in table:
        if key not in known:
            raise InputError(f"{label} {key} = {table[key]!r}: unknown key; {suggestion(key, known)}")


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
        return _check_boolean(label, value)
    return _int_if_integral(parse_quantity(value, "", label))


def _read_layer(label: str, layer: Any) -> tuple[float, Material]:
    thickness, metal = _check_pair(label, layer, '["1 mm", "copper"], thickness and metal')
    return parse_quantity(thickness, "m", label), _read_metal(label, metal)


def _check_pair(label: str, value: Any, example: str) -> list:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{label} = {value!r}: expected a pair such as {example}")
    return value


def _check_boolean(label: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{label} = {value!r}: expected true or false")
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
