"""The data file of a metal: numbers with unit, source and mark, read, checked, and completed with marked defaults."""
from __future__ import annotations

import math
import numbers
from collections.abc import Callable, Mapping
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

from fieldsolve.errors import InputError, suggestion
from fieldsolve.files.toml_reading import parse_toml, read_toml_text
from fieldsolve.materials.flow_stress import LAWS
from fieldsolve.materials.mechanical import ELASTIC_KEYS, find_law, law_name_of
from fieldsolve.materials.thermal import MIN_MELTING_RANGE, ROOM_TEMPERATURE, TABLE_START, value_at
from fieldsolve.units import parse_quantity

Read = TypeVar("Read")            # what is read: a text or its tables

IACS = 0.58e6                                            # S/m in one percent of the annealed copper standard (IEC 60028)
MARKS = ("read", "read-second-hand", "measured", "given", "computed", "from-memory", "common-practice")
TEXT_KEYS = {"name": str, "aliases": list, "temper": str, "flow_stress_law": str}
TABLE_KEYS = {"heat_capacity": "temperature", "resistivity": "temperature", "flux_density": "field"}    # lists of one length, over K or A/m
PAIR_KEYS = ("ductility",)                                   # of these, the value is (low, high)
NUMBER_BOUNDS = {                                              # unit, and the bounds between which a metal's number lies
    "conductivity": ("S/m", 1e4, 7e7), "density": ("kg/m^3", 500.0, 25e3), "heat_capacity": ("J/(kg K)", 50.0, 5e3),
    "solidus": ("K", ROOM_TEMPERATURE, 5e3), "liquidus": ("K", ROOM_TEMPERATURE, 5e3), "heat_of_fusion": ("J/kg", 5e3, 2e6),
    "liquid_heat_capacity": ("J/(kg K)", 50.0, 5e3), "boiling": ("K", ROOM_TEMPERATURE, 1e4), "heat_of_vaporisation": ("J/kg", 1e5, 5e7),
    "resistivity": ("ohm m", 1e-9, 1e-4), "temperature_coefficient": ("1/K", 0.0, 0.02), "liquid_resistivity": ("ohm m", 1e-9, 1e-4),
    "liquid_resistivity_slope": ("ohm m/K", 0.0, 1e-8), "youngs_modulus": ("Pa", 1e9, 1e12), "poissons_ratio": ("1", 0.0, 0.499),
    "yield_soft": ("Pa", 1e6, 5e9), "yield_hard": ("Pa", 1e6, 5e9), "ductility": ("1", 1e-3, 3.0),
    **{key: (entry.unit, entry.low, entry.high) for law in LAWS.values() for key, entry in law.data_keys.items()},
    "saturation": ("T", 0.01, 3.0), "initial_permeability": ("1", 1.01, 1e6), "curie": ("K", 1.0, 2e3), "flux_density": ("T", 0.0, 10.0),
}
FIELD_KEYS = ("conductivity", "saturation", "initial_permeability", "curie", "flux_density")      # which need neither density nor solidus
LIGHT_ALLOY_DENSITY = 4500.0  # kg/m^3, below which an alloy is taken for one of aluminium, else of copper
BASE_METALS = {                                                # rise of the solid's resistivity, ohm m/K; what melting adds, ohm m
    "copper": (6.78e-11, 10.83e-8), "aluminium 1100-O": (11.4e-11, 13.4e-8),
}
BASE_THERMAL_KEYS = ("heat_capacity", "heat_of_fusion", "liquid_heat_capacity", "boiling", "heat_of_vaporisation")


def read_material_data(path: str | Path) -> dict:
    """The data in a TOML file, checked, in SI; the file may use any unit of the right kind, for conductivity also '% IACS'.

    Raises InputError for a file that cannot be read, and as `check_material_data`.
    """
    path = Path(path)
    text = _within(path, lambda: read_toml_text(path, "material file"))
    return check_material_data(_within(path, lambda: parse_toml(text)), path.name)


def _within(path: Path, read: Callable[[], Read]) -> Read:
    """What `read` gives; its error with the name of the file in front."""
    try:
        return read()
    except InputError as error:
        raise InputError(f"material file {path.name}: {error}") from None


