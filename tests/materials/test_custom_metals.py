"""Metals of one's own: from a file, from four numbers, from a measured disc, and on the command line."""
import json
import math
import re
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.studies.influence import influence
from fieldsolve.cases.case_file import read_case
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError
from fieldsolve.materials import material_data
from fieldsolve.materials.catalogue import custom_material_data
from fieldsolve.materials.data_file import BASE_METALS, NUMBER_BOUNDS, check_material_data, extrapolation_notes, read_material_data
from fieldsolve.materials.heat_content import action_integral, heat_content
from fieldsolve.materials.influence import FILE as INFLUENCE_FILE
from fieldsolve.materials.influence import influence_of
from fieldsolve.materials.shipped_data import DATA

SOURCE = {"source": "invented for a test", "mark": "given"}


def entry(value, unit, **more):
    return {"value": value, "unit": unit, **SOURCE, **more}


OWN = {"name": "coin alloy", "conductivity": entry(16.5, "% IACS"), "density": entry(8.0, "g/cm^3"), "solidus": entry(1010.0, "degC"),
       "liquidus": entry(1313.0, "K"), "yield_soft": entry(150.0, "MPa")}


def toml(data: dict) -> str:
    lines = [f"{key} = {json.dumps(value)}" for key, value in data.items() if not isinstance(value, dict)]
    for key, value in data.items():
        if isinstance(value, dict):
            lines += [f"[{key}]", *(f"{word} = {json.dumps(part)}" for word, part in value.items())]
    return "\n".join(lines)


@pytest.fixture
def own_file(tmp_path) -> Path:
    path = tmp_path / "own.toml"
    path.write_text(toml(OWN), encoding="utf-8")
    return path


@pytest.mark.parametrize("path", sorted(DATA.glob("*.toml")), ids=lambda path: path.stem)
def test_the_package_keeps_to_the_rules_of_own_files_and_writes_si(path):
    assert read_material_data(path) == {key: value for key, value in material_data(read_material_data(path)["name"]).items()}


def test_own_file_in_other_units_is_read_in_si_with_defaults_marked(own_file):
    metal, data = fs.read_material(own_file), custom_material_data(own_file)
    assert metal.conductivity == pytest.approx(16.5 * 0.58e6, rel=1e-12)
    assert metal.density == pytest.approx(8000.0, rel=1e-12)
    assert metal.thermal.melting[0] == pytest.approx(1283.15, rel=1e-9)
    assert metal.mechanical.flow_stress.initial == 150e6
    assert set(metal.assumed) == set(data) - set(OWN) - {"temper"}
    assert all(data[key]["mark"] == "common-practice" and "no source: default" in data[key]["source"] for key in metal.assumed)


def test_four_numbers_make_an_alloy_that_heats_and_moves():
    alloy = fs.alloy("coin alloy", iacs=16.5, density=8000.0, melting=(1283.0, 1313.0), yield_stress=150e6)
    # trade notes, section 8.5, of CuAl5Zn5Sn1: 2.3e16 A^2 s/m^4 to the solidus, good to 5 to 10 %; its inputs are estimates
    assert action_integral(alloy, 1283.0) == pytest.approx(2.3e16, rel=0.15)
    h = np.linspace(0.0, heat_content(alloy).enthalpy(3000.0), 400)
    assert np.all(np.diff(heat_content(alloy).temperature(h)) > 0)
    assert alloy.mechanical.density == alloy.density
    assert {"heat_capacity", "temperature_coefficient", "flow_stress_hardening", "boiling"} <= set(alloy.assumed)
    assert "conductivity" not in alloy.assumed


def test_resistivity_of_an_alloy_rises_as_much_as_its_base_metal():
    # J. H. Dellinger, Bull. Bur. Stand. 7 (1911): the rise in ohm metres per kelvin is that of the pure metal
    alloy = heat_content(fs.alloy("bronze", iacs=15.0, density=8860.0, melting=(1223.0, 1323.0), yield_stress=130e6))
    assert alloy.resistivity(393.15) - alloy.resistivity(293.15) == pytest.approx(100 * 1.7241e-8 * 0.00393, rel=2e-3)


def test_a_light_alloy_is_taken_for_one_of_aluminium():
    light = fs.alloy("light", iacs=43.0, density=2700.0, melting=(855.0, 925.0), yield_stress=55e6)
    assert light.thermal.boiling == fs.material("1100-O").thermal.boiling
    # trade notes, section 8.5, of 6061-T6 at 43 % IACS: 2.1e16 A^2 s/m^4 to the solidus, good to 5 to 10 %
    assert action_integral(light, 855.0) == pytest.approx(2.1e16, rel=0.15)


def test_the_bases_of_defaults_are_metals_of_the_package():
    assert set(BASE_METALS) <= set(fs.material_names())


