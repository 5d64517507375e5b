"""Metal that saturates, at rest: curves, Newton's method, energy and force, against closed forms and invariants."""
import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

import fieldsolve as fs
import geometries as geo
from benchmarks import nonlinear, tables
from benchmarks.cases import load
from fieldsolve.constants import MU_0, NU_0
from fieldsolve.errors import InputError
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.fem.reference_triangle import rule_of_forms
from fieldsolve.field.system.coefficients import linear_reluctivity
from fieldsolve.field.system.magnetic_moment import magnetization_moment
from fieldsolve.field.system.magnetostatic import reluctivity_load, stiffness_local
from fieldsolve.field.system.prescribed_reluctivity import PrescribedReluctivity
from fieldsolve.materials.bh_curve import chord_reluctivity, coenergy_density, effective_reluctivity
from geometries.mesher import mesh_section

CASES = load("nonlinear.toml")
TABLE = CASES["tabulated-bh-sphere"].setup
PAIRS = {"field": TABLE["H_table_A_per_m"], "flux_density": TABLE["B_table_T"]}
FROHLICH = fs.Frohlich(saturation=2.0, initial_permeability=1000.0)
CURVES = [FROHLICH, fs.Brauer(k1=49.4, k2=1.46, k3=520.6), fs.BHTable(**PAIRS), fs.BHTable(**PAIRS, smooth=False)]
NAMES = ["froehlich", "brauer", "smooth table", "straight table"]


# --- curves ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("curve", CURVES, ids=NAMES)
def test_slope_and_energy_belong_to_the_curve(curve):
    B, h = np.linspace(0.0013, 3.0, 1999), 1e-6
    difference = curve.field_strength(B + h) - curve.field_strength(B - h)
    assert difference / (2 * h) == pytest.approx(curve.differential_reluctivity(B), rel=1e-5)
    for end in (0.3, 1.47, 2.5):
        kinks = [b for b in PAIRS["flux_density"] if 0 < b < end]
        area, _ = quad(lambda b: float(curve.field_strength(b)), 0.0, end, points=kinks, limit=200)
        assert curve.energy_density(end) == pytest.approx(area, rel=1e-8)
    assert curve.energy_density(B) + coenergy_density(curve, B) == pytest.approx(B * curve.field_strength(B), rel=1e-12)
    assert curve.field_strength(0.0) == curve.energy_density(0.0) == 0.0


@pytest.mark.parametrize("curve", CURVES, ids=NAMES)
def test_every_curve_rises_and_ends_with_the_slope_of_vacuum(curve):
    B = np.linspace(0.0, 5.0, 5001)
    assert np.all(np.diff(curve.field_strength(B)) > 0)
    assert curve.differential_reluctivity(np.array([40.0])) == pytest.approx(NU_0, rel=1e-5)
    assert chord_reluctivity(curve, np.array([0.0, 1e-9])) == pytest.approx(curve.differential_reluctivity(np.zeros(2)), rel=1e-6)


def test_froehlich_inverts_its_own_law():
    H = np.geomspace(1e-3, 1e8, 200)
    B = MU_0 * H + 2.0 * H / (H + FROHLICH.half_saturation_field)
    assert FROHLICH.field_strength(B) == pytest.approx(H, rel=1e-9)
    assert FROHLICH.half_saturation_field == pytest.approx(CASES["frohlich-sphere"].setup["a_A_per_m"], rel=1e-11)


@pytest.mark.parametrize("smooth", [True, False])
def test_a_table_goes_through_its_pairs(smooth):
    curve = fs.BHTable(**PAIRS, smooth=smooth)
    assert curve.field_strength(np.array(curve.flux_density)) == pytest.approx(curve.field, abs=1e-9)
    if not smooth:
        assert curve.field_strength(1.525) == pytest.approx((933.0 + 1228.0) / 2, rel=1e-12)