def check_material_data(data: Mapping, where: str) -> dict:
    """The data with every number in SI.

    Raises InputError (with `where`, key, value and remedy) for an unknown key, a number without unit, source or mark, and one that is
    not finite or outside its `NUMBER_BOUNDS`.
    """
    checked = {}
    for key, entry in data.items():
        if key in TEXT_KEYS:
            if not isinstance(entry, TEXT_KEYS[key]):
                raise InputError(f"{where}: {key} = {entry!r}: expected a {TEXT_KEYS[key].__name__}")
            if key == "flow_stress_law":
                find_law(entry, f"{where}: ")
            checked[key] = entry
        elif key in NUMBER_BOUNDS:
            checked[key] = _check_entry(entry, key, where)
        else:
            raise InputError(f"{where}: {key}: not known; {suggestion(key, (*TEXT_KEYS, *NUMBER_BOUNDS))}")
    for key in ("name", "conductivity"):
        if key not in checked:
            raise InputError(f"{where}: {key} missing, without which no metal can be used")
    return checked


def _check_entry(entry, key: str, where: str) -> dict:
    needed = ("value", "unit", "source", "mark", *([TABLE_KEYS[key]] if key in TABLE_KEYS else []))
    missing = [word for word in needed if not isinstance(entry, dict) or word not in entry]
    if missing:
        raise InputError(f"{where}: [{key}] without {', '.join(missing)}; every number has value, unit, source and mark, a table also "
                         f"{TABLE_KEYS.get(key, 'temperature')}")
    unknown = set(entry) - {"value", "unit", "source", "mark", TABLE_KEYS.get(key, "temperature")}
    if unknown:
        raise InputError(f"{where}: [{key}] {sorted(unknown)[0]}: not known; a number has value, unit, source, mark and "
                         f"{TABLE_KEYS.get(key, 'temperature')}")
    if entry["mark"] not in MARKS:
        raise InputError(f"{where}: [{key}] mark = {entry['mark']!r}: expected one of {', '.join(MARKS)}")
    if not isinstance(entry["source"], str) or not entry["source"].strip():
        raise InputError(f"{where}: [{key}] source = {entry['source']!r}: say where the number comes from, or 'no source: ...'")
    value = _to_si(entry["value"], entry["unit"], key, where)
    if key in TABLE_KEYS:
        _check_table(value, entry[TABLE_KEYS[key]], key, where)
    elif "temperature" in entry:
        _check_temperature(entry["temperature"], key, where)
    if key in PAIR_KEYS and not (isinstance(value, list) and len(value) == 2 and value[0] <= value[1]):
        raise InputError(f"{where}: [{key}] value = {value!r}: expected [low, high], such as [0.3, 0.5]")
    return {**entry, "value": value, "unit": NUMBER_BOUNDS[key][0]}


def _check_temperature(temperature, key: str, where: str) -> None:
    """Refuse a temperature that is no number above 0."""
    is_number = isinstance(temperature, numbers.Real) and not isinstance(temperature, bool)
    if not is_number or not 0 < temperature < math.inf:
        raise InputError(f"{where}: [{key}] temperature = {temperature!r}: expected a number of kelvin above 0, such as 293.15")


def _to_si(value, unit: str, key: str, where: str):
    """A number, or each of a list, in the SI unit of the key and within its bounds."""
    if isinstance(value, list) and (key in TABLE_KEYS or key in PAIR_KEYS):
        return [_to_si(single, unit, key, where) for single in value]
    si_unit, lowest, highest = NUMBER_BOUNDS[key]
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        raise InputError(f"{where}: [{key}] value = {value!r}: expected a number")
    if key == "conductivity" and unit == "% IACS":
        number = IACS * value
    else:
        number = (
            float(value) if unit == si_unit else parse_quantity(f"{value} {unit}", si_unit, f"{where}: [{key}] value with unit {unit!r}")
        )
    if not lowest <= number <= highest:
        raise InputError(
            f"{where}: [{key}] value = {number:g} {si_unit}: outside {lowest:g} to {highest:g} {si_unit}, between which metals lie; "
            "check the unit"
        )
    return number


def _check_table(value, over, key: str, where: str) -> None:
    """Refuse a table that is not two lists of one length, the second finite and rising."""
    well_formed = isinstance(value, list) and isinstance(over, list) and len(value) == len(over) > 0
    if not well_formed or not all(isinstance(x, numbers.Real) and math.isfinite(x) for x in over) or any(a >= b for a, b in pairwise(over)):
        raise InputError(f"{where}: [{key}] expected lists value and {TABLE_KEYS[key]} of one length, {TABLE_KEYS[key]} rising, in "
                         f"{'A/m' if TABLE_KEYS[key] == 'field' else 'K'}")