def test_without_a_yield_stress_an_alloy_does_not_move_and_by_conductivity_alone_it_does_not_heat():
    still = {key: value for key, value in OWN.items() if key != "yield_soft"}
    assert metal_of(still).mechanical is None
    assert metal_of(still).thermal is not None
    assert metal_of({key: OWN[key] for key in ("name", "conductivity")}).thermal is None


def metal_of(data: dict):
    from fieldsolve.materials.catalogue import _with_defaults, material_from_data

    return material_from_data(_with_defaults(check_material_data(data, "own.toml")))


@pytest.mark.parametrize(("change", "words"), [
    ({"conductivity": None}, "conductivity missing"),
    ({"name": None}, "name missing"),
    ({"name": 3}, "expected a str"),
    ({"densty": entry(8.0, "g/cm^3")}, r"densty: not known; did you mean 'density'"),
    ({"density": entry(8.0, "kg/m^3")}, r"\[density\] value = 8 kg/m\^3: outside .* check the unit"),
    ({"density": entry(math.nan, "kg/m^3")}, "outside"),
    ({"density": entry("8", "kg/m^3")}, "expected a number"),
    ({"density": entry(8.0, "K")}, "density"),
    ({"density": {"value": 8000.0, "unit": "kg/m^3", "mark": "given"}}, "without source"),
    ({"density": {"value": 8000.0, "unit": "kg/m^3", "source": " ", "mark": "given"}}, "where the number comes from"),
    ({"density": {"value": 8000.0, "unit": "kg/m^3", "source": "x", "mark": "sure"}}, "mark = 'sure': expected one of"),
    ({"density": entry(8000.0, "kg/m^3", note="x")}, "note: not known"),
    ({"density": None}, "density missing"),
    ({"heat_capacity": entry([385.0, 400.0], "J/(kg K)", temperature=[400.0, 300.0])}, "temperature rising"),
    ({"heat_capacity": entry([385.0], "J/(kg K)", temperature=[300.0, 400.0])}, "one length"),
    ({"heat_capacity": entry([385.0, -400.0], "J/(kg K)", temperature=[300.0, 400.0])}, "outside"),
    ({"heat_capacity": entry([385.0, 400.0], "J/(kg K)")}, "without temperature"),
    ({"density": entry(8000.0, "kg/m^3", temperature="293.15 K")}, r"\[density\] temperature = '293.15 K': expected a number of kelvin"),
    ({"density": entry(8000.0, "kg/m^3", temperature=-20.0)}, "above 0, such as 293.15"),
    ({"density": entry(8000.0, "kg/m^3", temperature=math.nan)}, "expected a number of kelvin"),
    ({"heat_of_fusion": entry(-2e5, "J/kg")}, "outside"),
    ({"liquidus": entry(1200.0, "K")}, "in this order"),
    ({"boiling": entry(1300.0, "K")}, "must be above"),
    ({"ductility": entry([0.5, 0.3], "1")}, r"expected \[low, high\]"),
])
def test_a_wrong_file_is_refused_with_key_and_remedy(change, words):
    data = {key: value for key, value in {**OWN, **change}.items() if value is not None}
    with pytest.raises(InputError, match=words):
        metal_of(data)


@pytest.mark.parametrize(("keywords", "words"), [
    ({"iacs": 165.0}, "conductivity.*outside"), ({"density": 8.0}, "density.*outside"), ({"melting": 1283.0}, "solidus, liquidus"),
    ({"melting": (1313.0, 1283.0)}, "in this order"), ({"yield_stress": 150}, "yield_soft.*outside"), ({"iacs": math.nan}, "outside"),
    ({"density": "8000"}, "expected a number"),
])
def test_wrong_numbers_of_an_alloy_are_refused(keywords, words):
    good = {"iacs": 16.5, "density": 8000.0, "melting": (1283.0, 1313.0), "yield_stress": 150e6}
    with pytest.raises(InputError, match=words):
        fs.alloy("coin alloy", **{**good, **keywords})


