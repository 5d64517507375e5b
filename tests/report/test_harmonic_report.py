"""Fields at frequencies as the command reports them: figures and files say what the field says."""
import json
import math
from types import SimpleNamespace

import meshio
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.cli.main import main
from fieldsolve.errors import InputError
from fieldsolve.report.files.vtu import write_vtu
from fieldsolve.report.plots import field_figure
from fieldsolve.report.text.facts import phasor_text
from fieldsolve.report.text.harmonic import frequencies_text, harmonic_facts, harmonic_summary

COPPER, BRASS = fs.material("copper"), fs.material("brass C260")
COIL = geo.solenoid(turns=2, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.5e-3, material=COPPER)
BLANK = geo.clad_disc(radius=15e-3, layers=[(0.5e-3, COPPER), (1e-3, BRASS)], name="blank")
CASE = """[coil]
shape = "solenoid"
turns = 2
bore_radius = "16 mm"
wire_diameter = "3 mm"
pitch = "3.5 mm"
material = "copper"

[blank]
shape = "clad_disc"
radius = "15 mm"
layers = [["0.5 mm", "copper"], ["1 mm", "brass C260"]]

[field]
accuracy = 3e-2
"""


@pytest.fixture(scope="module")
def sweep():
    return fs.solve_harmonic(geo.CrossSection([COIL, BLANK]), [1e3, 1e4], {"coil": 1000.0}, accuracy=3e-2)


@pytest.fixture(scope="module")
def empty():
    return fs.solve_harmonic(geo.CrossSection([COIL]), 1e4, {"coil": 1000.0}, accuracy=3e-2)


@pytest.fixture(scope="module")
def lines():
    """Line currents, a core that is magnetized and permeable, and an applied field."""
    core = geo.cylinder(radius=6e-3, length=20e-3, name="core", at=3e-3,
                        material=fs.Material(conductivity=5e6, relative_permeability=50.0, remanence=0.1))
    section = geo.CrossSection([geo.loop(radius=30e-3), geo.sheet(radius=20e-3, length=20e-3, turns=20, name="sheet"), core])
    return fs.solve_harmonic(section, [200.0], {"coil": 100.0, "sheet": 1.0}, applied_field=1e-3, accuracy=3e-2)


@pytest.fixture
def case(tmp_path):
    def write(text=CASE):
        path = tmp_path / "rig.toml"
        path.write_text(text, encoding="utf-8")
        return str(path)
    return write


def leaves(facts):
    if isinstance(facts, dict):
        return [x for value in facts.values() for x in leaves(value)]
    return [x for value in facts for x in leaves(value)] if isinstance(facts, list) else [facts]


# facts

def test_the_facts_close_the_power_balance(sweep):
    for entry in harmonic_facts(sweep, ["coil"])["frequencies"]:
        coil, blank = entry["coils"]["coil"], entry["bodies"]["blank"]
        assert 0.5 * coil["resistance_ohm"] * 1000.0**2 == pytest.approx(coil["loss_W"] + blank["loss_W"], rel=1e-8)
        assert sum(zone["loss_W"] for zone in blank["zones"].values()) == pytest.approx(blank["loss_W"], rel=1e-9)
        assert sum(zone["net_current_A"]["re"] for zone in blank["zones"].values()) == pytest.approx(blank["net_current_A"]["re"], rel=1e-9)
        assert coil["voltage_V"]["im"] == pytest.approx(2 * math.pi * entry["frequency_Hz"] * coil["inductance_H"] * 1000.0, rel=1e-9)
        assert blank["net_current_A"]["re"] < 0                                              # against the coil's
        assert blank["skin_depths_m"]["copper"] == pytest.approx(
            fs.skin_depth(frequency=entry["frequency_Hz"], conductivity=COPPER.conductivity))
        assert list(blank["skin_depths_m"]) == ["copper", "brass C260"]
        assert entry["bores"]["bore"]["peak_T"] > 0


def test_facts_are_plain_and_none_is_what_is_not_defined(lines):
    facts = harmonic_facts(lines, ["coil", "sheet"], 1e-3)
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts
    assert {type(x) for x in leaves(facts)} <= {float, int, str, bool, type(None)}
    (entry,) = facts["frequencies"]
    loop, sheet, core = entry["coils"]["coil"], entry["coils"]["sheet"], entry["bodies"]["core"]
    for name in ("resistance_ohm", "inductance_H", "voltage_V", "loss_W", "radial_force_N"):
        assert loop[name] is None
    assert sheet["inductance_H"] > 0
    assert loop["inductance_change_H"] is not None
    assert core["force_route"] == "stress"
    assert core["axial_force_N"] + loop["axial_force_N"] + sheet["axial_force_N"] == pytest.approx(0, abs=0.05 * abs(core["axial_force_N"]))
    assert entry["bores"] == {}