@pytest.mark.parametrize(("make", "words"), [
    (lambda: fs.Frohlich(saturation=0.0, initial_permeability=100.0), "saturation"),
    (lambda: fs.Frohlich(saturation=2.0, initial_permeability=0.9), "larger than 1"),
    (lambda: fs.Frohlich(saturation=math.nan, initial_permeability=100.0), "saturation"),
    (lambda: fs.Brauer(k1=8e5, k2=1.0, k3=1.0), "below that of vacuum"),
    (lambda: fs.Brauer(k1=49.4, k2=True, k3=520.6), "k2"),
    (lambda: fs.BHTable(field=[10.0, 20.0], flux_density=[0.5]), "as many fields"),
    (lambda: fs.BHTable(field=[], flux_density=[]), "as many fields"),
    (lambda: fs.BHTable(field=[10.0, 20.0], flux_density=[0.5, 0.4]), "both must rise"),
    (lambda: fs.BHTable(field=[10.0, 10.0], flux_density=[0.4, 0.5]), "both must rise"),
    (lambda: fs.BHTable(field=[-10.0, 10.0], flux_density=[0.4, 0.5]), "0 or above"),
    (lambda: fs.BHTable(field=[10.0, math.inf], flux_density=[0.4, 0.5]), "finite numbers"),
    (lambda: fs.BHTable(field=[1e6, 2e6], flux_density=[0.5, 1.0]), "below vacuum's"),
    (lambda: fs.BHTable(field="ab", flux_density=[0.5, 1.0]), "finite numbers"),
    (lambda: fs.Material(conductivity=0.0, bh_curve=1000.0), r"expected a Frohlich"),
    (lambda: fs.Material(conductivity=0.0, bh_curve=FROHLICH, relative_permeability=5.0), "exclude each other"),
    (lambda: fs.Material(conductivity=0.0, bh_curve=FROHLICH, remanence=1.0), "exclude each other"),
])
def test_wrong_curves_are_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()


# --- fields ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", ["frohlich-sphere", "tabulated-bh-sphere", "frohlich-coenergy"])
def test_reference_cases(name):
    found = list(nonlinear.checks([name]))
    assert [check.quantity for check in found] == list(CASES[name].quantities)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


def sphere(curve, applied_field, accuracy=1e-3):
    return nonlinear.spheres(curve, [applied_field], accuracy)[0]


@pytest.mark.parametrize("applied_field", CASES["frohlich-sphere"].setup["B0_T"])
def test_newton_ends_within_ten_steps_and_quadratically(applied_field):
    saturated = sphere(FROHLICH, applied_field).fine.nonlinear
    residuals = [residual for residual in saturated.residuals if residual > 1e-13]
    assert saturated.steps <= 10
    # the number of digits at least doubles, but for a factor: r_(k+1) < 100 r_k^2 once the residual is below 1e-3
    last = [(before, after) for before, after in pairwise(residuals) if 1e-6 < before < 1e-3]
    assert last
    assert all(after < 100 * before**2 for before, after in last)


@pytest.mark.slow
def test_newton_ends_within_ten_steps_for_tables_too():
    for curve in CURVES[2:]:
        assert all(sphere(curve, B0).fine.nonlinear.steps <= 10 for B0 in TABLE["B0_T"])


def test_weak_field_is_that_of_the_initial_permeability():
    weak = sphere(FROHLICH, 1e-6)
    straight = fs.Material(conductivity=0.0, relative_permeability=1000.0)
    linear = fs.solve_static(geo.CrossSection([geo.sphere(radius=0.01, material=straight)]), applied_field=1e-6, points=[(0.0, 0.0)])
    assert weak.flux_density(0.0, 0.0)[1] == pytest.approx(linear.flux_density(0.0, 0.0)[1], rel=1e-4)


def test_moment_of_a_sphere_is_its_magnetization_times_its_volume():
    # D.-X. Chen and others, IEEE Trans. Magn. 27 (1991) 3601: of a sphere M = 3 (B0 - mu_0 H)/mu_0, uniform; H of the reference case
    case = CASES["frohlich-sphere"]
    B0, H = case.setup["B0_T"][3], case.expected["H_inside_A_per_m"][3]
    M = 3 * (B0 / MU_0 - H)
    assert sphere(FROHLICH, B0).dipole_moment() == pytest.approx(M * 4 / 3 * math.pi * 0.01**3, rel=1e-3)


