"""The closed forms against the reference figures, digit for digit; no solver here."""
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from benchmarks.closed_forms import bodies, eddy, loops, sections, solenoids

REFERENCE = Path(__file__).parents[2] / "benchmarks" / "reference"
CASES = {case["id"]: case for file in ("statics", "harmonic") for case in tomllib.loads((REFERENCE / f"{file}.toml").read_text())["case"]}
THICK_COILS = ["brooks-coil-10", "thick-coil-20-30-10", "thick-coil-45-55-10", "pancake-coil-10-20-1", "coil-over-plate-air-coil"]
RINGS = ["round-wire-ring-1-percent", "round-wire-ring-10-percent", "round-wire-ring-20-percent"]


def setup_and_expected(name):
    return CASES[name]["setup"], CASES[name]["expected"]


def starting_with(prefix):
    return sorted(name for name in CASES if name.startswith(prefix))


@pytest.mark.parametrize("name", starting_with("filament-pair-"))
def test_mutual_inductance_of_circles(name):
    setup, expected = setup_and_expected(name)
    computed = loops.mutual_inductance(setup["radius_1_m"], setup["radius_2_m"], setup["distance_m"])
    assert computed == pytest.approx(expected["mutual_inductance_H"], rel=1e-12)


@pytest.mark.parametrize("name", starting_with("filament-force-"))
def test_force_between_circles(name):
    setup, expected = setup_and_expected(name)
    computed = loops.mutual_inductance_gradient(setup["radius_1_m"], setup["radius_2_m"], setup["distance_m"])
    assert computed == pytest.approx(expected["mutual_inductance_gradient_H_per_m"], rel=1e-12)


def test_force_is_the_slope_of_mutual_inductance():
    step = 1e-5
    slope = (loops.mutual_inductance(0.25, 0.2, 0.1 + step) - loops.mutual_inductance(0.25, 0.2, 0.1 - step)) / (2 * step)
    assert loops.mutual_inductance_gradient(0.25, 0.2, 0.1) == pytest.approx(slope, rel=1e-7)


def test_maxwell_table():
    setup, expected = setup_and_expected("maxwell-log-table")
    mutual = loops.mutual_inductance(1.0, 1.0, loops.pair_distance(1.0, np.array(setup["modular_angle_deg"])))
    assert np.log10(mutual / loops.MU_0) == pytest.approx(expected["log10_M_over_mu0_sqrt_Aa"], abs=2e-12)


def test_field_of_a_loop():
    setup, expected = setup_and_expected("loop-field-table")
    r, z = np.array(setup["point_r_m"]), np.array(setup["point_z_m"])
    b_r, b_z = loops.loop_flux_density(setup["loop_radius_m"], setup["current_A"], r, z)
    potential = loops.loop_vector_potential(setup["loop_radius_m"], setup["current_A"], r, z)
    assert b_z == pytest.approx(expected["Bz_T"], rel=1e-10)
    assert b_r == pytest.approx(expected["Br_T"], rel=1e-10)
    assert potential == pytest.approx(expected["Aphi_Wb_per_m"], rel=1e-10)


def test_field_of_a_loop_next_to_the_axis():
    """B_r = -(r/2) dB_z/dz of the axis, where a formula with differences of K and E has lost its digits."""
    r, z = 1e-7, 0.5
    b_r, _ = loops.loop_flux_density(1.0, 1.0, r, z)
    assert b_r == pytest.approx(r / 2 * 3 * loops.MU_0 / 2 * z / (1 + z**2) ** 2.5, rel=1e-12)
    assert loops.loop_flux_density(1.0, 1.0, 0.0, z)[0] == 0.0


