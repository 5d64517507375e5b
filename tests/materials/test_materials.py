"""Metals: every number has a source, and wrong ones are refused with a remedy."""
import math
import subprocess
import sys
import tomllib

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.materials import material_data
from fieldsolve.materials.data_file import MARKS, NUMBER_BOUNDS, TEXT_KEYS
from fieldsolve.materials.flow_stress import JohnsonCook
from fieldsolve.materials.mechanical import Mechanical, mechanical_from_data, with_cold_work
from fieldsolve.materials.shipped_data import DATA

SHEETS = {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in sorted(DATA.glob("*.toml"))}


@pytest.mark.parametrize("data", SHEETS.values(), ids=SHEETS)
def test_every_number_has_unit_source_and_mark(data):
    for key, entry in data.items():
        if key in TEXT_KEYS:
            continue
        unit, *_ = NUMBER_BOUNDS[key]
        assert entry["unit"] == unit
        assert all(math.isfinite(v) and v >= 0 for v in np.atleast_1d(entry["value"]))
        assert len(entry["source"]) > 10
        assert entry["mark"] in MARKS
        assert "no source" not in entry["source"] or entry["mark"] == "common-practice"


@pytest.mark.parametrize("data", SHEETS.values(), ids=SHEETS)
def test_conductivity_is_that_of_a_metal_at_room_temperature(data):
    assert 1e6 < data["conductivity"]["value"] < 6.4e7
    assert data["conductivity"]["temperature"] == 293.15


@pytest.mark.parametrize(("name", "law"), [      # A, B in MPa, n, C, m, T_m in K: G. R. Johnson, W. H. Cook (1983), table 1
    ("copper", (90, 292, 0.31, 0.025, 1.09, 1356)), ("brass C260", (112, 505, 0.42, 0.009, 1.68, 1189)),
    ("nickel 200", (163, 648, 0.33, 0.006, 1.44, 1726)), ("steel 1010", (350, 275, 0.36, 0.022, 1.00, 1811)),
])
def test_flow_stress_is_the_published_fit(name, law):
    flow = fs.material(name, relative_permeability=1.0).mechanical.flow_stress
    assert (flow.initial / 1e6, flow.hardening / 1e6, flow.exponent, flow.rate, flow.thermal, flow.melting) == law
    assert (flow.reference_rate, flow.reference_temperature, flow.scale) == (1.0, 293.15, 1.0)


def test_cupronickel_necks_at_its_tensile_strength():
    """360 MPa over the first section where dS/de = S (Considere); the strength is from memory."""
    law = fs.material("C713").mechanical.flow_stress
    strain = np.linspace(0.01, 1.0, 100_000)
    stress = law.initial + law.hardening * strain**law.exponent
    assert np.max(stress * np.exp(-strain)) == pytest.approx(360e6, rel=1e-3)


@pytest.mark.parametrize("name", ["copper", "brass C260", "nickel", "silver", "C713", "1100-O", "304"])
def test_hard_metal_is_annealed_metal_strained_before(name):
    soft, hard = (fs.material(name, relative_permeability=1.0, temper=temper).mechanical for temper in ("soft", "hard"))
    law, worked = soft.flow_stress, hard.flow_stress
    spent = ((worked.initial - law.initial) / law.hardening) ** (1 / law.exponent)
    strain = np.linspace(0.0, 1.0, 101)
    assert worked.initial == material_data(name)["yield_hard"]["value"]
    assert worked.initial + worked.hardening * strain**worked.exponent == pytest.approx(
        law.initial + law.hardening * (spent + strain) ** law.exponent, rel=0.01)
    assert hard.ductility < soft.ductility


@pytest.mark.parametrize("name", ["6061-T6", "steel 1010"])
def test_a_metal_of_one_temper_has_no_other(name):
    for temper in ("soft", "hard"):
        with pytest.raises(InputError, match="one temper only"):
            fs.material(name, relative_permeability=1.0, temper=temper)


def test_unknown_temper_and_a_metal_that_cannot_be_hardened():
    with pytest.raises(InputError, match="'soft' or 'hard'"):
        fs.material("copper", temper="annealed")
    with pytest.raises(InputError, match="above the annealed metal's 90 MPa"):
        with_cold_work(fs.material("copper").mechanical, 80e6)


