"""What 10 % of each number known from memory only moves in a shot: radius of the blank, its temperature, the coil's strain.

`python -m benchmarks.studies.influence FILE` computes what is missing in FILE, for instance fieldsolve/materials/data/influence.json,
and writes it after each number; it takes half an hour.
"""
from __future__ import annotations

import copy
import functools
import json
import math
import sys
import warnings
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import FieldError, InputError
from fieldsolve.files import write_atomically
from fieldsolve.materials import material_data, material_names
from fieldsolve.materials.catalogue import material_from_data
from fieldsolve.materials.influence import CHANGE
from fieldsolve.materials.mechanical import with_cold_work

ACCURACY = 3e-2                     # of the shots; both of a difference have the same cells and steps
VOLTAGE, END_TIME = 5e3, 30e-6


def main() -> None:
    path = Path(sys.argv[1])
    found = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    warnings.simplefilter("ignore")
    for name, key, law in unconfirmed_numbers():
        if key not in found.get(name, {}):
            try:
                found.setdefault(name, {})[key] = influence(name, key, law)
            except FieldError as error:
                print(f"{name}: {key}: {error}", file=sys.stderr)
                continue
            text = json.dumps(found, indent=1, sort_keys=True) + "\n"
            write_atomically(path, lambda partial, text=text: partial.write_text(text, encoding="utf-8"))


def unconfirmed_numbers() -> Iterator[tuple[str, str, str | None]]:
    """Metal, key, and the law of flow stress that reads the key, None for the metal's own."""
    for name in material_names():
        for key, entry in material_data(name).items():
            if isinstance(entry, dict) and entry["mark"] == "from-memory":
                yield name, key, "zerilli-armstrong" if key.startswith("zerilli") else None


def influence(name: str, key: str, law: str | None) -> dict[str, float]:
    """Relative changes of the final radius, of the temperature's rise and of the strain over what breaks, for CHANGE of the number."""
    hard = key == "yield_hard"
    changed, metal = _changed(name, key, law, hard)
    before, after = _unchanged(name, law, hard), _results(metal, changed)
    return {quantity: round(abs(after[quantity] - before[quantity]) / max(abs(before[quantity]), 1e-12), 6) for quantity in before}


@functools.cache
def _unchanged(name: str, law: str | None, hard: bool) -> dict[str, float]:
    return _results(_metal(material_data(name), law, hard), material_data(name))


def _changed(name: str, key: str, law: str | None, hard: bool) -> tuple[dict, fs.Material]:
    """Data and metal with a number, or each of a table's, more by CHANGE; less where more makes no metal: a solidus above its liquidus."""
    for factor in (1 + CHANGE, 1 - CHANGE):
        data = copy.deepcopy(material_data(name))
        value = data[key]["value"]
        data[key]["value"] = [factor * one for one in value] if isinstance(value, list) else factor * value
        try:
            return data, _metal(data, law, hard)
        except InputError as error:
            refused = error
    raise refused


def _metal(data: dict, law: str | None, hard: bool) -> fs.Material:
    metal = material_from_data(data, law)
    if not hard or data["temper"] != "annealed":
        return metal
    return replace(metal, mechanical=with_cold_work(metal.mechanical, data["yield_hard"]["value"]))


def _results(metal: fs.Material, data: dict) -> dict[str, float]:
    """Of a coil and a blank of this metal; every number of the rig is invented."""
    coil = geo.solenoid(turns=6, bore_radius=10.6e-3, wire_diameter=2.5e-3, pitch=2.8e-3, material=metal)
    disc = geo.disc(radius=10e-3, thickness=2e-3, material=metal)
    bank = fs.Bank(capacitance=60e-6, voltage=VOLTAGE, resistance=6e-3, inductance=250e-9, arc_voltage=80.0)
    shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=END_TIME, accuracy=ACCURACY, error_bounds=False)
    strain = shot.series("outer_radius", "coil")
    return {"radius": float(shot.radius_ratio("disc")), "temperature": float(shot.peak("temperature", "disc")) - 293.15,
            "burst": math.log(max(strain) / strain[0]) / data["ductility"]["value"][0] if "ductility" in data else 0.0}


if __name__ == "__main__":
    main()