def test_a_closed_coil_has_a_current_and_no_terminals():
    ring = geo.ring(radius=12e-3, wire_diameter=1e-3, material=COPPER, name="ring")
    field = fs.solve_harmonic(geo.CrossSection([COIL, ring]), [1e4], {"coil": 1000.0}, accuracy=3e-2)
    facts = harmonic_facts(field, ["coil"])
    shown = facts["frequencies"][0]["coils"]["ring"]
    assert (shown["driven"], shown["resistance_ohm"], shown["voltage_V"]) == (False, None, None)
    assert shown["current_A"]["re"] < 0 < shown["loss_W"]
    assert "closed on itself" in harmonic_summary("t", {"accuracy": 3e-2, **facts}, {})


# the screen

def test_the_screen_has_a_table_for_each_frequency(sweep):
    facts = {"accuracy": 3e-2, **harmonic_facts(sweep, ["coil"])}
    screen = harmonic_summary("rig.toml", facts, {"coil": " (from --current)"})
    for words in ("coil  solenoid, 2 turns, 1 kA per turn (from --current)", "at 1 kHz", "at 10 kHz", "mohm (error ", "nH (error ",
                  "1 kA at 0 deg", "kA at -1", "2.09 mm (copper), 3.95 mm (brass C260)", "radial force", "axial force", "peak field, bore",
                  "GMRES with", "0.03 reached", "peak values", "means over the cycle", "A charged bank kills"):
        assert words in screen
    rows = [line for line in screen.splitlines() if line.startswith("  resistance")]
    assert len(rows) == 2
    assert all(row.rstrip().endswith("-") for row in rows)                                   # a body has none


def test_what_is_zero_within_its_error_is_shown_as_zero():
    assert phasor_text({"re": 1e-9, "im": -1e-9}, "A", 1e-8) == "0 A"
    assert phasor_text({"re": 0.0, "im": -2e3}, "A", 1.0) == "2 kA at -90 deg"


def test_many_frequencies_are_counted_in_the_title():
    assert frequencies_text([2e4, 1e3]) == "1 kHz, 20 kHz"
    assert frequencies_text(np.geomspace(1e3, 1e5, 9)) == "9 frequencies from 1 kHz to 100 kHz"


# the command

def test_the_command_computes_what_a_script_does(sweep, case, capsys, tmp_path):
    out = tmp_path / "out.json"
    arguments = ["field", case(), "--frequency", "1 kHz, 10 kHz", "--frequency", "1e3 Hz", "--json", str(out)]
    assert main([*arguments, "--vtu", str(tmp_path / "a.vtu")]) == 0
    screen, facts = capsys.readouterr().out, json.loads(out.read_text())
    assert "rig.toml: field at 1 kHz, 10 kHz" in screen
    assert [entry["frequency_Hz"] for entry in facts["frequencies"]] == [1e3, 1e4]
    for entry, field in zip(facts["frequencies"], sweep, strict=True):
        assert entry["coils"]["coil"]["resistance_ohm"] == pytest.approx(field.resistance("coil").value, rel=1e-9)
        assert entry["bodies"]["blank"]["radial_force_N"] == pytest.approx(field.radial_force("blank").value, rel=1e-9)
    assert {"B real, 1 kHz", "J_phi imaginary, 10 kHz"} <= set(meshio.read(tmp_path / "a.vtu").point_data)


@pytest.mark.parametrize(("written", "expected"), [('"10 kHz"', [1e4]), ('["1 kHz", 5e3]', [1e3, 5e3]), ('"2 kHz,1 kHz"', [2e3, 1e3])])
def test_the_case_names_frequencies_and_the_option_overrules_it(case, monkeypatch, written, expected):
    calls = []

    def solved(case, currents, frequencies, accuracy):
        calls.append(list(frequencies))
        raise InputError("enough")
    monkeypatch.setattr("fieldsolve.cli.field._solve", solved)
    path = case(CASE + f"frequency = {written}\n")
    assert (main(["field", path]), main(["field", path, "--frequency", "7 kHz"])) == (2, 2)
    assert calls == [expected, [7e3]]


