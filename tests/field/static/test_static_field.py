"""Static fields: closed forms, invariants, and clear errors."""
import json
import math

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks.closed_forms import loops
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from geometries.errors import AccuracyWarning, GeometryError, MeshError
from geometries.mesher import OPEN_RADIUS

BROOKS = 2.54906731642e-8       # H per turn squared, H. B. Brooks, J. Res. Bur. Stand. 7 (1931); digits computed, see benchmarks


def solenoid(**changes):
    return geo.solenoid(**{"turns": 8, "bore_radius": 15.6e-3, "wire_diameter": 3.0e-3, "pitch": 3.3e-3} | changes)


@pytest.fixture(scope="module")
def example():
    return fs.solve_static(geo.CrossSection([solenoid()]), currents={"coil": 1000.0}, accuracy=1e-3)


def test_brooks_coil_to_1e_5():
    coil = geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=1)
    field = fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1.0}, accuracy=1e-5)
    inductance = field.inductance("coil")
    assert field.accuracy_reached
    assert abs(inductance - BROOKS) < 1e-5 * BROOKS and abs(inductance - BROOKS) <= inductance.error


def test_loop_on_its_axis_to_1e_5():
    z = np.linspace(-1.5, 2.0, 8)
    field = fs.solve_static(geo.CrossSection([geo.loop(radius=1.0)]), currents={"coil": 1.0}, accuracy=1e-5, points=[(0.0, h) for h in z])
    exact = 0.5 * MU_0 / (1 + z**2) ** 1.5          # Biot and Savart
    B_r, B_z = field.flux_density(r=np.zeros_like(z), z=z)
    assert np.abs(B_z / exact - 1).max() < 1e-5 and not B_r.any()


def test_far_field_is_that_of_a_dipole():
    field = fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), currents={"coil": 2.0}, accuracy=1e-4)
    moment = 2.0 * math.pi * 0.1**2
    assert abs(field.dipole_moment() / moment - 1) < 1e-4
    r, z = np.array([0.0, 40.0, 30.0]), np.array([50.0, 0.0, 40.0])
    rho = np.hypot(r, z)
    exact = MU_0 * moment / (4 * np.pi) * np.array([3 * r * z / rho**5, 3 * z**2 / rho**5 - 1 / rho**3])
    assert np.allclose(field.flux_density(r, z), exact, rtol=2e-4, atol=1e-4 * np.abs(exact).max())


def test_field_is_right_on_both_sides_of_the_arc():
    angle = np.linspace(-1.4, 1.4, 6)
    radius = OPEN_RADIUS * 0.1
    points = [(k * radius * math.cos(a), k * radius * math.sin(a)) for a in angle for k in (0.97, 1.0 - 1e-7, 1.0 + 1e-7, 1.05)]
    field = fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}, accuracy=1e-4, points=points[::4])
    r, z = np.array(points).T
    B = np.array(field.flux_density(r, z))
    exact = np.array(loops.loop_flux_density(0.1, 1.0, r, z))
    assert np.linalg.norm(B - exact, axis=0).max() < 2e-3 * np.linalg.norm(exact, axis=0).max()


def test_what_a_script_reads(example):
    peak, inductance = example.peak_field("bore"), example.inductance("coil")
    assert peak.unit == "T" and 0 < peak.error < 1e-3 * peak and peak.r == pytest.approx(15.6e-3)
    assert 0 <= peak.z < 3.3e-3                     # of equal peaks the one nearest the middle, then above it
    assert inductance.unit == "H" and 0 < inductance.error < 1e-3 * inductance
    assert json.loads(json.dumps([peak, inductance])) == [peak.value, inductance.value]
    B_r, B_z = example.flux_density(r=[0.0, 10e-3], z=[0.0, 5e-3])
    assert B_r.shape == B_z.shape == (2,) and example.unknowns > 1000


def test_inductance_is_twice_the_energy_and_the_flux(example):
    inductance = example.inductance("coil").value
    assert example.energy().value == pytest.approx(0.5 * inductance * 1e6, rel=1e-9)
    assert example.flux_linkage("coil").value == pytest.approx(inductance * 1e3, rel=1e-9)


def test_bore_peak_is_the_largest_of_many_points(example):
    bore = example.section.bore()
    r, z = np.meshgrid(np.linspace(0, bore.radius, 40), np.linspace(bore.z_min, bore.z_max, 161))
    peak = example.peak_field("bore")
    largest = np.hypot(*example.flux_density(r, z)).max()
    assert largest <= peak + peak.error and largest > 0.99 * peak


def test_open_radius_changes_no_figure_by_more_than_its_error(example):
    z = np.linspace(-0.012, 0.012, 5)
    for factor in (1.5, 2.5, 4.0):
        radius = factor * OPEN_RADIUS * example.section.extent
        other = fs.solve_static(example.section, currents={"coil": 1000.0}, accuracy=1e-3, open_radius=radius)
        for a, b in ((example.inductance("coil"), other.inductance("coil")), (example.peak_field(), other.peak_field())):
            assert abs(a - b) <= max(a.error, b.error)
        axis = [f.flux_density(np.zeros(5), z)[1] for f in (example, other)]
        allowed = max(error for f in (example, other) for name, error in f.errors.items() if name.startswith("axis"))
        assert np.abs(axis[0] - axis[1]).max() <= allowed


