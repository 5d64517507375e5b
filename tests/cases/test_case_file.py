"""Case files: what they give, and what is refused with the table, the key and the nearest name."""
import copy
import dataclasses
import datetime
import math
import pickle
import tomllib
from pathlib import Path

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cases.case_file import read_case
from fieldsolve.cases.field_table import FieldSettings
from fieldsolve.cases.part_tables import SHAPES
from fieldsolve.cases.shot_tables import RunSettings
from fieldsolve.cases.toml_text import write_toml
from fieldsolve.circuit.bank import Bank, Leads
from fieldsolve.errors import GeometryError, InputError
from fieldsolve.materials import material

COPPER_FILE = Path(fs.__file__).parent / "materials" / "data" / "copper.toml"
RIG = """
[coil]
shape = "solenoid"
turns = 8
bore_radius = "15.6 mm"
wire_diameter = "3.0 mm"
pitch = "3.3 mm"
material = "copper"

[disc]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
material = "aluminium 1100-O"

[bank]
capacitance = "120 uF"
voltage = "6.5 kV"

[run]
end_time = "60 us"
"""
SMALLEST_CASES = {                                        # the keys each shape cannot do without
    "loop": 'radius = "10 mm"',
    "sheet": 'radius = "10 mm"\nlength = "20 mm"\nturns = 12.5',
    "solenoid": 'turns = 6\nlayers = 2\nbore_radius = "10 mm"\nwire_section = ["2 mm", "3 mm"]\npitch = "3.5 mm"\nlayer_pitch = "2.5 mm"',
    "spiral": 'turns = 3\ninner_radius = "10 mm"\nwire_diameter = "2 mm"\npitch = "2.5 mm"\nstranded = true\nfill = 0.8',
    "winding": 'inner_radius = "10 mm"\nouter_radius = "20 mm"\nheight = "10 mm"\nturns = 100\nfill = "70 %"',
    "disc": 'radius = "10 mm"\nthickness = "1 mm"\nat = "-3 mm"',
    "washer": 'radius = "10 mm"\nthickness = "1 mm"\nhole_radius = "3 mm"',
    "clad_disc": 'radius = "10 mm"\nlayers = [["1 mm", "copper"], [0.002, {material = "nickel", relative_permeability = 100}]]',
    "ring_and_core": 'radius = "10 mm"\nthickness = "1 mm"\ncore_radius = "3 mm"\nring = "copper"\ncore = "brass C260"',
    "tube": 'inner_radius = "10 mm"\nwall = "1 mm"\nlength = "20 mm"',
    "ring": 'radius = "10 mm"\nwire_diameter = "1 mm"',
    "plate": 'radius = "100 mm"\nthickness = "3 mm"',
    "cylinder": 'radius = "10 mm"\nlength = "20 mm"\nconductivity = "1 MS/m"\nremanence = "1.2 T"\nrelative_permeability = 1.05',
    "sphere": 'radius = "10 mm"\nmaterial = "steel 1010"\nrelative_permeability = 500',
    "spheroid": 'radial = "10 mm"\naxial = "20 mm"',
    "shell": 'inner_radius = "10 mm"\nouter_radius = "12 mm"\nmaterial = "copper"\nconductivity = "40 MS/m"',
}


@pytest.fixture
def read(tmp_path):
    def read_text(text):
        (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
        return read_case(tmp_path / "rig.toml")
    return read_text


def test_the_parts_are_those_a_script_would_build(read):
    coil, disc = read(RIG).parts
    assert coil == geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3)
    assert disc == geo.disc(radius=15e-3, thickness=2e-3)
    assert {zone.material for zone in coil.zones} == {material("copper")}
    assert disc.zones[0].material == material("aluminium 1100-O")


def test_tables_are_kept_as_written_and_read_once(read):
    case = read(RIG)
    assert case.text == RIG
    assert case.tables["bank"] == {"capacitance": "120 uF", "voltage": "6.5 kV"}
    assert case.banks == (Bank(120e-6, 6.5e3),)
    assert (case.run, case.currents, case.field) == (RunSettings(60e-6), {}, FieldSettings())
    assert (case.leads, case.crowbar, case.former, case.limits) == (Leads(), None, None, {})


def test_field_table_and_current(read):
    case = read(RIG.replace("turns = 8", 'turns = 8\ncurrent = "1.5 kA"')
                + '[field]\napplied_field = "0.1 T"\naccuracy = 1e-4\nfrequency = "10 kHz"\n')
    assert case.currents == {"coil": 1500.0}
    assert case.field == FieldSettings(0.1, 1e-4, (1e4,))


def test_every_shape_has_its_smallest_case():
    assert set(SMALLEST_CASES) == set(SHAPES)


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_built_and_named_as_its_table(read, shape):
    (part,) = read(f'[thing]\nshape = "{shape}"\n{SMALLEST_CASES[shape]}\n').parts
    assert (part.name, part.shape) == ("thing", shape)


