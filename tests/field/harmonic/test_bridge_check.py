"""The bridge check: what loads a coil changes its resistance by the losses, and what the command shows is what the function gives."""
import json
import math

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError

COPPER = fs.material("copper")
DISC = geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)
WINDING = geo.winding(inner_radius=16e-3, outer_radius=19e-3, height=20e-3, turns=50, fill=0.7, material=COPPER)
BARE = geo.winding(inner_radius=16e-3, outer_radius=19e-3, height=20e-3, turns=50)
RING = geo.ring(radius=12e-3, wire_diameter=1e-3, material=COPPER, name="ring")
CASE = """[coil]
shape = "winding"
inner_radius = "16 mm"
outer_radius = "19 mm"
height = "20 mm"
turns = 50
fill = 0.7
material = "copper"

[disc]
shape = "disc"
radius = "15 mm"
thickness = "2 mm"
material = "copper"

[field]
accuracy = 1e-2
frequency = "50 Hz"
"""


@pytest.fixture(scope="module")
def rows():
    return fs.bridge_check(geo.CrossSection([WINDING, DISC]), frequencies=(2e3, 1e4), accuracy=1e-2)


def test_metal_takes_inductance_and_adds_resistance(rows):
    assert [row.frequency for row in rows] == [2e3, 1e4]
    assert 1 > rows[0].inductance_ratio > rows[1].inductance_ratio > 0
    assert rows[0].resistance_loaded < rows[1].resistance_loaded
    for row in rows:
        assert (row.coil, row.load, row.accuracy_reached) == ("coil", ("disc",), True)
        assert row.inductance_ratio == pytest.approx(row.inductance_loaded / row.inductance_empty)
        relative = row.inductance_empty.error / row.inductance_empty + row.inductance_loaded.error / row.inductance_loaded
        assert row.inductance_ratio.error == pytest.approx(row.inductance_ratio * relative)
        assert row.resistance_ratio > 1


def test_an_empty_stranded_coil_has_its_direct_current_resistance(rows):
    exact = 50**2 * 2 * math.pi * 17.5e-3 / (COPPER.conductivity * 0.7 * 3e-3 * 20e-3)      # N^2 2 pi r_mean / (sigma fill area)
    assert [row.resistance_empty.value for row in rows] == pytest.approx([exact] * 2, rel=1e-6)


def test_resistance_grows_by_the_loss_in_the_metal(rows):
    field = fs.solve_harmonic(geo.CrossSection([WINDING, DISC]), 1e4, {"coil": 1.0}, accuracy=1e-2)
    added = rows[1].resistance_loaded - rows[1].resistance_empty
    assert added == pytest.approx(2 * field.loss("disc"), rel=1e-2)                          # P = R I^2 / 2 of a peak value


def test_our_copper_disc_takes_what_coupled_filaments_take():
    """0.98 uH of 1.53 uH at 10 kHz: coaxial ring filaments, each round turn a square of equal area."""
    coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=COPPER)
    (row,) = fs.bridge_check(geo.CrossSection([coil, DISC]), frequencies=[1e4], accuracy=1e-2)
    assert row.inductance_ratio == pytest.approx(0.98 / 1.53, rel=0.03)


def test_what_is_not_known_is_none():
    (row,) = fs.bridge_check(geo.CrossSection([BARE, RING]), frequencies=[1e4], accuracy=1e-2)
    assert row.resistance_empty is row.resistance_loaded is row.resistance_ratio is None
    assert row.load == ("ring",)                            # closed metal, so it is no coil at a bridge
    assert row.inductance_ratio < 1


@pytest.mark.parametrize(("parts", "coil", "words"), [
    ([WINDING], None, "nothing loads coil"),
    ([DISC], None, "no coil to put a bridge to"),
    ([WINDING, DISC], "disc", "disc is a disc, not a coil"),
    ([WINDING, WINDING.named("upper").moved(50e-3), DISC], None, "name the one at the bridge, one of coil, upper"),
    ([geo.loop(radius=20e-3), DISC], None, "infinite: give the coil a wire"),
])
def test_what_cannot_be_measured_is_refused(parts, coil, words):
    with pytest.raises(InputError, match=words):
        fs.bridge_check(geo.CrossSection(parts), coil)


def test_a_strip_is_refused():
    with pytest.raises(InputError, match="no terminals"):
        fs.bridge_check(geo.AxialStrip([geo.cylinder(radius=5e-3, length=1e-2, material=COPPER)]))


@pytest.fixture
def case(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(CASE, encoding="utf-8")
    return str(path)


def test_the_command_shows_a_row_for_each_frequency_and_what_to_do(rows, case, capsys, tmp_path):
    out = tmp_path / "out.json"
    assert main(["bridge", case, "--frequencies", "2 kHz, 10 kHz", "--json", str(out)]) == 0
    screen, facts = capsys.readouterr().out, json.loads(out.read_text())
    assert "rig.toml: what a bridge should read at coil, empty and with disc" in screen
    assert [line.split()[:2] for line in screen.splitlines()[2:4]] == [["2", "kHz"], ["10", "kHz"]]
    for words in ("R empty", "L loaded", "loaded/empty", "largest numerical error", "off by more than 10 %: stop and find out", "kills"):
        assert words in screen
    assert (facts["coil"], facts["load"], facts["accuracy"]) == ("coil", ["disc"], 1e-2)
    for row, shown in zip(rows, facts["rows"], strict=True):
        assert shown["frequency_Hz"] == row.frequency
        assert shown["resistance_loaded_ohm"] == pytest.approx(row.resistance_loaded.value, rel=1e-9)
        assert shown["inductance_ratio"] == pytest.approx(row.inductance_ratio.value, rel=1e-9)
        assert all(isinstance(value, float) for value in shown.values())


@pytest.mark.parametrize(("options", "words"), [
    (["--frequencies", "0 Hz"], "--frequencies = '0 Hz': must be larger than 0"),
    (["--frequencies", "1 kA"], "--frequencies = '1 kA': expected a frequency"),
    (["--coil", "disk"], "there is no part named 'disk': meant disc"),
    (["--json", "no/such/folder/out.json"], "no such folder"),
])
def test_wrong_use_is_one_line(case, capsys, options, words):
    assert main(["bridge", case, *options]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert words in err