PAIRS = [
    ([geo.winding(inner_radius=0.09, outer_radius=0.11, height=0.02, turns=100, name="a"),
      geo.winding(inner_radius=0.05, outer_radius=0.07, height=0.02, turns=50, name="b", at=0.1)], {"a": 1.0, "b": -2.0}),
    ([solenoid(name="a"), geo.spiral(turns=4, inner_radius=0.01, wire_diameter=0.002, pitch=0.0025, at=0.03, name="b")],
     {"a": 1e3, "b": 1e3}),
    pytest.param([geo.loop(radius=0.1, name="a"), geo.sheet(radius=0.05, length=0.1, turns=20, at=0.1, name="b")], {"a": 1e3, "b": 1e3},
                 marks=pytest.mark.slow),
]


@pytest.mark.parametrize(("parts", "currents"), PAIRS)
@pytest.mark.filterwarnings("ignore::geometries.errors.AccuracyWarning")
def test_force_by_two_routes_and_newtons_third_law(parts, currents):
    field = fs.solve_static(geo.CrossSection(parts), currents=currents, accuracy=1e-4)
    a, b = (field.axial_force(name) for name in "ab")
    for name, force in (("a", a), ("b", b)):
        assert field.axial_force(name, route="stress") == pytest.approx(force, rel=5e-4)
    assert a == pytest.approx(-b, rel=5e-4)


def test_force_is_the_slope_of_the_mutual_inductance():
    def pair(gap):
        parts = [geo.winding(inner_radius=0.04, outer_radius=0.05, height=0.01, turns=10, name="a"),
                 geo.winding(inner_radius=0.04, outer_radius=0.05, height=0.01, turns=10, name="b", at=gap)]
        return fs.solve_static(geo.CrossSection(parts), currents={"a": 100.0, "b": 100.0}, accuracy=1e-4)
    low, middle, high = (pair(gap) for gap in (0.028, 0.03, 0.032))
    slope = 1e4 * (high.mutual_inductance("a", "b") - low.mutual_inductance("a", "b")) / 0.004
    assert middle.axial_force("b") == pytest.approx(slope, rel=5e-3)        # centred difference of M over 4 mm


def test_inductance_grows_with_the_square_of_the_turns():
    values = []
    for turns in (1, 7):
        coil = geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=turns)
        values.append(fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1.0}).inductance("coil").value)
    assert values[1] == pytest.approx(49 * values[0], rel=1e-10)


def test_stranded_turns_split_over_layers_add_up():
    coil = solenoid(stranded=True, layers=2, turns=16)
    field = fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1.0})
    assert coil.turns == 16 and field.inductance("coil") > 2 * 1.6e-6


def test_mutual_inductance_is_symmetric_and_the_matrix_whole():
    parts = [solenoid(name="a"), geo.winding(inner_radius=0.03, outer_radius=0.04, height=0.02, turns=5, name="b")]
    field = fs.solve_static(geo.CrossSection(parts), currents={"a": 1.0})
    names, matrix = field.inductance_matrix()
    assert names == ("a", "b")
    assert matrix[0][1] == pytest.approx(matrix[1][0], rel=1e-9)
    assert matrix[0][0] * matrix[1][1] > matrix[0][1] ** 2


def test_permeable_sphere_in_a_uniform_field():
    sphere = geo.sphere(radius=0.02, material=fs.Material(conductivity=0.0, relative_permeability=50.0))
    field = fs.solve_static(geo.CrossSection([sphere]), applied_field=0.1, accuracy=1e-4)
    assert np.allclose(field.flux_density([0.0, 0.01], [0.0, 0.005])[1], 0.1 * 3 * 50 / 52, rtol=1e-4)      # J. D. Jackson, section 5.11
    outside = 0.1 * (1 + 2 * 49 / 52 * (0.02 / 0.05) ** 3)
    assert field.flux_density(0.0, 0.05)[1] == pytest.approx(outside, rel=1e-4)
    assert field.axial_force("sphere") == pytest.approx(0.0, abs=1e-3)


def test_magnet_pulls_iron_and_iron_pulls_back():
    magnet = geo.cylinder(radius=0.01, length=0.01, material=fs.Material(conductivity=0.0, remanence=1.2), name="magnet")
    soft = fs.Material(conductivity=0.0, relative_permeability=1000.0)
    iron = geo.cylinder(radius=0.01, length=0.005, at=0.012, material=soft, name="iron")
    field = fs.solve_static(geo.CrossSection([magnet, iron]), accuracy=1e-3)
    pull = field.axial_force("iron")
    assert pull < 0 and field.axial_force("magnet") == pytest.approx(-pull, rel=5e-3)