def test_metals_of_layers_and_overridden_properties(read):
    layers = read(f'[a]\nshape = "clad_disc"\n{SMALLEST_CASES["clad_disc"]}').parts[0].zones
    assert [zone.material.name for zone in layers] == ["copper", "nickel"]
    assert layers[1].material.relative_permeability == 100.0
    magnet = read(f'[a]\nshape = "cylinder"\n{SMALLEST_CASES["cylinder"]}').parts[0].zones[0].material
    assert (magnet.conductivity, magnet.remanence, magnet.relative_permeability) == (1e6, 1.2, 1.05)
    copper = read(f'[a]\nshape = "shell"\n{SMALLEST_CASES["shell"]}').parts[0].zones[0].material
    assert (copper.name, copper.conductivity) == ("copper", 40e6)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("bore_radius =", "bore_radus =", r"rig\.toml: \[coil\] bore_radus = '15\.6 mm': unknown key; did you mean 'bore_radius'"),
    ('"15.6 mm"', '"15.6 kg"', r"\[coil\] bore_radius = '15\.6 kg': expected a length such as '15\.6 mm'"),
    ('"15.6 mm"', "true", r"bore_radius = True: expected a length"),
    ('"15.6 mm"', "nan", r"bore_radius = nan: must be a finite number"),
    ('"solenoid"', '"solenoyd"', r"\[coil\] shape = 'solenoyd': not known; did you mean 'solenoid'"),
    ('"solenoid"', "7", r"\[coil\] shape = 7: not known"),
    ('"copper"', '"coppr"', r"\[coil\] material = 'coppr': not known; did you mean 'copper'"),
    ('material = "copper"', 'relative_permeability = 2', r"\[coil\] custom metal: conductivity is missing"),
    ('material = "copper"', 'conductivity = "5 kg"', r"\[coil\] conductivity = '5 kg': expected a conductivity"),
    ('turns = 8', 'turns = "8 mm"', r"turns = '8 mm': expected a pure number"),
    ('turns = 8', 'turns = 8\nname = "x"', r"\[coil\] name = 'x': unknown key"),
    ('turns = 8', 'turns = 8\nstranded = 1', r"stranded = 1: expected true or false"),
    ('turns = 8', 'turns = 8\nwire_section = "2 mm"', r"wire_section = '2 mm': expected a pair"),
    ('turns = 8', 'turns = 8\ncurrent = "1 kV"', r"\[coil\] current = '1 kV': expected a current such as"),
    ('radius = "15 mm"\n', "", r"\[disc\]: a disc needs radius; add radius"),
    ("[bank]", "[bnak]", r"\[bnak\]: .*did you mean 'bank'"),
    ("[bank]", "[bank", r"rig\.toml: not valid TOML: .*line 16"),
    ("[bank]", "[disc]", r"not valid TOML: .*disc"),
    ("\n[coil]", 'title = "x"\n[coil]', r"title = 'x': stands outside a table"),
    ("\n[coil]", 'case = "rig.toml"\n[coil]', r"this is the file of a sweep, and its case is 'rig.toml': give that, or `fieldsolve sweep`"),
    ("\n[coil]", 'case = "rig.toml"\n[vary]\n[coil]', r"this is the file of a design, .*`fieldsolve design` this file"),
    ("[bank]", "[field]\napplied_feld = 1\n[bank]", r"\[field\] applied_feld = 1: unknown key; did you mean 'applied_field'"),
    ("[bank]", "[field]\naccuracy = 0\n[bank]", r"\[field\] accuracy = 0: must be larger than 0"),
    ("[bank]", "[field]\nfrequency = 0\n[bank]", r"\[field\] frequency = 0: must be larger than 0"),
])
def test_wrong_input_is_named_with_its_remedy(read, old, new, words):
    assert old in RIG
    with pytest.raises(InputError, match=words):
        read(RIG.replace(old, new, 1))


def test_a_part_that_cannot_exist_is_named(read):
    with pytest.raises(GeometryError, match=r"rig\.toml: \[coil\] .*pitch"):
        read(RIG.replace('"3.3 mm"', '"2 mm"'))


def test_a_line_source_takes_no_metal(read):
    with pytest.raises(InputError, match=r"\[coil\] material = 'copper': unknown key"):
        read('[coil]\nshape = "loop"\nradius = "10 mm"\nmaterial = "copper"')


def test_no_part_missing_file_and_binary_file(read, tmp_path):
    with pytest.raises(InputError, match="no part"):
        read("[bank]\nvoltage = 1\n")
    with pytest.raises(InputError, match="no such case file"):
        read_case(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match="no such case file"):
        read_case(tmp_path)
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_case(tmp_path / "binary.toml")


