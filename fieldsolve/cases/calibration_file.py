"""A file of calibrated parameters that a case names: read, and put in place of what the case gives."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fieldsolve.cases.part_tables import LENGTH_KEYWORDS, METAL_KEYS
from fieldsolve.cases.table_keys import UNITS
from fieldsolve.errors import InputError, suggestion
from fieldsolve.files.toml_reading import parse_toml, read_toml_text
from fieldsolve.units import parse_quantity
from geometries.cross_section import CrossSection

TABLE, FILE, EXCEPT = "calibration", "file", "except"
FORMAT, VERSION = "fieldsolve calibration", 1
FLOW_STRESS, GAIN = "flow_stress of ", "gain"


@dataclass(frozen=True)
class CalibratedParameter:
    """One entry of the file.

    name       dotted key of a case, "flow_stress of PART", or "gain" of a record, which changes no case
    value      SI, in place of the case's; None where the calibrated shots had several: then `factor` multiplies the case's
    factor     over the value of the case
    deviation  standard deviation, relative
    """

    name: str
    value: float | None
    factor: float
    deviation: float = 0.0


def read_calibration(path: Path) -> tuple[CalibratedParameter, ...]:
    """The parameters in a file; InputError, with the path, where it is no calibration of this version."""
    content = parse_toml(read_toml_text(path, "calibration"))
    if content.get("format") != FORMAT:
        raise InputError(f"{path.name}: is no calibration: format = '{FORMAT}' is missing; write one with `fieldsolve calibrate`")
    if content.get("version") != VERSION:
        raise InputError(f"{path.name}: is of version {content.get('version')!r}; this program reads version {VERSION}")
    try:
        return tuple(CalibratedParameter(str(entry["name"]), float(entry["value"]) if "value" in entry else None, float(entry["factor"]),
                                         float(entry.get("deviation", 0.0))) for entry in content.get("parameter", []))
    except (KeyError, TypeError, ValueError, AttributeError):
        raise InputError(f"{path.name}: each [[parameter]] needs a name, a factor and, as numbers, value and deviation") from None


def with_calibration(tables: Mapping[str, Mapping[str, Any]], folder: Path, uncertainties: dict[str, tuple[float, float]]) \
        -> tuple[dict[str, dict[str, Any]], dict[str, tuple[float, float]], dict[str, float]]:
    """Tables without [calibration] and with the values of its file; uncertainties with its own; factors on flow stress by part."""
    changed = {name: dict(table) for name, table in tables.items() if name != TABLE}
    if TABLE not in tables:
        return changed, uncertainties, {}
    table = tables[TABLE]
    for key in table:
        if key not in (FILE, EXCEPT):
            raise InputError(f"[{TABLE}] {key}: unknown key; {suggestion(key, (FILE, EXCEPT))}")
    if not isinstance(table.get(FILE), str):
        raise InputError(f"[{TABLE}] {FILE} is missing: give the path of a file that `fieldsolve calibrate --save` wrote")
    found, factors = dict(uncertainties), {}
    for parameter in read_calibration(folder / table[FILE]):
        if parameter.name == GAIN or parameter.name in table.get(EXCEPT, ()):
            continue
        if parameter.name.startswith(FLOW_STRESS):
            factors[parameter.name.removeprefix(FLOW_STRESS)] = parameter.factor
            continue
        value = _put(changed, parameter)
        found[parameter.name] = (value, parameter.deviation * abs(value))
    return changed, {key: pair for key, pair in found.items() if pair[1] > 0}, factors


def scaled_section(section: CrossSection, factors: Mapping[str, float]) -> CrossSection:
    """The section with the flow stress of parts multiplied; InputError for a part that is not there or has none."""
    names = [part.name for part in section.parts]
    for name in factors:
        if name not in names:
            raise InputError(f"[{TABLE}]: it is of a part {name!r}; {suggestion(name, names)}")
    if not factors:
        return section
    return replace(section, parts=tuple(scaled_part(part, factors[part.name]) if part.name in factors else part
                                        for part in section.parts))


def scaled_part(part, factor: float):
    """A part with the flow stress of its metals multiplied."""
    return replace(part, zones=tuple(replace(zone, material=_scaled_metal(zone.material, factor)) for zone in part.zones))


def _scaled_metal(metal, factor: float):
    if metal is None or metal.mechanical is None:
        return metal
    law = metal.mechanical.flow_stress
    return replace(metal, mechanical=replace(metal.mechanical, flow_stress=replace(law, scale=law.scale * factor)))


def _put(tables: dict[str, dict[str, Any]], parameter: CalibratedParameter) -> float:
    """Put a value in its place in the tables; returns it in SI."""
    table, _, key = parameter.name.partition(".")
    unit = key_unit(tables, parameter.name)
    if table not in tables or unit is None:
        raise InputError(f"[{TABLE}]: {parameter.name} is no number of this case; leave it out with {EXCEPT} = ['{parameter.name}']")
    value = parameter.value
    if value is None:
        if key not in tables[table]:
            raise InputError(f"[{TABLE}]: {parameter.name} is a factor on a value that the case does not give; add it")
        value = parameter.factor * parse_quantity(tables[table][key], unit, f"[{table}] {key}")
    tables[table][key] = value
    return value


def key_unit(tables: Mapping[str, Mapping[str, Any]], name: str) -> str | None:
    """SI unit of the number under a dotted key of a case; None where there is no such number."""
    table, _, key = name.partition(".")
    if table in UNITS:
        return UNITS[table].get(key)
    if "shape" in tables.get(table, {}):
        return "m" if key in LENGTH_KEYWORDS else METAL_KEYS.get(key)
    return None