def test_helmholtz_pair():
    setup, expected = setup_and_expected("helmholtz-pair")
    r, z = (np.array([0.0, *setup[key]]) for key in ("point_r_over_R", "point_z_over_R"))
    upper, lower = loops.loop_flux_density(1.0, 1.0, r, z - 0.5), loops.loop_flux_density(1.0, 1.0, r, z + 0.5)
    h_r, h_z = (upper[0] + lower[0]) / loops.MU_0, (upper[1] + lower[1]) / loops.MU_0
    assert h_z[0] == pytest.approx(expected["centre_H_over_NI_per_R"], rel=1e-12)
    assert h_z[1:] / h_z[0] == pytest.approx(expected["Hz_over_centre"], rel=1e-11)
    assert h_r[4] == pytest.approx(expected["Hr_at_r02_z02_in_NI_per_R"], rel=1e-9)


def test_nagaoka_coefficient():
    setup, expected = setup_and_expected("nagaoka-coefficient")
    assert solenoids.nagaoka_coefficient(setup["diameter_over_length"]) == pytest.approx(expected["nagaoka_coefficient"], rel=1e-11)


def test_printed_nagaoka_table_has_the_drift_its_note_states():
    setup, expected = setup_and_expected("nagaoka-printed-table")
    ratio, printed = np.array(setup["diameter_over_length"]), np.array(expected["nagaoka_coefficient"])
    drift = np.abs(solenoids.nagaoka_coefficient(ratio) - printed)
    assert drift[ratio <= 3.5].max() < 1.05e-6
    assert drift.max() == pytest.approx(8.5e-6, abs=0.05e-6)


def test_axis_of_a_sheet():
    setup, expected = setup_and_expected("thin-solenoid-axis")
    z = np.array(setup["point_z_m"])
    computed = solenoids.sheet_axis_field(setup["radius_m"], setup["length_m"], setup["ampere_turns_A"], z)
    assert computed == pytest.approx(expected["Bz_T"], rel=1e-11)


def test_field_factor_and_the_axis_of_a_thick_coil():
    setup, expected = setup_and_expected("coil-field-factor")
    alpha, beta = np.array(setup["alpha"]), np.array(setup["beta"])
    assert solenoids.field_factor(alpha, beta) == pytest.approx(expected["field_factor"], rel=1e-12)
    centre = solenoids.thick_coil_axis_field(0.01, 0.01 * alpha, 0.02 * beta, 1e8, 0.0)
    assert centre / (solenoids.MU_0 * 1e8 * 0.01) == pytest.approx(expected["field_factor"], rel=1e-12)


def test_axis_of_a_thick_coil_is_a_sum_of_sheets():
    """Off centre, where the field factor says nothing: Gauss points across the winding, each a current sheet."""
    x, w = np.polynomial.legendre.leggauss(30)
    radius = 0.015 + 0.005 * x[:, None]
    z = np.array([0.0, 0.004, 0.02])
    sheets = solenoids.sheet_axis_field(radius, 0.01, 1e8 * 0.01 * 0.005 * w[:, None], z).sum(axis=0)
    assert solenoids.thick_coil_axis_field(0.01, 0.02, 0.01, 1e8, z) == pytest.approx(sheets, rel=1e-12)


def test_best_shape_for_a_given_power():
    _, expected = setup_and_expected("uniform-current-power-optimum")
    alpha, beta, factor = solenoids.best_power_shape()
    assert (alpha, beta) == pytest.approx((expected["alpha"], expected["beta"]), rel=1e-7)
    assert factor == pytest.approx(expected["power_factor_G"], rel=1e-10)
    assert 4 * math.pi / 10 * factor == pytest.approx(expected["power_factor_handbook_units"], abs=5e-6)


@pytest.mark.parametrize("name", THICK_COILS)
def test_thick_coil_by_two_integrals(name):
    setup, expected = setup_and_expected(name)
    section = setup["inner_radius_m"], setup["outer_radius_m"], setup["axial_length_m"]
    computed = sections.thick_coil_inductance(*section)
    assert computed == pytest.approx(expected["inductance_per_turn_squared_H"], rel=6e-12)
    assert sections.thick_coil_inductance_by_bessel(*section) == pytest.approx(computed, rel=2e-9)
    mean_radius = (section[0] + section[1]) / 2
    assert computed / mean_radius == pytest.approx(expected["inductance_over_mean_radius_H_per_m"], rel=1e-9)
    if "turns" in setup:
        assert setup["turns"] ** 2 * computed == pytest.approx(expected["inductance_H"], rel=3e-9)