def test_unreadable_files(tmp_path):
    with pytest.raises(InputError, match=r"no such material file.*give the path"):
        fs.read_material(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("name = ", encoding="utf-8")
    with pytest.raises(InputError, match="not valid TOML"):
        fs.read_material(tmp_path / "bad.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        fs.read_material(tmp_path / "bytes.toml")


def test_what_is_drawn_on_beyond_a_table_is_said():
    notes = " ".join(extrapolation_notes(material_data("stainless 304")))
    assert "table ends at 1500 K; constant from there to the solidus at 1673 K (extrapolated)" in notes
    assert "one coefficient" in " ".join(extrapolation_notes(material_data("C260")))
    assert not [note for note in extrapolation_notes(material_data("copper")) if "ends" in note]


def test_measured_disc_follows_van_der_pauw():
    # L. J. van der Pauw (1958): exp(-pi t R_1/rho) + exp(-pi t R_2/rho) = 1, with R_1 = R_2 by symmetry
    metal = fs.measured_disc(fs.material("C260"), resistance=7.0e-6, thickness=2e-3)
    assert 2 * math.exp(-math.pi * 2e-3 * 7.0e-6 * metal.conductivity) == pytest.approx(1.0, rel=1e-12)
    assert replace(metal, conductivity=fs.material("C260").conductivity) == fs.material("C260")
    for resistance, thickness in ((0.0, 2e-3), (7e-6, -1.0), (math.nan, 2e-3), (7e-6, True), (1e-9, 2e-3)):
        with pytest.raises(InputError, match="measured"):
            fs.measured_disc(metal, resistance, thickness)


CASE = """
[coil]
shape = "solenoid"
turns = 4
bore_radius = "16 mm"
wire_diameter = "3 mm"
pitch = "3.3 mm"
material = "copper"
temper = "hard"

[disc]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
{disc}
"""


@pytest.fixture
def disc_of(tmp_path, own_file):
    def read(lines: str):
        (tmp_path / "case.toml").write_text(CASE.format(disc=lines), encoding="utf-8")
        return read_case(tmp_path / "case.toml").parts
    return read


def test_a_case_file_takes_own_file_temper_and_measured_resistance(disc_of, own_file):
    coil, disc = disc_of('material = "own.toml"\nmeasured_resistance = "10 uohm"')
    assert coil.zones[0].material == fs.material("copper", temper="hard")
    assert disc.zones[0].material == fs.measured_disc(fs.read_material(own_file), 10e-6, 2e-3)


@pytest.mark.parametrize(("lines", "words"), [
    ('material = "own.toml"\ntemper = "hard"', r"\[disc\] temper = 'hard': is for a metal by name"),
    ('material = "none.toml"', "no such material file"),
    ('material = "copper"\nmeasured_resistance = "10 uohm"\nconductivity = "5 MS/m"', "say the same twice"),
    ('material = "copper"\nmeasured_resistance = "10 mm"', "measured_resistance"),
    ('material = "copper"\ntemper = "warm"', "'soft' or 'hard'"),
])
def test_wrong_metals_in_a_case_file(disc_of, lines, words):
    with pytest.raises(InputError, match=words):
        disc_of(lines)


def test_command_lists_every_metal(capsys):
    assert main(["materials"]) == 0
    out = capsys.readouterr().out
    assert all(name in out for name in fs.material_names())


def test_command_prints_every_number_with_source_and_draws(capsys, tmp_path):
    figure = tmp_path / "copper.png"
    assert main(["materials", "c110", "--figure", str(figure), "--json", str(tmp_path / "copper.json")]) == 0
    out, data = " ".join(capsys.readouterr().out.split()), material_data("copper")           # wherever lines are broken
    assert all(" ".join(value["source"].split()) in out and value["mark"] in out for value in data.values() if isinstance(value, dict))
    assert "A charged bank kills" in out
    assert figure.read_bytes().startswith(b"\x89PNG")
    written = json.loads((tmp_path / "copper.json").read_text())
    assert written.pop("provenance")["program"].startswith("fieldsolve ")
    assert written == data


def test_command_shows_an_own_metal_with_its_defaults(capsys, own_file):
    assert main(["materials", str(own_file)]) == 0
    assert "common-practice: no source: default, that of copper" in capsys.readouterr().out


def test_command_lists_exactly_what_is_from_memory_and_that_is_little(capsys):
    assert main(["materials", "--unconfirmed"]) == 0
    printed = capsys.readouterr().out.replace("\n    ", " ")                                  # a number's further lines stand deeper
    lines = [line for line in printed.splitlines() if line.startswith("  ")]
    memory = [key for name in fs.material_names() for key, value in material_data(name).items()
              if isinstance(value, dict) and value["mark"] == "from-memory"]
    assert len(lines) == len(memory) <= 100
    assert all(key in NUMBER_BOUNDS for key in memory)
    changes = [max(map(float, re.findall(r"([\d.]+) %", line[line.index("["):line.index("]")])), default=0.0) for line in lines]
    assert changes == sorted(changes, reverse=True) and changes[0] > 1.0


def test_influences_are_of_numbers_from_memory():
    computed = json.loads(INFLUENCE_FILE.read_text(encoding="utf-8"))
    for name, keys in computed.items():
        assert {material_data(name)[key]["mark"] for key in keys} == {"from-memory"}


@pytest.mark.slow
def test_an_influence_comes_out_again():
    computed = influence("aluminium 1100-O", "flow_stress_initial", None)
    assert computed == pytest.approx(asdict(influence_of("aluminium 1100-O", "flow_stress_initial")), rel=0.05, abs=2e-3)


@pytest.mark.parametrize(("arguments", "words"), [
    (["coppr"], "did you mean 'copper'"), (["--figure", "a.png"], "is for one metal"), (["copper", "--unconfirmed"], "lists all metals"),
    (["copper", "--figure", "a.doc"], "must end in"), (["none.toml"], "no such material file"),
])
def test_command_refuses_in_one_line(capsys, arguments, words):
    assert main(["materials", *arguments]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1
