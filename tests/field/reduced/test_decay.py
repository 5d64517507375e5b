"""Decay times against closed forms; sources stand beside these in `benchmarks/closed_forms/decay.py`."""
import math

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks.cases import load
from benchmarks.closed_forms.decay import shell_decay_times, sphere_decay_times, thin_shell_decay_time
from benchmarks.decay import FORMULA_OF
from fieldsolve.constants import MU_0

METAL = fs.Material(name="metal", conductivity=5.8e7)
CASES = load("decay.toml")


def assert_agree(times, exact, accuracy=1e-4):
    for time, value in zip(times, exact, strict=True):
        assert time.value == pytest.approx(value, rel=accuracy)
        assert abs(time.value - value) <= time.error


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_expected_figures_are_those_of_the_closed_forms(case):
    (expected,) = case.expected.values()
    assert FORMULA_OF[case.id](case.setup) == pytest.approx(expected, rel=1e-11)


def test_sphere():
    times = fs.decay_times(geo.CrossSection([geo.sphere(radius=10e-3, material=METAL)]), count=6)
    assert times[0] == pytest.approx(MU_0 * 5.8e7 * 1e-4 / math.pi**2, rel=1e-4)
    assert_agree(times, sphere_decay_times(5.8e7, 10e-3, 6))


def test_shell():
    wall = geo.shell(inner_radius=8e-3, outer_radius=10e-3, material=METAL)
    assert_agree(fs.decay_times(geo.CrossSection([wall]), count=4), shell_decay_times(5.8e7, 8e-3, 10e-3, 4))


@pytest.mark.parametrize("height", [1e-3, 20e-3])
def test_a_cylinder_is_the_same_whatever_the_height_of_its_slice(height):
    rod = geo.cylinder(radius=10e-3, length=height, material=METAL)
    assert_agree(fs.decay_times(geo.AxialStrip([rod]), count=4), CASES["decay-cylinder"].expected["decay_times_s"])


def test_the_thin_shell_is_the_limit_of_shells():
    for thickness in (1e-4, 1e-5):
        exact = shell_decay_times(5.8e7, 10e-3, 10e-3 + thickness, 1)[0]
        assert thin_shell_decay_time(5.8e7, 10e-3, thickness) == pytest.approx(exact, rel=(thickness / 10e-3) ** 2)


def test_an_open_coil_leaves_a_sphere_alone_and_a_closed_ring_does_not():
    ball = geo.sphere(radius=10e-3, material=METAL)
    coil = geo.winding(inner_radius=12e-3, outer_radius=16e-3, height=8e-3, turns=50)
    ring = geo.tube(inner_radius=12e-3, wall=4e-3, length=8e-3, material=METAL, name="ring")
    alone = MU_0 * 5.8e7 * 1e-4 / math.pi**2
    assert fs.decay_times(geo.CrossSection([ball, coil]), count=1, accuracy=1e-3)[0] == pytest.approx(alone, rel=1e-3)
    assert fs.decay_times(geo.CrossSection([ball, ring]), count=1, accuracy=1e-2)[0] > 1.1 * alone


def test_times_grow_with_conductivity_and_the_square_of_the_size():
    discs = [geo.disc(radius=scale * 10e-3, thickness=scale * 2e-3, material=fs.Material(conductivity=sigma))
             for scale, sigma in ((1, 5.8e7), (3, 5.8e7), (1, 1e7))]
    times = [fs.decay_times(geo.CrossSection([disc]), count=2, accuracy=1e-3) for disc in discs]
    assert np.divide(times[1], times[0]) == pytest.approx([9, 9], rel=3e-3)
    assert np.divide(times[2], times[0]) == pytest.approx([10 / 58, 10 / 58], rel=3e-3)


@pytest.mark.parametrize(("section", "count", "message"), [
    (geo.CrossSection([geo.loop(radius=10e-3)]), 1, "no solid metal"),
    (geo.CrossSection([geo.sphere(radius=10e-3, material=fs.material("iron"))]), 1, "B-H curve"),
    (geo.AxialStrip([geo.tube(inner_radius=5e-3, wall=1e-3, length=1e-3, material=METAL)], inner_radius=5e-3), 1, "inner_radius=0"),
    (geo.CrossSection([geo.sphere(radius=10e-3, material=METAL)]), 0, "count = 0"),
])
def test_what_has_no_decay_times_is_refused(section, count, message):
    with pytest.raises(fs.errors.InputError, match=message):
        fs.decay_times(section, count=count)