# ---- a dictionary ----------------------------------------------------------------------------------------------------------

TABLES = {
    "coil": {"shape": "solenoid", "turns": np.int64(8), "bore_radius": 15.6e-3, "wire_diameter": np.float64(3e-3), "pitch": "3.3 mm",
             "material": "copper", "conductivity": "50 MS/m"},
    "the disc.1": {"shape": "clad_disc", "radius": "10 mm", "layers": (("1 mm", "copper"), ["2 mm", {"conductivity": 1e6}])},
    "bank": {"capacitance": 120e-6, "voltage": "6.5 kV"}, "run": {"end_time": 60e-6, "motion": np.bool_(False)},
    "bleeder": {"tested": datetime.date(2026, 3, 31)}, "field": {"frequency": ["1 kHz", 2e3]},
}


def test_a_dictionary_is_read_as_a_file_is(read):
    case = fs.read_case(TABLES)
    again = read(case.to_toml())
    assert (case.name, again.name) == ("case", "rig.toml")
    assert case == again and case.parts == again.parts and case.banks == again.banks
    assert case.section.part("coil").turns == 8 and case.run == RunSettings(60e-6, motion=False)
    assert case.rig_tables["bleeder"].tested == datetime.date(2026, 3, 31) and case.field.frequencies == (1e3, 2e3)
    assert case.tables["the disc.1"]["layers"][1] == ["2 mm", {"conductivity": 1e6}]


def test_a_dictionary_that_changes_later_changes_no_case():
    tables = copy.deepcopy(TABLES)
    case = fs.read_case(tables)
    tables["bank"]["voltage"] = case.tables["bank"]["voltage"] = 1.0
    assert case.tables["bank"]["voltage"] == "6.5 kV"


@pytest.mark.parametrize(("tables", "words"), [
    ({}, "case: no part"),
    ({"coil": 3}, r"case: coil = 3: stands outside a table"),
    ({"coil": {"shape": "loop", "radius": None}}, r"case: \[coil\] radius = None: expected text with a unit"),
    ({"coil": {"shape": "loop", "radius": "10 kg"}}, r"case: \[coil\] radius = '10 kg': expected a length"),
    ({"coil": {"shape": "loop", 3: "10 mm"}}, "3: the name of a table or key must be text"),
    ({**TABLES, "bnak": {}}, r"case: \[bnak\]: neither a part .*did you mean 'bank'"),
    ({**TABLES, "box": {"wall": 0.0}}, r"case: \[box\] wall = 0.0: must be larger than 0"),
    ({**TABLES, "capacitor": {"rated_reversal": 90}}, r"case: \[capacitor\] rated_reversal = 90.0: must be at most 1"),
    (7, "case = 7: expected the path of a TOML file, or a dictionary"),
])
def test_wrong_dictionaries_are_named_with_their_remedy(tables, words):
    with pytest.raises(InputError, match=words):
        fs.read_case(tables)


@pytest.mark.parametrize("text", ['a "b" \\ c', "tab\t, line\n, bell\x07, del\x7f", "µ Ω 漢", ""])
def test_any_text_is_written_and_read_again(text):
    tables = {"a b": {"x.y": text, "many": [1, -0.5, 1e300, True, [text], {"z": text}]}, "empty": {}}
    assert tomllib.loads(write_toml(tables)) == tables


def test_material_files_start_from_the_folder_of_the_file_or_the_working_folder(tmp_path, monkeypatch):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "hard.toml").write_bytes(COPPER_FILE.read_bytes())
    tables = {"disc": {"shape": "disc", "radius": 0.01, "thickness": 1e-3, "material": "hard.toml"}}
    (tmp_path / "in" / "rig.toml").write_text(write_toml(tables))
    from_file = fs.read_case(tmp_path / "in" / "rig.toml")
    monkeypatch.chdir(tmp_path / "in")
    from_dictionary = fs.read_case(tables)
    monkeypatch.chdir(tmp_path)
    assert from_file == from_dictionary == from_file.with_values({"disc.radius": 0.01})
    with pytest.raises(InputError, match=r"case: .*hard.toml"):
        fs.read_case(tables)


# ---- changed values --------------------------------------------------------------------------------------------------------

def test_values_are_changed_by_dotted_keys():
    case = fs.read_case(TABLES)
    other = case.with_values({"bank.voltage": "5 kV", "coil.turns": 6, "coil.conductivity": "40 MS/m", "the disc.1.radius": "9 mm",
                              "run.accuracy": 1e-2, "crowbar.resistance": "1 mohm"})
    assert (other.banks[0].voltage, other.section.part("coil").turns, other.run.accuracy) == (5e3, 6, 1e-2)
    assert other.crowbar.resistance == 1e-3 and other.section.part("the disc.1").bounds[1] == 9e-3
    assert other.section.part("coil").zones[0].material.conductivity == 40e6
    assert case.banks[0].voltage == 6.5e3 and case != other and case == fs.read_case(TABLES)
    assert other.name == case.name and fs.read_case(other.tables) == other


