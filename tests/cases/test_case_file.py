"""Case files: what they give, and what is refused with the table, the key and the nearest name."""
import pytest

import geometries as geo
from fieldsolve.cases.case_file import SHAPES, read_case
from fieldsolve.errors import GeometryError, InputError
from fieldsolve.materials import material

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


def test_other_tables_are_kept_as_written(read):
    case = read(RIG)
    assert case.tables == {"bank": {"capacitance": "120 uF", "voltage": "6.5 kV"}, "run": {"end_time": "60 us"}}
    assert (case.currents, case.applied_field, case.accuracy, case.frequencies) == ({}, 0.0, None, ())


def test_field_table_and_current(read):
    case = read(RIG.replace("turns = 8", 'turns = 8\ncurrent = "1.5 kA"')
                + '[field]\napplied_field = "0.1 T"\naccuracy = 1e-4\nfrequency = "10 kHz"\n')
    assert case.currents == {"coil": 1500.0}
    assert (case.applied_field, case.accuracy, case.frequencies) == (0.1, 1e-4, (1e4,))
    assert "field" not in case.tables


def test_every_shape_has_its_least_case():
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
