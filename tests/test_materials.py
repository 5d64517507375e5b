"""Metals: every number has a source, and wrong ones are refused with a remedy."""
import math
import subprocess
import sys
import tomllib

import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.materials.material import DATA, material_sheet

SI_UNITS = {                                             # every number a data file may hold, and its unit
    "conductivity": "S/m", "density": "kg/m^3", "heat_capacity": "J/(kg K)", "solidus": "K", "liquidus": "K", "heat_of_fusion": "J/kg",
    "liquid_heat_capacity": "J/(kg K)", "boiling": "K", "heat_of_vaporisation": "J/kg", "resistivity": "ohm m",
    "temperature_coefficient": "1/K", "liquid_resistivity": "ohm m", "liquid_resistivity_slope": "ohm m/K",
}
TABLES = ("heat_capacity", "resistivity")                # of these, values and temperatures are lists of one length
PLAIN_KEYS = {"name": str, "aliases": list, "magnetic": bool}
NUMBER_KEYS = {"value", "unit", "source", "mark", "temperature"}
MARKS = {"read", "from-memory", "computed", "common-practice"}
SHEETS = {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(DATA.glob("*.toml"))}


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
def test_every_number_has_unit_source_and_mark(sheet):
    for key, entry in sheet.items():
        if key in PLAIN_KEYS:
            assert isinstance(entry, PLAIN_KEYS[key])
            continue
        assert key in SI_UNITS, f"unknown key {key}"
        assert set(entry) <= NUMBER_KEYS
        assert entry["unit"] == SI_UNITS[key]
        if key in TABLES:
            assert len(entry["value"]) == len(entry["temperature"]) > 1
            assert entry["temperature"] == sorted(set(entry["temperature"]))
        assert all(math.isfinite(v) and v >= 0 for v in (entry["value"] if key in TABLES else [entry["value"]]))
        assert len(entry["source"]) > 10
        assert entry["mark"] in MARKS
        assert "no source" not in entry["source"] or entry["mark"] == "common-practice"


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
def test_conductivity_is_that_of_a_metal_at_room_temperature(sheet):
    assert 1e6 < sheet["conductivity"]["value"] < 6.4e7
    assert sheet["conductivity"]["temperature"] == 293.15


def test_no_two_metals_share_a_spelling():
    spellings = [s.casefold() for sheet in SHEETS.values() for s in (sheet["name"], *sheet["aliases"])]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize(("name", "resistivity"), [                    # ohm m at 293.15 K, the sources are in the data files
    ("copper", 1.7241e-8), ("aluminium 1100-O", 2.92e-8), ("6061-T6", 4.01e-8), ("brass C260", 6.16e-8), ("C713", 34e-8),
    ("silver", 1.59e-8), ("stainless 304", 72e-8),
])
def test_conductivity_is_the_inverse_of_the_published_resistivity(name, resistivity):
    assert fs.material(name).conductivity == pytest.approx(1 / resistivity, rel=5e-4)


def test_copper_has_a_hundred_percent_of_the_annealed_copper_standard():
    assert fs.material("copper").conductivity == 58.0e6


def test_found_by_alias_in_any_case_and_spacing():
    assert fs.material("  75/25  CUPRONICKEL ") == fs.material("c713") == fs.material("cupronickel 75/25")


def test_unknown_name_offers_the_nearest():
    with pytest.raises(InputError, match=r"'coppr'.*did you mean 'copper'"):
        fs.material("coppr")
    with pytest.raises(InputError, match=r"known are .*copper.*Material\("):
        fs.material("qqqqqq")
    with pytest.raises(InputError, match="expected a name"):
        fs.material(None)


@pytest.mark.parametrize("name", ["steel 1010", "nickel 200"])
def test_magnetic_metal_needs_a_permeability(name):
    with pytest.raises(InputError, match="magnetic; give relative_permeability="):
        fs.material(name)
    assert fs.material(name, relative_permeability=200).relative_permeability == 200.0


def test_sheet_names_the_source_and_is_a_copy():
    sheet = material_sheet("C260")
    assert sheet["conductivity"]["mark"] == "read"
    sheet["conductivity"]["value"] = 0.0
    assert fs.material("C260").conductivity > 1e7


def test_names_are_unique_and_can_be_looked_up():
    names = fs.material_names()
    assert len(names) == len(set(names)) == len(SHEETS)
    assert all(material_sheet(name)["name"] == name for name in names)


@pytest.mark.parametrize(("keywords", "words"), [
    ({}, "conductivity is missing"),
    ({"conductivity": -1.0}, "must be 0 or more"),
    ({"conductivity": math.nan}, "conductivity"),
    ({"conductivity": math.inf}, "finite"),
    ({"conductivity": 2**2000}, "finite"),
    ({"conductivity": "58 MS/m"}, "finite number"),
    ({"conductivity": True}, "finite number"),
    ({"conductivity": 1e6, "relative_permeability": 0.0}, "larger than 0"),
    ({"conductivity": 1e6, "relative_permeability": math.nan}, "finite"),
    ({"conductivity": 1e6, "remanence": math.inf}, "remanence"),
    ({"conductivity": 1e6, "name": ""}, "name"),
])
def test_own_metal_is_checked_on_construction(keywords, words):
    with pytest.raises(InputError, match=words):
        fs.Material(**keywords)


def test_own_metal_holds_plain_floats_and_cannot_be_changed():
    metal = fs.Material(name="magnet", conductivity=0, relative_permeability=1.05, remanence=-1.2)
    assert isinstance(metal.conductivity, float)
    assert metal.remanence == -1.2
    with pytest.raises(AttributeError):
        metal.conductivity = 1.0


@pytest.mark.parametrize(("statement", "heavy"), [
    ("pass", ("numpy", "scipy", "pint", "matplotlib", "gmsh", "skfem", "shapely", "meshio")),
    ("fs.material('copper')", ("scipy", "pint", "matplotlib", "gmsh", "skfem", "shapely", "meshio")),
])
def test_importing_the_package_and_a_metal_loads_nothing_heavy(statement, heavy):
    code = f"import sys, fieldsolve as fs; {statement}; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]", out.stdout