def test_a_key_within_an_inline_table_is_changed():
    disc = {"shape": "ring_and_core", "radius": "10 mm", "thickness": "1 mm", "core_radius": "3 mm", "core": "brass C260",
            "ring": {"material": "copper", "conductivity": "50 MS/m"}}
    case = fs.read_case({"disc": disc}).with_values({"disc.ring.conductivity": "40 MS/m"})
    assert 40e6 in [zone.material.conductivity for zone in case.parts[0].zones]


def test_none_removes_a_key_or_a_table_and_a_shape_adds_a_part():
    case = fs.read_case(TABLES)
    assert case.with_values({"run.motion": None, "run.heating": None}).tables["run"] == {"end_time": 60e-6}
    assert "bleeder" not in case.with_values({"bleeder.tested": None}).tables
    assert [part.name for part in case.with_values({"the disc.1": None}).parts] == ["coil"]
    ring = {"ring.shape": "ring", "ring.radius": "5 mm", "ring.wire_diameter": "1 mm", "ring.at": "20 mm"}
    assert [part.name for part in case.with_values(ring).parts] == ["coil", "the disc.1", "ring"]
    assert case.with_values({}) == case


@pytest.mark.parametrize(("values", "words"), [
    ({"bnak.voltage": 1}, r"case: bnak.voltage: there is no table \[bnak\]; did you mean 'bank'"),
    ({"bank.voltag": 1}, r"case: \[bank\] voltag = 1: unknown key; did you mean 'voltage'"),
    ({"coil.trns": 1}, r"case: \[coil\] trns = 1: unknown key; did you mean 'turns'"),
    ({"bank.voltag": None}, r"bank.voltag = None: unknown key of \[bank\]; did you mean 'voltage'"),
    ({"bank": 3}, "bank = 3: give table and key"), ({3: 4}, "3: expected a dotted key"),
    ({"coil.turns.x": 4}, "coil.turns.x: turns is 8, not a table"),
    ({"bank.voltage": "5 kA"}, "expected a voltage"), ({"the disc.1.radius": None}, "a clad_disc needs radius"),
])
def test_wrong_changes_are_named_with_the_nearest(values, words):
    with pytest.raises(InputError, match=words):
        fs.read_case(TABLES).with_values(values)


def test_a_case_is_frozen_pickles_copies_and_has_a_short_repr():
    case = fs.read_case(TABLES)
    with pytest.raises(dataclasses.FrozenInstanceError):
        case.text = ""
    for other in (pickle.loads(pickle.dumps(case)), copy.deepcopy(case), copy.copy(case)):
        assert other == case and other.banks == case.banks
    assert repr(case) == "Case('case': parts coil, the disc.1; tables bank, run, bleeder, field)"
    assert fs.read_case(case) is case


# ---- what a case describes, solved -----------------------------------------------------------------------------------------

LOOP = {"coil": {"shape": "loop", "radius": "10 mm"}, "field": {"accuracy": 1e-2}}


def test_a_case_without_a_bank_is_a_field_at_rest_or_at_frequencies():
    field = fs.solve_case(fs.read_case(LOOP), current=2e3)
    assert field.flux_density(0.0, 0.0)[1] == pytest.approx(4e-7 * math.pi * 2e3 / 0.02, rel=1e-2)
    plate = fs.read_case({**LOOP, "disc": {"shape": "disc", "radius": "5 mm", "thickness": "1 mm", "material": "copper"}})
    one, two = (fs.solve_case(plate.with_values({"field.frequency": f}), accuracy=3e-2) for f in ("1 kHz", ["1 kHz", "2 kHz"]))
    assert one.frequency == 1e3 and two.frequencies.tolist() == [1e3, 2e3]


def test_a_case_with_a_bank_is_a_shot(read):
    case = read(RIG).with_values({"run.end_time": "2 us", "run.accuracy": 5e-2, "run.heating": False})
    shot = fs.solve_case(case, held=True)
    assert shot.held and shot.times[-1] == pytest.approx(2e-6) and shot.accuracy == 5e-2
    assert fs.solve_case(case.with_values({"run.motion": False}), accuracy=0.1).accuracy == 0.1
    for changes, words in (({"run.end_time": None}, r"rig.toml: \[run\]: end_time is missing"),
                           ({"bank.voltage": None}, r"rig.toml: \[bank\]: voltage is missing"),
                           ({"field.applied_field": "1 T"}, "a shot is computed without one")):
        with pytest.raises(InputError, match=words):
            fs.solve_case(case.with_values(changes))