def coil_under_disc(height, current, accuracy=5e-4):
    disc = geo.disc(radius=10e-3, thickness=2e-3, at=height, material=fs.material("steel 1010"), name="disc")
    coil = geo.winding(inner_radius=6e-3, outer_radius=12e-3, height=6e-3, turns=100, name="coil")
    return fs.solve_static(geo.CrossSection([coil, disc]), currents={"coil": current}, accuracy=accuracy)


@pytest.fixture(scope="module")
def attracted():
    return coil_under_disc(8e-3, 1000.0)


@pytest.mark.slow
def test_force_on_saturated_metal_is_the_slope_of_co_energy(attracted):
    # virtual work at constant current: F = dW'/dz, by differences of the fourth order
    assert np.hypot(*attracted.flux_density(5e-3, 8e-3)) > 2.5
    step = 1e-3
    W = {k: coil_under_disc(8e-3 + k * step, 1000.0).coenergy() for k in (-2, -1, 1, 2)}
    slope_of_coenergy = (8 * (W[1] - W[-1]) - (W[2] - W[-2])) / (12 * step)
    assert attracted.axial_force("disc") == pytest.approx(slope_of_coenergy, rel=3e-3)
    assert attracted.axial_force("disc") < 0


def test_force_on_metal_and_coil_are_opposite(attracted):
    assert attracted.axial_force("disc") == pytest.approx(-attracted.axial_force("coil", route="J x B"), rel=1e-3)


def test_energy_and_co_energy_add_up_to_current_times_flux(attracted):
    assert attracted.energy() + attracted.coenergy() == pytest.approx(1000.0 * attracted.flux_linkage("coil"), rel=1e-9)
    assert attracted.coenergy() > attracted.energy()                      # a curve that bends down has more below it than above
    assert attracted.inductance("coil") == pytest.approx(attracted.flux_linkage("coil") / 1000.0, rel=1e-9)


def test_saturation_takes_inductance_away(attracted):
    assert attracted.inductance("coil") < 0.99 * coil_under_disc(8e-3, 10.0).inductance("coil")


def test_field_strength_of_straight_metal_magnet_and_air():
    magnet = fs.Material(conductivity=0.0, remanence=1.2, relative_permeability=1.05)
    section = geo.CrossSection([geo.cylinder(radius=0.01, length=0.02, material=magnet, name="magnet")])
    field = fs.solve_static(section)
    for r, z in ((0.0, 0.0), (0.004, 0.003), (0.0, 0.02), (0.5, 0.5)):
        inside = r < 0.01 and abs(z) < 0.01
        (B_r, B_z), (H_r, H_z) = field.flux_density(r, z), field.field_strength(r, z)
        mu = MU_0 * (1.05 if inside else 1.0)
        assert mu * H_r == pytest.approx(B_r, rel=1e-9, abs=1e-12)
        assert mu * H_z + (1.2 if inside else 0.0) == pytest.approx(B_z, rel=1e-9)
    grid = field.field_strength(np.zeros((2, 3)), np.linspace(0, 0.03, 6).reshape(2, 3))
    assert grid[0].shape == grid[1].shape == (2, 3)


# --- at a frequency ----------------------------------------------------------------------------------------------

def test_effective_reluctivity_of_a_curve_with_one_bend_is_its_describing_function():
    """A. Gelb, W. E. Vander Velde, Multiple-Input Describing Functions and Nonlinear System Design (1968): saturation."""
    bend, steep = 200.0, 5e-3
    curve = fs.BHTable(field=(bend, 1e5), flux_density=(steep * bend, steep * bend + MU_0 * (1e5 - bend)), smooth=False)
    H = np.array([1.0, 150.0, 250.0, 600.0, 5e3, 5e4])
    share = np.minimum(bend / H, 1.0)
    mu = MU_0 + (steep - MU_0) * 2 / math.pi * (np.arcsin(share) + share * np.sqrt(1 - share**2))
    assert 1 / effective_reluctivity(curve, H) == pytest.approx(mu, rel=2e-3)