def test_pair_of_thick_coils():
    setup, expected = setup_and_expected("thick-pair-25-25-10-section-4")
    radii = setup["mean_radius_1_m"], setup["mean_radius_2_m"]
    computed = sections.thick_pair_inductance(radii, setup["section_width_m"], setup["section_height_m"], setup["centre_distance_m"])
    assert computed == pytest.approx(expected["mutual_inductance_per_turn_product_H"], rel=1e-11)


@pytest.mark.parametrize("name", RINGS)
def test_ring_of_round_wire(name):
    setup, expected = setup_and_expected(name)
    ring, wire = setup["ring_radius_m"], setup["wire_radius_m"]
    # half a unit of the last printed digit: 5e-13 H where six decimals of a microhenry are given, 5e-14 where seven are
    uniform, resistive = (sections.ring_inductance(ring, wire, resistive) for resistive in (False, True))
    assert uniform == pytest.approx(expected["inductance_uniform_current_H"], abs=5e-13)
    assert resistive == pytest.approx(expected["inductance_resistive_current_H"], abs=5e-13)
    assert sections.thin_ring_inductance(ring, wire) == pytest.approx(uniform, rel=0.5 * (wire / ring) ** 4 * math.log(8 * ring / wire))


def test_geometric_mean_distances():
    _, expected = setup_and_expected("geometric-mean-distance")
    rectangles = [sections.rectangle_mean_distance(1.0, height) for height in (1.0, 2.0, 4.0, 10.0)]
    computed = [*rectangles, sections.line_mean_distance(1.0), sections.disc_mean_distance(1.0)]
    assert computed == pytest.approx(expected["geometric_mean_distance"], rel=1e-11)


def test_permeable_sphere():
    setup, expected = setup_and_expected("permeable-sphere")
    mu_r = setup["relative_permeability"]
    assert bodies.sphere_inside_field(mu_r) == pytest.approx(expected["inside_B_over_B0"], rel=1e-12)
    assert bodies.sphere_dipole_coefficient(mu_r) == pytest.approx(expected["dipole_coefficient"], rel=1e-12)


def test_sphere_axis_field_is_continuous_and_ends_uniform():
    just_in, just_out, far = bodies.sphere_axis_field(10.0, 1.0, 1.0, np.array([1 - 1e-12, 1 + 1e-12, 1e6]))
    assert just_out == pytest.approx(just_in, rel=1e-11)
    assert far == pytest.approx(1.0, rel=1e-15)


def test_magnetised_cylinder():
    setup, expected = setup_and_expected("magnetised-cylinder-axis")
    z = np.array(setup["point_z_m"])
    computed = bodies.magnetised_cylinder_axis_field(setup["radius_m"], setup["length_m"], setup["mu0_M_T"], z)
    assert computed == pytest.approx(expected["Bz_T"], rel=1e-11)


def test_demagnetising_factor():
    setup, expected = setup_and_expected("cylinder-demagnetising-factor")
    computed = bodies.cylinder_demagnetising_factor(setup["diameter_over_length"])
    assert computed == pytest.approx(expected["demagnetising_factor"], rel=1e-11)


def test_magnetic_pressure():
    setup, expected = setup_and_expected("magnetic-pressure")
    assert bodies.magnetic_pressure(setup["B_T"]) == pytest.approx(expected["pressure_Pa"], rel=1e-9)


# --- eddy currents -----------------------------------------------------------------------------------------------