def with_defaults(data: Mapping, bases: Mapping[str, Mapping]) -> dict:
    """The data with every number that heat and motion need; what was missing is a default, marked 'common-practice'.

    A metal given by conductivity and magnetization alone stays so.  Otherwise density and solidus are needed.  The rest defaults to
    the metal of `bases` (data of copper and aluminium 1100-O) that is nearer in density.  The flow stress needs a yield stress.
    Raises InputError that names what is missing.
    """
    full = dict(data)
    if not set(data) & (set(NUMBER_BOUNDS) - set(FIELD_KEYS)):
        return full
    missing = [key for key in ("density", "solidus") if key not in data]
    if missing:
        raise InputError(f"{data['name']}: {', '.join(missing)} missing, without which it can be neither heated nor moved; give it, or "
                         "conductivity alone")
    base = "aluminium 1100-O" if data["density"]["value"] < LIGHT_ALLOY_DENSITY else "copper"
    full.setdefault("liquidus", _default_entry(data["solidus"]["value"], "K", "the solidus"))
    for key in BASE_THERMAL_KEYS:
        full.setdefault(key, {**bases[base][key], **_default_source(f"that of {base}")})
    _fill_resistivity(full, base)
    _fill_strength(full, bases[base])
    full.setdefault("temper", "as given")
    return full


def _fill_strength(full: dict, base: Mapping) -> None:
    """What motion needs, where the metal has a yield stress or the first number of its flow-stress law."""
    keys = find_law(law_name_of(full)).data_keys
    yields = [full[key]["value"] for key in ("yield_soft", "yield_hard") if key in full]
    first = next(iter(keys))
    if yields and keys[first].default == "yield stress":
        full.setdefault(first, _default_entry(yields[0], "Pa", "the yield stress of this data file"))
    if first not in full:
        return
    for key in (*ELASTIC_KEYS, *(key for key, entry in keys.items() if entry.default == "base")):
        full.setdefault(key, {**base[key], **_default_source(f"that of {base['name']}")})
    for key in (key for key, entry in keys.items() if entry.default == "solidus"):
        full.setdefault(key, _default_entry(full["solidus"]["value"], "K", "the solidus"))


def _fill_resistivity(full: dict, base: str) -> None:
    slope, jump = BASE_METALS[base]
    rho = 1 / full["conductivity"]["value"]
    if "resistivity" not in full:
        full.setdefault("temperature_coefficient", {"temperature": ROOM_TEMPERATURE, **_default_entry(
            slope / rho, "1/K", f"rising by {slope:g} ohm m per kelvin, as {base}; that the coefficient goes with conductivity: "
            "J. H. Dellinger, Bull. Bur. Stand. 7 (1911)")})
    solidus, liquidus = full["solidus"]["value"], max(full["liquidus"]["value"], full["solidus"]["value"] + MIN_MELTING_RANGE)
    if "resistivity" in full:
        table = full["resistivity"]
        hot = value_at(tuple(zip(table["temperature"], table["value"], strict=True)), solidus)
    else:
        hot = rho * (1 + full["temperature_coefficient"]["value"] * (solidus - ROOM_TEMPERATURE))
    full.setdefault("liquid_resistivity", {"temperature": liquidus, **_default_entry(
        hot + jump, "ohm m", f"the solid's at the solidus and {jump:g} ohm m, what melting adds to {base}")})
    full.setdefault("liquid_resistivity_slope", _default_entry(slope, "ohm m/K", f"as solid {base}"))


def _default_entry(value: float, unit: str, reason: str) -> dict:
    return {"value": value, "unit": unit, **_default_source(reason)}


def _default_source(reason: str) -> dict:
    return {"source": f"no source: default, {reason}", "mark": "common-practice"}


def extrapolation_notes(data: Mapping) -> list[str]:
    """Sentences on what is extrapolated beyond the points of a data file: heat capacity and resistivity of the solid up to the solidus."""
    if "solidus" not in data:
        return []
    solidus = data["solidus"]["value"]
    notes = []
    for key in ("heat_capacity", "resistivity"):
        if key in data:
            first, last = data[key]["temperature"][0], data[key]["temperature"][-1]
            property_name = key.replace("_", " ")
            if last < solidus:
                notes.append(
                    f"{property_name}: table ends at {last:g} K; constant from there to the solidus at {solidus:g} K (extrapolated)"
                )
            if first > TABLE_START:
                notes.append(f"{property_name}: table begins at {first:g} K; constant from there down to {TABLE_START:g} K (extrapolated)")
    if "temperature_coefficient" in data:
        notes.append(f"resistivity: straight line from {TABLE_START:g} K to the solidus at {solidus:g} K by one coefficient at "
                     f"{ROOM_TEMPERATURE} K (extrapolated)")
    return notes
