"""Error bounds against true errors: sphere and cylinder over the band, and the recipes of the benchmarks."""
from functools import cache

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks import errors, harmonic
from benchmarks.closed_forms import eddy
from fieldsolve.field.adaptivity.error_bounds import ErrorBounds, bound_errors
from fieldsolve.field.adaptivity.error_indicators import ENERGY_EFFECTIVITY, HEAT_EFFECTIVITY, Goal
from fieldsolve.field.adaptivity.refinement import surface_cell_sizes
from fieldsolve.field.harmonic.gmres import harmonic_operator
from fieldsolve.field.quantities.force import point_functional
from fieldsolve.field.quantities.peak_field import rival_peaks
from fieldsolve.field.system.eddy_current import eddy_system
from geometries.errors import InputError
from geometries.mesher import mesh_section

LOW = [117.0, 403.0]        # where rows of even triangles around the sphere once hid its error


@cache
def sphere_pairs(frequency):
    return tuple(errors.sphere_pairs([frequency], 1e-3))


@pytest.mark.parametrize("frequency", LOW)
def test_sphere_within_its_error_bound(frequency):
    pairs = sphere_pairs(frequency)
    assert len(pairs) == 2 and all(pair.ratio >= 1 for pair in pairs), pairs


@pytest.mark.slow
def test_most_goals_are_within_and_few_far_inside():
    spheres = [pair for frequency in (53.0, *LOW, 900.0) for pair in sphere_pairs(frequency)]
    pairs = [*spheres, *errors.cylinder_pairs(errors.band(12), 1e-3)]
    count, share, median_ratio = errors.pair_statistics(pairs)
    assert count == len(pairs) and share >= errors.SMALLEST_SHARE_WITHIN and median_ratio <= errors.LARGEST_MEDIAN_RATIO, pairs


@pytest.mark.slow
def test_over_all_cases():
    count, share, median_ratio = errors.pair_statistics(errors.all_pairs())
    assert count >= 60 and share >= errors.SMALLEST_SHARE_WITHIN and median_ratio <= errors.LARGEST_MEDIAN_RATIO


def test_error_of_a_quantity_follows_from_those_of_its_goals():
    """L over the turns squared, and over the mean radius: one figure, one relative error."""
    first, second = errors.case_pairs(["brooks-coil-10"])
    assert first.ratio == pytest.approx(second.ratio, rel=1e-2) and first.counts and first.ratio > 1


def test_a_reference_of_few_digits_does_not_count():
    assert errors.half_digit(3.35) == pytest.approx(0.005) and errors.half_digit(1.2e-7) == pytest.approx(5e-9)
    (pair,) = errors.worst_pair("case", "figure", np.array([1e-3]), np.array([1e-2]), np.array([2e-3]))
    assert not pair.counts


# ---- the rule ------------------------------------------------------------------------------------------------------------

def error_bound(value, estimate, before, least_effectivity=0.0, family="", order=2):
    """Stated error of a figure of scale 1 on the finer of two meshes; `before` is (value, estimate) on the coarser."""
    goals = [{"figure": Goal(v, 1.0, [], least_effectivity, family)} for v in (value, before[0])]
    return bound_errors(goals[0], np.array([estimate]), goals[1], np.array([before[1]]), ErrorBounds({}, {}, {}), order).errors["figure"]


def test_a_small_difference_by_chance_gives_no_small_bound_of_an_energy_or_heat():
    for least_effectivity in (ENERGY_EFFECTIVITY, HEAT_EFFECTIVITY[2]):
        assert error_bound(1.0, 1e-3, (1.0, 1e-2), least_effectivity) == pytest.approx(least_effectivity * 1e-3, rel=1e-6)


def test_where_the_estimate_fell_far_the_last_change_counts_no_more_than_its_reduction():
    """A move of 1e-3 from a mesh a thousand times worse: error 1e-6, stated 20 times that; where it fell by ten, half the move."""
    assert error_bound(1.0, 1e-6, (1.001, 1e-3)) == pytest.approx(2e-5, rel=1e-6)
    assert error_bound(1.0, 1e-4, (1.001, 1e-3)) == pytest.approx(5e-4, rel=1e-6)


def test_in_order_4_a_smaller_part_of_the_last_change_counts():
    """The value moved by 1e-3 while the estimate fell by ten: extrapolated to 1.1e-4, of which 4, of heat 3; at least 0.3."""
    change = 1e-3 * 0.1 / 0.9
    assert error_bound(1.0, 1e-4, (1.001, 1e-3), order=4) == pytest.approx(4 * change, rel=1e-6)
    assert error_bound(1.0, 1e-4, (1.001, 1e-3), HEAT_EFFECTIVITY[4], order=4) == pytest.approx(2.8 * change, rel=1e-6)
    assert error_bound(1.0, 5e-5, (1.001, 1e-3), order=4) == pytest.approx(3e-4, rel=1e-6)


def test_an_old_effectivity_fades():
    """A share told by the meshes before counts half of what it did."""
    new, old = Goal(1.0, 1.0, []), Goal(1.0, 1.0, [])
    bounds = bound_errors({"peak": new}, np.array([1e-4]), {"peak": old}, np.array([1e-3]), ErrorBounds({}, {}, {"peak": 0.8}))
    assert bounds.effectivities["peak"] == pytest.approx(0.4) and bounds.errors["peak"] == pytest.approx(4 * 0.4 * 1e-4, rel=1e-6)