@pytest.mark.parametrize(("text", "options", "words"), [
    ("", ["--frequency", "0 Hz"], "--frequency = '0 Hz': must be larger than 0; leave it out for the field at rest"),
    ("", ["--frequency", "-1 kHz"], "--frequency = '-1 kHz': must be larger than 0"),
    ("", ["--frequency", "10 kA"], "--frequency = '10 kA': expected a frequency such as '10 kHz'"),
    ("", ["--frequency", "1 kHz,"], "--frequency = '': expected a frequency"),
    ("", ["--frequency", "1e400 Hz"], "must be a finite number"),
    ("frequency = []\n", [], "[field] frequency = []: give at least one"),
    ('frequency = ["1 kHz", "-5 Hz"]\n', [], "[field] frequency = '-5 Hz': must be larger than 0"),
    ("frequency = [[1]]\n", [], "[field] frequency = [1]: expected a frequency"),
])
def test_a_wrong_frequency_is_one_line_and_exit_code_2(case, capsys, text, options, words):
    assert main(["field", case(CASE + text), *options]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert words in err


# figures

def test_the_map_of_j_tells_value_unit_and_direction(sweep):
    field = sweep[1]
    ax = field_figure.plot_current_density(field)
    key = ax.get_legend()
    texts = [text.get_text() for text in key.get_texts()]
    current = field.net_current("blank")
    assert [text.split(":")[0] for text in texts] == ["coil", "blank"]
    assert f"{abs(current) / 1e3:.3g} kA at −{-math.degrees(np.angle(current)):.0f}°" in texts[1]
    assert [line.get_marker() for line in key.legend_handles] == [r"$\otimes$", r"$\odot$"]
    assert "largest current of coil" in key.get_title().get_text()
    assert "largest |J| over the cycle [kA/mm²]" in [text for other in ax.figure.axes for text in (other.get_ylabel(), other.get_xlabel())]
    rim = np.abs(field.current_density(np.full(50, 14.999e-3), np.linspace(-0.7e-3, 0.7e-3, 50))).max()
    number, unit = texts[1].split("|J| to ")[1].split()
    assert float(number) * {"A/mm²": 1.0, "kA/mm²": 1e3}[unit] == pytest.approx(1e-6 * rim, rel=0.05)
    assert (ax.get_xlabel(), ax.get_ylabel(), ax.get_aspect()) == ("r [mm]", "z [mm]", 1.0)
    assert ax.get_xlim()[0] == 0
    assert ax.get_xlim()[1] > 19


def test_the_map_of_j_in_a_body_in_an_applied_field():
    ball = geo.sphere(radius=10e-3, material=COPPER)
    field = fs.solve_harmonic(geo.CrossSection([ball]), 5e3, applied_field=10e-3, accuracy=3e-2)
    ax = field_figure.plot_current_density(field, extent=(0.0, 12e-3, 0.0, 12e-3))
    assert "largest applied field" in ax.get_legend().get_title().get_text()
    assert ax.get_ylim() == pytest.approx((0.0, 12.0))


def test_the_map_of_j_in_a_winding():
    coil = geo.winding(inner_radius=16e-3, outer_radius=19e-3, height=20e-3, turns=50)
    field = fs.solve_harmonic(geo.CrossSection([coil, BLANK]), 1e4, {"coil": 10.0}, accuracy=3e-2)
    texts = [text.get_text() for text in field_figure.plot_current_density(field).get_legend().get_texts()]
    assert texts[0] == "coil: 10 A per turn at 0°, |J| to 8.33 A/mm²"                       # 50 x 10 A in 60 mm^2


def test_line_currents_have_no_current_density():
    field = fs.solve_harmonic(geo.CrossSection([geo.loop(radius=30e-3)]), 1e3, {"coil": 1.0}, accuracy=3e-2)
    with pytest.raises(InputError, match="no part has a section"):
        field_figure.plot_current_density(field)
    assert [ax.get_xlabel() for ax in field_figure.harmonic_figure(field).axes[:2]] == ["r [mm]", "r [mm]"]


def test_impedance_over_frequency(sweep):
    axes = field_figure.plot_impedance(sweep, "coil")
    for ax, name in zip(axes, ("resistance", "inductance"), strict=True):
        frequency, value = ax.lines[0].get_data()
        assert list(frequency) == [1.0, 10.0]
        prefix = {"m": 1e-3, "µ": 1e-6, "n": 1e-9}[ax.get_ylabel().split("[")[1][0]]
        assert np.asarray(value) * prefix == pytest.approx([getattr(field, name)("coil").value for field in sweep], rel=1e-9)
        assert ax.get_ylabel().startswith(f"{name} [")
        assert ax.get_xscale() == "log"
        assert not ax.collections                                       # errors too small to see
    assert axes[1].get_xlabel() == "frequency [kHz]"
    assert axes[0].get_legend() is None
    assert {line.get_linestyle() for ax in axes for line in ax.lines} == {"None"}, "between two points nothing is known"


class Sweep(list):
    """Stands for fields at several frequencies."""

    fields = ()


def test_errors_that_can_be_seen_are_drawn_and_coils_are_distinct():
    def field(frequency):
        estimate = fs.Estimate(frequency, 0.2 * frequency, "ohm")
        return SimpleNamespace(frequency=frequency, resistance=lambda name: estimate, inductance=lambda name: estimate)
    axes = field_figure.plot_impedance(Sweep([field(20.0), field(10.0)]), ["one", "two"])
    assert all(len(ax.collections) == 2 for ax in axes)
    assert [text.get_text() for text in axes[0].get_legend().get_texts()] == ["one", "two"]
    assert list(axes[0].lines[0].get_xdata()) == [10.0, 20.0]
    assert axes[1].get_xlabel() == "frequency [Hz]"


def test_an_impedance_curve_needs_a_sweep_and_a_driven_coil(sweep, lines):
    with pytest.raises(InputError, match="needs several"):
        field_figure.plot_impedance(sweep[0], "coil")
    with pytest.raises(InputError, match="line current"):
        field_figure.plot_impedance(lines, "coil")


def test_two_fields_are_compared_along_a_line(sweep, empty):
    fields = {"with the blank": sweep[1], "without": empty}
    ax = field_figure.plot_line_compared(fields, (0.0, 0.0), (25e-3, 0.0))
    for line, field in zip(ax.lines, fields.values(), strict=False):
        distance, B = line.get_data()
        B_z = field.flux_density(np.asarray(distance) / 1e3, np.zeros(len(distance)))[1]
        assert np.abs(B_z) == pytest.approx(np.asarray(B), rel=1e-9)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["metal", "with the blank", "without"]
    assert ax.get_ylabel() == "amplitude of $B_z$ [T]"
    assert field_figure.plot_line_compared(fields, (0.0, 0.0), (25e-3, 0.0), "|B|").get_ylabel() == "largest |B| over the cycle [T]"
    with pytest.raises(InputError, match=r"component = 'B_phi': choose B_r, B_z, \|B\|"):
        field_figure.plot_line_compared(fields, (0.0, 0.0), (25e-3, 0.0), "B_phi")


def test_the_composed_figure_shows_map_and_j_and_of_a_sweep_its_ends(sweep, lines, tmp_path):
    one = field_figure.harmonic_figure(sweep[1], "one")
    assert [ax.get_xlabel() for ax in one.axes if ax.get_xlabel() == "r [mm]"] == ["r [mm]"] * 2
    sweep_figure = field_figure.harmonic_figure(sweep, "sweep")
    titles = [ax.get_title() for ax in sweep_figure.axes]
    assert [any(title.startswith(f"at {f}: flux lines") for title in titles) for f in ("1 kHz", "10 kHz")] == [True, True]
    assert "frequency [kHz]" in [ax.get_xlabel() for ax in sweep_figure.axes]
    field_figure.write_figure(lines[0], tmp_path / "a.svg", "a core")
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<?xml")


# mesh files

def test_the_mesh_file_holds_phasors(sweep, tmp_path):
    write_vtu(sweep[1], tmp_path / "a.vtu")
    grid = meshio.read(tmp_path / "a.vtu")
    names = {f"{name} {kind}" for name in ("A_phi", "B", "J_phi") for kind in ("real", "imaginary")}
    assert set(grid.point_data) == names
    r, z, _ = grid.points.T
    A_phi = grid.point_data["A_phi real"] + 1j * grid.point_data["A_phi imaginary"]
    mesh = sweep[1].mesh
    inner = np.hypot(r, z - mesh.centre) < (1 - 1e-6) * mesh.open_radius          # nodes at the arc may stand beyond it, by a hair
    assert 0.9 * len(r) < inner.sum() < len(r)
    assert A_phi[inner] == pytest.approx(sweep[1].vector_potential(r[inner], z[inner]), rel=1e-9, abs=1e-15)
    inside = (r < 14.9e-3) & (np.abs(z - 0.25e-3) < 0.45e-3)                               # in the brass layer
    J = grid.point_data["J_phi real"] + 1j * grid.point_data["J_phi imaginary"]
    assert inside.sum() > 20
    assert J[inside] == pytest.approx(sweep[1].current_density(r[inside], z[inside]), rel=1e-3, abs=1e-3 * np.abs(J).max())
    assert J[(r > 30e-3)] == pytest.approx(0.0)