def test_magnetic_pressure_and_line(example):
    line = example.along((0.0, 0.0), (0.015, 0.0), count=11)
    assert line["distance"][-1] == pytest.approx(0.015) and line["A_phi"][0] == 0
    pressure = example.magnetic_pressure(line["r"], line["z"])
    assert np.allclose(pressure, (line["B_r"] ** 2 + line["B_z"] ** 2) / (2 * MU_0))


def test_strip_holds_the_field_of_its_face():
    rod = geo.cylinder(radius=0.01, length=0.004, material=fs.Material(conductivity=0.0, relative_permeability=20.0))
    field = fs.solve_static(geo.AxialStrip([rod], outer_radius=0.02), face_field=1e5, accuracy=1e-4, points=[(0.015, -0.001)])
    B_r, B_z = field.flux_density(r=[0.0, 0.005, 0.015], z=[0.0, 0.001, -0.001])
    assert np.allclose(B_z, MU_0 * 1e5 * np.array([20, 20, 1]), rtol=1e-4) and np.abs(B_r).max() < 1e-4
    bare = fs.solve_static(geo.AxialStrip([rod]), face_field=1e5)
    assert np.allclose(bare.flux_density([0.0, 0.005, 0.01], [0.0, 0.001, -0.001])[1], 20 * MU_0 * 1e5, rtol=1e-11)


def test_superlu_gives_the_same_figures(example, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "cvxopt", None)
    other = fs.solve_static(example.section, currents={"coil": 1000.0}, accuracy=1e-3)
    assert other.solver == "SuperLU"
    assert other.inductance("coil") == pytest.approx(example.inductance("coil"), rel=1e-8)
    assert other.peak_field("bore") == pytest.approx(example.peak_field("bore"), rel=1e-8)


def test_accuracy_out_of_reach_is_marked_and_warned_about():
    with pytest.warns(AccuracyWarning, match="accuracy = 1e-07 was not reached"):
        field = fs.solve_static(geo.CrossSection([solenoid()]), currents={"coil": 1.0}, accuracy=1e-7, max_unknowns=8000)
    assert not field.accuracy_reached and field.inductance("coil") > 1e-6


BAD_INPUT = [
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}).inductance("coil"),
     "self inductance of coil.*infinite"),
    (lambda: fs.solve_static(geo.CrossSection([geo.sheet(radius=0.1, length=0.1, turns=5)]), {"coil": 1.0}).peak_field("bore"),
     "line current.*no largest value"),
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}).peak_field("coil"), "line current.*no largest value"),
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": float("nan")}), "coil = nan is not a finite number"),
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}, accuracy=3.0), "accuracy = 3.*1e-3"),
    (lambda: fs.solve_static(geo.CrossSection([geo.sphere(radius=0.1)]), applied_field=1.0), "sphere has no material: give it one"),
    (lambda: fs.solve_static(geo.CrossSection([geo.sphere(radius=0.1)]), {"sphere": 1.0}), "sphere is a sphere, not a coil"),
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}, face_field=1.0), "belongs to an AxialStrip"),
    (lambda: fs.solve_static(geo.CrossSection([geo.loop(radius=0.1)]), {"coil": 1.0}).flux_density(-0.1, 0.0), "must not be negative"),
]


@pytest.mark.parametrize(("call", "message"), BAD_INPUT)
def test_bad_input_says_what_and_what_to_do(call, message):
    with pytest.raises(InputError, match=message):
        call()


def test_unknown_coil_and_small_open_radius():
    section = geo.CrossSection([solenoid()])
    with pytest.raises(GeometryError, match=r"no part named 'coli'.*coil"):
        fs.solve_static(section, {"coli": 1.0})
    with pytest.raises(GeometryError, match=r"open_radius.*give at least"):
        fs.solve_static(section, {"coil": 1.0}, open_radius=0.01)


def test_missing_system_library_names_the_packages(monkeypatch):
    import importlib

    from geometries import gmsh_session

    def refuse(name):
        raise OSError("libGLU.so.1: cannot open shared object file: No such file or directory")
    monkeypatch.setattr(importlib, "import_module", refuse)
    with pytest.raises(MeshError, match=r"libGLU.so.1.*apt-get install libglu1-mesa libgl1 libxcursor1"):
        gmsh_session.load_gmsh()


@pytest.mark.parametrize("drive", [{}, {"currents": {}}, {"currents": {"coil": 0.0}}, {"goals": ["inductance", "peak"]}])
def test_a_field_that_nothing_drives_is_refused(drive):
    section = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=12e-3, height=5e-3, turns=10)])
    with pytest.raises(InputError, match=r"nothing drives the field.* currents=\{'coil': 1000.0\}.*magnet.*goals='inductance'"):
        fs.solve_static(section, accuracy=1e-1, **drive)


def test_an_inductance_needs_no_current():
    section = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=12e-3, height=5e-3, turns=10)])
    empty, driven = (fs.solve_static(section, currents, accuracy=1e-2, goals="inductance") for currents in (None, {"coil": 3.0}))
    assert empty.inductance("coil") == pytest.approx(driven.inductance("coil").value, rel=1e-12)