def test_a_mesh_refined_for_other_goals_keeps_the_bound_before():
    """Where the estimate stayed and the figure moved by 1e-6, its error is at most what it was and that move."""
    new, old = Goal(1.0, 1.0, []), Goal(1.0 + 1e-6, 1.0, [])
    for before, wanted in ((5e-6, 6e-6), (1.0, 1e-4)):
        bounds = bound_errors({"peak": new}, np.array([1e-3]), {"peak": old}, np.array([1e-3]), ErrorBounds({"peak": before}, {}, {}))
        assert bounds.errors["peak"] == pytest.approx(wanted, rel=1e-4)


# ---- dual fields ---------------------------------------------------------------------------------------------------------

def test_dual_fields_at_a_frequency_decay_as_the_true_ones():
    """Of B at the centre of a copper sphere of nine skin depths: at its surface within a factor of two of the complex solution."""
    radius, sigma, frequency = *errors.SPHERE, 1000.0
    section = geo.CrossSection([geo.sphere(radius=radius, material=fs.Material(conductivity=sigma))])
    mesh = mesh_section(section, part_sizes=surface_cell_sizes(section, 4 * frequency))
    operator = harmonic_operator(eddy_system(section, mesh), 2 * np.pi * frequency)
    functional = point_functional(mesh, 0.0, 0.0, (0.0, 1.0))
    surface = np.abs(np.hypot(*mesh.nodes.T) - radius) < 1e-6 * radius
    duals = operator.solve(functional.astype(complex)), operator.proxy_solve(functional[:, None])[:, 0]
    true, real = (np.abs(dual[surface]).mean() for dual in duals)
    assert 0.5 < real / true < 2


@pytest.mark.parametrize("metal_at", [True, False])
def test_points_around_a_copper_sphere(metal_at):
    """B within three radii, closed form (L. D. Landau, E. M. Lifshitz); 97 in 100 points within what is stated."""
    radius, sigma, frequency = *errors.SPHERE, 500.0
    (field,) = harmonic.solid_sphere_fields(radius, sigma, [frequency], 1e-3)
    rng = np.random.default_rng(3)
    distance = radius * (rng.uniform(0.05, 0.99, 150) if metal_at else rng.uniform(1.01, 3.0, 150))
    angle = np.arccos(rng.uniform(-1, 1, 150))
    r, z = distance * np.sin(angle), distance * np.cos(angle)
    error = np.linalg.norm(np.stack(field.flux_density(r, z)) - eddy.sphere_field(radius, sigma, frequency, r, z), axis=0)
    assert (error <= field.flux_density_error(r, z)).mean() >= 0.97
    assert field.flux_density_error(0.0, 0.0).shape == ()


# ---- figures asked for -----------------------------------------------------------------------------------------------------

def test_accuracy_of_the_goals_named_alone():
    (full,) = harmonic.solid_sphere_fields(*errors.SPHERE, [1000.0], 1e-4)
    loss = fs.solve_harmonic(full.section, 1000.0, applied_field=1.0, accuracy=1e-4, goals="loss")
    assert loss.accuracy_reached and loss.unknowns < 0.9 * full.unknowns
    assert abs(loss.loss("sphere") - full.loss("sphere")) <= loss.loss("sphere").error + full.loss("sphere").error
    assert loss.dipole_moment().error > 0


@pytest.mark.parametrize("solve", [lambda section, name: fs.solve_harmonic(section, 50.0, applied_field=1.0, goals=[name]),
                                   lambda section, name: fs.solve_static(section, applied_field=1.0, goals=[name])])
def test_a_goal_that_is_not_there_is_named(solve):
    section = geo.CrossSection([geo.sphere(radius=0.02, material=fs.Material(conductivity=5.8e7), name="ball")])
    with pytest.raises(InputError, match="goals: no goal is called 'los'; those of this problem are "):
        solve(section, "los")


def test_a_goal_of_no_size_is_an_error():
    """A disc of next to no conductivity does not change a loop's impedance."""
    disc = geo.disc(radius=1e-3, thickness=0.1e-3, at=40e-3, material=fs.Material(conductivity=1e-3))
    section = geo.CrossSection([geo.loop(radius=20e-3, name="loop"), disc])
    with pytest.raises(InputError, match="goals: resistance change: of no size in this problem"):
        fs.solve_harmonic(section, 50.0, {"loop": 1.0}, goals="resistance change")


def test_both_edges_of_a_disc_are_rivals_for_the_peak_of_the_bore():
    """At 1 MHz the field is largest at the two edges of the rim, mirror images 2 mm apart: both are refined, or each in turn."""
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    section = geo.CrossSection([geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=26e-3, turns=8), disc])
    field = fs.solve_harmonic(section, 1e6, {"coil": 1.0}, goals="peak")
    rivals = rival_peaks(section, field.fine.solution, "bore")
    assert {np.sign(peak.z) for peak in rivals if peak.r == pytest.approx(15e-3) and abs(peak.z) > 0.9e-3} == {-1.0, 1.0}
