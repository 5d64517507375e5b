"""The field at any time of a shot, and the largest field of a bore: read off it as off the series, at sharp corners too."""
import itertools

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.field.quantities.bore_peak import EDGE_CLEARANCE, BoreBoundary, LocatedPoints
from fieldsolve.shot.result.stored_field import _curve

COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 6061-T6")
BANK = fs.Bank(capacitance=100e-6, voltage=2e3, resistance=5e-3, inductance=300e-9)
END = 12e-6
POINTS = np.array([0.0, 5e-3, 5.9e-3]), np.array([0.0, 1e-3, 3e-3])


def square_wire(accuracy, motion=False, material=ALUMINIUM, **options):
    """A flat coil of square wire over a plate: |B| is largest near a corner of its innermost turn."""
    coil = geo.spiral(turns=3, inner_radius=6e-3, wire_section=(1.8e-3, 3e-3), pitch=2.3e-3, at=3.5e-3, material=COPPER)
    section = geo.CrossSection([coil, geo.plate(radius=16e-3, thickness=1.2e-3, material=material)])
    return fs.solve_shot(section, BANK, end_time=END, motion=motion, accuracy=accuracy, **options)


@pytest.fixture(scope="module")
def held():
    return square_wire(3e-3)


# ---- the largest field of a bore ----------------------------------------------------------------------------------------

def differences(shot):
    """Share by which the two readings of the bore's peak differ at each stored instant but the first, where there is no field."""
    series = shot.series("field", "bore")[1:]
    return np.array([shot.field_at(time).peak_field("bore") / value - 1 for time, value in zip(shot.times[1:], series, strict=True)])


def test_the_series_and_the_field_agree_on_the_bore_peak_at_every_stored_instant(held):
    """Both fit the same nodes, one by matrices: their roundings differ, and the condition of a fit at a corner is some 1e5."""
    assert len(differences(held)) > 10 and np.abs(differences(held)).max() < 2.5e-11


@pytest.mark.slow
def test_they_agree_where_metal_moves():
    assert np.abs(differences(square_wire(2e-2, motion=True))).max() < 1e-12


def test_the_bore_peak_at_a_square_corner_converges(held):
    """In metal of finite conductivity |B| is continuous at a corner, so every accuracy requested must be kept there."""
    best = square_wire(1e-3).peak("field", "bore")
    assert held.peak("field", "bore") == pytest.approx(best, rel=3e-3)
    assert square_wire(1e-2).peak("field", "bore") == pytest.approx(best, rel=1e-2)
    place = held.field_at(held.peak("field", "bore").time).peak_field("bore")
    assert place.r == pytest.approx(6e-3) and 2e-3 < place.z < 2.6e-3


def test_points_that_nearly_coincide_make_no_peak_of_a_small_jump():
    """Recovered slopes jump from triangle to triangle: by a percent here, between points a thousandth of their distance apart."""
    x = np.array([0.0, 1.0, 1.001, 2.0, 3.0])
    values = np.array([4.0, 4.96, 5.0, 4.9, 4.0])
    middle = np.arange(1, 4)
    even = np.maximum(np.diff(x)[:-1], np.diff(x)[1:]) < 4 * np.minimum(np.diff(x)[:-1], np.diff(x)[1:])
    boundary = BoreBoundary(LocatedPoints(x, x, None, None), middle[even], middle[even] - 1, middle[even] + 1,
                            np.diff(x)[:-1][even], np.diff(x)[1:][even])
    assert boundary.peak(values).value == 5.0
    careless = BoreBoundary(LocatedPoints(x, x, None, None), middle, middle - 1, middle + 1, np.diff(x)[:-1], np.diff(x)[1:])
    assert careless.peak(values).value > 14