def test_round_wire():
    setup, expected = setup_and_expected("round-wire-ac")
    x = np.array(setup["x"])
    assert eddy.wire_impedance_ratio(x).real == pytest.approx(expected["resistance_ratio"], rel=1e-11)
    assert eddy.wire_inductance_ratio(x) == pytest.approx(expected["internal_inductance_ratio"], rel=1e-11)


@pytest.mark.parametrize("name", ["round-wire-ac-published", "round-wire-ac-published-recalled"])
def test_published_round_wire_figures_to_their_digits(name):
    setup, expected = setup_and_expected(name)
    assert eddy.wire_impedance_ratio(np.array(setup["x"])).real == pytest.approx(expected["resistance_ratio"], rel=5e-4)
    if "x_of_inductance" in setup:
        found = eddy.wire_inductance_ratio(np.array(setup["x_of_inductance"]))
        assert found == pytest.approx(expected["internal_inductance_ratio"], abs=6e-4)


def test_long_cylinder():
    setup, expected = setup_and_expected("cylinder-axial-field")
    q = np.array(setup["q"])
    mu, centre = eddy.cylinder_effective_permeability(q), eddy.cylinder_centre_field(q)
    assert mu.real == pytest.approx(expected["mu_eff_re"], rel=1e-11)
    assert mu.imag == pytest.approx(expected["mu_eff_im"], rel=1e-11)
    assert np.abs(centre) == pytest.approx(expected["centre_modulus"], rel=1e-9)
    turned = np.exp(1j * (np.angle(centre) - np.radians(expected["centre_phase_deg"])))
    assert turned == pytest.approx(np.ones_like(turned), abs=3e-7)          # its last has six digits


def test_cylinder_of_largest_loss():
    _, expected = setup_and_expected("cylinder-axial-field")
    q = expected["q_of_largest_minus_im"] * np.array([0.999, 1.0, 1.001])
    below, largest, above = -eddy.cylinder_effective_permeability(q).imag
    assert largest == pytest.approx(expected["largest_minus_im"], rel=1e-11)
    vertex = q[1] - 0.5 * (q[2] - q[1]) * (above - below) / (above + below - 2 * largest)        # of the parabola through the three
    assert vertex == pytest.approx(expected["q_of_largest_minus_im"], rel=1e-6)


def test_hollow_sphere():
    setup, expected = setup_and_expected("hollow-sphere-harmonic")
    shell = eddy.shell_field(*(setup[key] for key in ("inner_radius_m", "outer_radius_m", "sigma_S_per_m", "frequency_Hz", "B0_peak_T")))
    assert shell.cavity == pytest.approx(complex(expected["cavity_B_re_T"], expected["cavity_B_im_T"]), rel=1e-10)
    assert shell.loss == pytest.approx(expected["mean_power_W"], rel=1e-12)
    on_axis = shell.flux_density(setup["axis_r_m"], 0.0)[0]
    on_equator = shell.flux_density(setup["equator_r_m"], math.pi / 2)[1]
    current = shell.current_density(setup["current_r_m"], math.pi / 2)
    assert on_axis.real == pytest.approx(expected["axis_Br_re_T"], abs=1e-9)
    assert on_axis.imag == pytest.approx(expected["axis_Br_im_T"], abs=1e-9)
    assert on_equator.real == pytest.approx(expected["equator_Btheta_re_T"], abs=1e-9)
    assert on_equator.imag == pytest.approx(expected["equator_Btheta_im_T"], abs=1e-9)
    assert current.real == pytest.approx(expected["equator_Jphi_re_A_per_m2"], rel=2e-6)
    assert current.imag == pytest.approx(expected["equator_Jphi_im_A_per_m2"], rel=2e-6)


def test_heat_in_the_hollow_sphere_is_the_integral_of_its_current():
    """The power fed into the dipole against integral of |J|^2 / (2 sigma), where sin(theta)^2 gives 8 pi / 3."""
    x, w = np.polynomial.legendre.leggauss(40)
    shell = eddy.shell_field(0.050, 0.055, 5e8, 50.0, 1.0)
    rho = 0.0525 + 0.0025 * x
    heat = np.sum(0.0025 * w * rho**2 * np.abs(shell.current_density(rho, math.pi / 2)) ** 2) * 8 * math.pi / 3 / (2 * 5e8)
    assert shell.loss == pytest.approx(heat, rel=1e-12)