def test_a_weak_field_at_a_frequency_is_that_of_the_initial_permeability():
    def ball(**magnetism):
        section = geo.CrossSection([geo.sphere(radius=10e-3, material=fs.Material(conductivity=1e6, **magnetism))])
        return fs.solve_harmonic(section, 200.0, applied_field=1e-5, accuracy=1e-2)
    bent, straight = ball(bh_curve=fs.Frohlich(saturation=2.0, initial_permeability=30.0)), ball(relative_permeability=30.0)
    assert complex(bent.dipole_moment()) == pytest.approx(complex(straight.dipole_moment()), rel=5e-3)
    assert "effective reluctivity" in bent.approximations[0]
    assert straight.approximations == ()


def test_metal_of_one_reluctivity_at_its_points_is_straight_metal():
    """Matrices, load of a uniform field and moment of a permeable ball, whose reluctivity is given at each point instead."""
    section = geo.CrossSection([geo.sphere(radius=10e-3, material=fs.Material(conductivity=1e6, relative_permeability=30.0))])
    mesh = mesh_section(section)
    nu, ball = linear_reluctivity(section, mesh), mesh.part_triangles("sphere")
    rule = rule_of_forms(mesh.order)
    zone = PrescribedReluctivity(gauss_points(mesh, ball, rule), np.full((len(ball), rule**2), 1 / (30 * MU_0)))
    assert zone.matrices() == pytest.approx(stiffness_local(mesh, nu, ball), rel=0, abs=1e-14 * zone.matrices().max())
    load = reluctivity_load(mesh, nu)
    assert vector(mesh, ball, zone.load()) == pytest.approx(load, rel=0, abs=1e-14 * np.abs(load).max())
    field = 0.5 + mesh.nodes[:, 0] ** 2 * (1 + 1j) / 1e-4
    assert zone.moment(field) == pytest.approx(magnetization_moment(mesh, nu, np.zeros(len(nu)), field), rel=1e-14)
    assert zone.mean_reluctivity() == pytest.approx(nu[ball], rel=1e-14)


@pytest.mark.slow
def test_saturated_steel_at_a_frequency_needs_no_more_cells_than_its_skin():
    """Where nu was one number a triangle the error fell with the unknowns, not with their square, and took 200 000 of them."""
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("steel 1010"))
    section = geo.CrossSection([geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=26e-3, turns=8), disc])
    rough, fine = (fs.solve_harmonic(section, 300.0, {"coil": 1e3}, accuracy=accuracy, goals="loss") for accuracy in (1e-2, 2e-3))
    assert fine.accuracy_reached and fine.unknowns < 10_000
    assert abs(rough.loss("disc") - fine.loss("disc")) < rough.loss("disc").error


def test_loss_in_saturated_metal_is_near_that_of_the_limiting_theory():
    """P. D. Agarwal, AIEE Trans. 78, 169 (1959), from memory: 8/(3 pi) H^2/(sigma d), d^2 = 2 H/(omega sigma B_s), of a curve that steps.

    The effective reluctivity leaves out harmonics; it is 10 % low here, which is what 'approximate' means.
    """
    sigma, saturation, frequency, H = 5e6, 1.5, 50.0, 2e4
    depth = math.sqrt(2 * H / (2 * math.pi * frequency * sigma * (saturation + MU_0 * H)))
    metal = fs.Material(conductivity=sigma, bh_curve=fs.Frohlich(saturation=saturation, initial_permeability=2e4))
    strip = geo.AxialStrip([geo.tube(inner_radius=0.98, wall=0.02, length=1e-3, material=metal)])
    run = fs.solve_harmonic(strip, frequency, face_field=H, accuracy=1e-2)
    assert run.loss("tube") / (2 * math.pi * 1e-3) == pytest.approx(8 / (3 * math.pi) * H**2 / (sigma * depth), rel=0.15)