def test_the_bore_keeps_clear_of_sharp_magnetic_edges_where_the_field_is_unbounded():
    """A steel disc in the bore: |B| at its edge grows with every mesh, that at a given distance from it does not."""
    coil = geo.solenoid(turns=3, bore_radius=10e-3, wire_diameter=2e-3, pitch=2.4e-3, material=COPPER)
    steel = fs.Material("magnetic", conductivity=5e6, relative_permeability=50.0)
    section = geo.CrossSection([coil, geo.disc(radius=8e-3, thickness=2e-3, material=steel)])
    shots = [fs.solve_shot(section, BANK, end_time=4e-6, motion=False, heating=False, accuracy=accuracy) for accuracy in (3e-2, 3e-3)]
    rough, good = (shot.peak("field", "bore") for shot in shots)
    assert rough == pytest.approx(good, rel=2e-2)
    place = shots[1].field_at(good.time).peak_field("bore")
    beyond = np.maximum(np.abs([place.r, place.z]) - [8e-3, 1e-3], 0)
    assert np.hypot(*beyond) >= 0.99 * EDGE_CLEARANCE * 10e-3
    at_edge = [float(np.hypot(*shot.field_at(4e-6).flux_density(8.0e-3 + 1e-6, 1.0e-3 + 1e-6))) for shot in shots]
    assert at_edge[1] > 1.2 * float(np.hypot(*shots[1].field_at(4e-6).flux_density(8.2e-3, 1.2e-3)))


# ---- between stored instants ----------------------------------------------------------------------------------------------

def test_a_stored_instant_is_as_it_is(held):
    for k in (1, len(held.times) // 2, -1):
        field = held.field_at(held.times[k])
        assert field.time == held.times[k] and field.solution.u is held.instants[k].u and field.u_t is held.instants[k].u_t


@pytest.mark.slow
@pytest.mark.parametrize("motion", [False, True])
def test_the_field_between_instants_has_the_order_of_the_steps(motion):
    mesh = square_wire(2e-2, motion, step=END / 4).instants[0].mesh

    def fields(step):
        shot = square_wire(2e-2, motion, step=step, mesh=mesh)
        return np.array([shot.field_at(time).flux_density(*POINTS) for time in times])
    step = 1e-6
    times = np.array([4, 6, 8]) * step + 0.3 * step
    exact = fields(step / 16)
    coarse, fine = (np.abs(fields(step / n) - exact).max() for n in (1, 2))
    assert coarse < 1e-2 * np.abs(exact).max()
    assert coarse / fine > 3.0


def test_the_field_does_not_jump_at_stored_instants(held):
    k = len(held.times) // 2
    before, at, after = (held.field_at(held.times[k] + shift).flux_density(*POINTS) for shift in (-1e-12, 0.0, 1e-12))
    assert np.array(before) == pytest.approx(np.array(at), rel=1e-5) and np.array(after) == pytest.approx(np.array(at), rel=1e-5)


def test_currents_and_rates_are_those_of_the_interpolated_field(held):
    time = 0.5 * (held.times[9] + held.times[10])
    field, step = held.field_at(time), 1e-3 * (held.times[10] - held.times[9])
    later, earlier = (held.field_at(time + shift) for shift in (step, -step))
    assert field.u_t == pytest.approx((later.solution.u - earlier.solution.u) / (2 * step), rel=1e-4, abs=1e-6 * np.abs(field.u_t).max())
    low, high = sorted(held.series("current", "coil")[9:11])
    assert low < field.net_current("coil") < high and field.time == time


def test_after_an_event_the_rate_before_it_does_not_count():
    """A cubic for rates that are smooth, a parabola where the one at the start is that before a switch."""
    rng = np.random.default_rng(3)
    for share, (a, b, c, d) in itertools.product((0.0, 0.2, 0.9, 1.0), rng.normal(size=(3, 4))):
        def cubic(t, a=a, b=b, c=c, d=d):
            return a + b * t + c * t**2 + d * t**3, b + 2 * c * t + 3 * d * t**2
        ends = [cubic(t) for t in (0.0, 0.5)]
        assert _curve(0.5, share, *zip(*ends, strict=True), False) == pytest.approx(cubic(0.5 * share))
        parabola = [(a, 99.0), (a + 0.5 * b + 0.25 * c, b + c)]
        assert _curve(0.5, share, *zip(*parabola, strict=True), True) == pytest.approx(
            (a + b * 0.5 * share + c * (0.5 * share) ** 2, b + c * share))


def test_a_time_outside_the_shot_is_refused(held):
    for time in (-1e-9, 1.01 * END):
        with pytest.raises(InputError, match="outside the shot"):
            held.field_at(time)