def test_solid_sphere_two_ways():
    setup, expected = setup_and_expected("solid-sphere-harmonic")
    sphere = setup["radius_m"], setup["sigma_S_per_m"]
    moment = np.array([eddy.sphere_moment(*sphere, frequency) for frequency in setup["frequency_Hz"]])
    loss = [eddy.sphere_loss(*sphere, frequency, 1.0) for frequency in setup["frequency_Hz"]]
    assert moment.real == pytest.approx(expected["moment_re"], rel=1e-11)
    assert moment.imag == pytest.approx(expected["moment_im"], rel=1e-11)
    assert loss == pytest.approx(expected["loss_over_B0_squared_W_per_T2"], rel=1e-10)
    bored = eddy.shell_field(1e-5, *sphere, 1000.0, 1.0)
    assert bored.loss == pytest.approx(loss[1], rel=1e-8)


def test_loop_over_half_space():
    setup, expected = setup_and_expected("loop-over-half-space")
    loop = setup["loop_radius_m"], setup["height_m"]
    found = [eddy.loop_over_plate(*loop, setup["sigma_S_per_m"], frequency) for frequency in setup["frequency_Hz"]]
    assert [effect.inductance_change for effect in found] == pytest.approx(expected["delta_L_H"], rel=5e-9)
    assert [effect.resistance_change for effect in found] == pytest.approx(expected["delta_R_ohm"], rel=5e-9)
    assert [effect.repulsion for effect in found] == pytest.approx(expected["mean_repulsion_N_per_A2"], rel=5e-9)
    assert eddy.loop_over_perfect_conductor(*loop) == pytest.approx(expected["perfect_conductor_delta_L_H"], rel=1e-10)


def test_a_loop_far_above_its_skin_depth_sees_its_image():
    found = eddy.loop_over_plate(0.010, 0.002, 5.8e7, 1e14)
    assert found.inductance_change == pytest.approx(eddy.loop_over_perfect_conductor(0.010, 0.002), rel=1e-5)
    slope = loops.mutual_inductance_gradient(0.010, 0.010, 0.004)           # dM/dd of the image at d = 2 h; mean over the cycle: half
    assert found.repulsion == pytest.approx(-slope / 2, rel=1e-5)


def test_coil_over_plate():
    setup, expected = setup_and_expected("coil-over-plate")
    coil = [setup[key] for key in ("inner_radius_m", "outer_radius_m", "axial_length_m", "turns", "lift_off_m", "sigma_S_per_m")]
    found = [eddy.coil_over_plate(*coil, frequency, setup["plate_thickness_m"]) for frequency in setup["frequency_Hz"]]
    assert [effect.inductance_change for effect in found] == pytest.approx(expected["delta_L_H"], rel=5e-9)
    assert [effect.resistance_change for effect in found] == pytest.approx(expected["delta_R_ohm"], rel=5e-9)


def test_thin_disc():
    setup, expected = setup_and_expected("thin-disc-axial-field")
    disc, applied = (setup["radius_m"], setup["thickness_m"], setup["sigma_S_per_m"]), setup["B0_peak_T"]
    assert eddy.disc_low_frequency_loss(*disc, setup["limit_frequency_Hz"], applied) == pytest.approx(expected["limit_power_W"], rel=5e-9)
    assert eddy.disc_low_frequency_loss(*disc, 50.0, applied) == pytest.approx(expected["limit_power_50_Hz_W"], rel=1e-6)
    by_rings = [eddy.disc_loss_by_rings(*disc, frequency, applied) for frequency in setup["frequency_Hz"]]
    assert by_rings == pytest.approx(expected["power_W"], rel=2e-6)