def test_force_on_metal_with_a_curve_at_a_frequency_is_by_the_stress_around_it():
    coil = geo.loop(radius=20e-3)
    ball = geo.sphere(radius=8e-3, at=10e-3, material=fs.Material(conductivity=1e6, bh_curve=FROHLICH))
    run = fs.solve_harmonic(geo.CrossSection([coil, ball]), 100.0, {"coil": 1e3}, accuracy=3e-2)
    assert run.axial_force("sphere").value == run.axial_force("sphere", route="stress").value
    assert run.axial_force("sphere") == pytest.approx(-run.axial_force("coil").value, rel=5e-2)


# --- edges --------------------------------------------------------------------------------------------------------

def test_a_bore_with_a_magnetic_edge_has_no_peak_and_the_rest_is_reached():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("steel 1010", relative_permeability=100.0))
    field = fs.solve_static(geo.CrossSection([coil, disc]), currents={"coil": 1e3}, accuracy=1e-2)
    assert field.accuracy_reached
    with pytest.raises(InputError, match="edges of disc, which is magnetic, has no largest value in bore"):
        field.peak_field("bore")


def test_a_smooth_magnetic_body_leaves_the_bore_its_peak():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    ball = geo.sphere(radius=5e-3, material=fs.Material(conductivity=0.0, relative_permeability=100.0))
    assert not len(ball.zones[0].outline.corners)
    field = fs.solve_static(geo.CrossSection([coil, ball]), currents={"coil": 1e3}, accuracy=2e-2)
    assert field.peak_field("bore") > 0


def stepped(metal, field, times, accuracy=5e-2):
    strip = geo.AxialStrip([geo.cylinder(radius=5e-3, length=1e-4, material=metal, name="cylinder")])
    run = fs.solve_transient(strip, times=times, face_field=field, accuracy=accuracy)
    return np.array([run.field_at(time).flux_density(np.array([0.0, 2.5e-3, 4.5e-3]), np.full(3, strip.centre))[1] for time in times])


def test_a_step_too_weak_to_saturate_is_that_of_the_initial_permeability():
    curve = fs.Frohlich(saturation=2.0, initial_permeability=20.0)
    times = [1e-3]
    bent = stepped(fs.Material(conductivity=5e6, bh_curve=curve), 10.0, times)
    straight = stepped(fs.Material(conductivity=5e6, relative_permeability=20.0), 10.0, times)
    assert bent == pytest.approx(straight, rel=0.02)


def test_a_step_ends_at_the_field_of_the_curve():
    curve = fs.Frohlich(saturation=2.0, initial_permeability=20.0)
    (end,) = stepped(fs.Material(conductivity=5e6, bh_curve=curve), 1e5, [0.02])
    assert curve.field_strength(end) == pytest.approx(1e5, rel=1e-3)


def test_saturating_metal_that_does_not_conduct_is_refused_in_a_step():
    with pytest.raises(InputError, match="saturates but does not conduct"):
        stepped(fs.Material(conductivity=0.0, bh_curve=FROHLICH), 1e5, [1e-3])


@pytest.mark.slow
def test_flux_front_reaches_the_axis_when_the_closed_form_says():
    (check,) = nonlinear.checks(["saturable-flux-front-cylinder"])
    assert check.passed, tables.line(check)


def test_a_sheet_with_half_a_curve_is_refused(tmp_path):
    (tmp_path / "own.toml").write_text('name = "own"\n[conductivity]\nvalue = 5e6\nunit = "S/m"\nsource = "invented"\nmark = "given"\n'
                                       '[saturation]\nvalue = 1.5\nunit = "T"\nsource = "invented"\nmark = "given"\n', encoding="utf-8")
    with pytest.raises(InputError, match="saturation alone makes no magnetization curve"):
        fs.read_material(tmp_path / "own.toml")