LAW = {"initial": 90e6, "hardening": 292e6, "exponent": 0.31, "rate": 0.025, "thermal": 1.09, "reference_rate": 1.0,
       "reference_temperature": 293.15, "melting": 1356.0}
BODY = {"density": 8940.0, "youngs_modulus": 117e9, "poissons_ratio": 0.343, "flow_stress": JohnsonCook(**LAW), "ductility": (0.3, 0.5)}


@pytest.mark.parametrize(("change", "words"), [
    ({"initial": 0.0}, "initial"), ({"hardening": -1.0}, "hardening"), ({"exponent": 1.5}, "at most 1"), ({"rate": math.nan}, "rate"),
    ({"thermal": math.inf}, "thermal"), ({"reference_rate": True}, "reference_rate"), ({"melting": 200.0}, "above reference_temperature"),
    ({"scale": 0.0}, "scale"), ({"initial": "90 MPa"}, "finite number"),
])
def test_flow_stress_is_checked(change, words):
    with pytest.raises(InputError, match=words):
        JohnsonCook(**{**LAW, **change})


@pytest.mark.parametrize(("change", "words"), [
    ({"density": 0.0}, "density"), ({"youngs_modulus": math.nan}, "youngs_modulus"), ({"poissons_ratio": 0.5}, "below 0.5"),
    ({"flow_stress": 90e6}, "flow-stress law"),
    ({"ductility": 0.3}, "two logarithmic strains"), ({"ductility": (0.5, 0.3)}, "not be above"),
    ({"ductility": (0.3, math.nan)}, "ductility"), ({"taylor_quinney": 1.1}, "at most 1"), ({"taylor_quinney": 0}, "taylor_quinney"),
])
def test_mechanical_data_are_checked(change, words):
    with pytest.raises(InputError, match=words):
        Mechanical(**{**BODY, **change})


def test_own_metal_takes_mechanical_data_and_their_density():
    assert fs.Material(conductivity=1e7).mechanical is None
    assert fs.Material(conductivity=1e7, mechanical=Mechanical(**BODY)).density == 8940.0
    with pytest.raises(InputError, match=r"density = 8000 .* 8940"):
        fs.Material(conductivity=1e7, density=8000.0, mechanical=Mechanical(**BODY))
    with pytest.raises(InputError, match=r"expected a Mechanical"):
        fs.Material(conductivity=1e7, mechanical=BODY)


def test_half_a_set_of_mechanical_numbers_names_the_rest():
    with pytest.raises(InputError, match="flow_stress_rate missing"):
        mechanical_from_data({key: entry for key, entry in material_data("copper").items() if key != "flow_stress_rate"})


def test_no_two_metals_share_a_spelling():
    spellings = [s.casefold() for data in SHEETS.values() for s in (data["name"], *data["aliases"])]
    assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize(("name", "resistivity"), [                    # ohm m at 293.15 K, the sources are in the data files
    ("copper", 1.7241e-8), ("aluminium 1100-O", 2.92e-8), ("6061-T6", 4.01e-8), ("brass C260", 6.16e-8), ("C713", 32e-8),
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
    with pytest.raises(InputError, match=r"known are .*copper.*NAME\.toml"):
        fs.material("qqqqqq")
    with pytest.raises(InputError, match="expected a name"):
        fs.material(None)


@pytest.mark.parametrize("name", ["steel 1010", "nickel 200", "iron"])
def test_magnetic_metal_has_a_curve_or_the_permeability_it_is_given(name):
    assert fs.material(name).is_magnetic
    assert fs.material(name).bh_curve is not None
    given = fs.material(name, relative_permeability=200)
    assert (given.relative_permeability, given.bh_curve) == (200.0, None)
    assert not fs.material("copper").is_magnetic


def test_sheet_names_the_source_and_is_a_copy():
    data = material_data("C260")
    assert data["conductivity"]["mark"] == "read"
    data["conductivity"]["value"] = 0.0
    assert fs.material("C260").conductivity > 1e7


def test_names_are_unique_and_can_be_looked_up():
    names = fs.material_names()
    assert len(names) == len(set(names)) == len(SHEETS)
    assert all(material_data(name)["name"] == name for name in names)


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
