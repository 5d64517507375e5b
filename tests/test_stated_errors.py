"""Stated errors against true ones: sphere and cylinder over the band, and the recipes of the benchmarks."""
import numpy as np
import pytest

from benchmarks import errors

LOW = [117.0, 403.0]        # where rows of even triangles around the sphere once hid its error


@pytest.mark.parametrize("frequency", LOW)
def test_sphere_within_its_stated_error(frequency):
    pairs = list(errors.sphere_pairs([frequency], 1e-3))
    assert all(pair.ratio >= 1 for pair in pairs), pairs


def test_most_figures_are_within_and_few_far_inside():
    pairs = [*errors.sphere_pairs([53.0, 117.0, 403.0, 900.0], 1e-3), *errors.cylinder_pairs(errors.band(12), 1e-3)]
    count, share, middle = errors.summary(pairs)
    assert count == len(pairs) and share >= errors.WITHIN and middle <= errors.INSIDE, pairs


@pytest.mark.slow
def test_over_all_cases():
    count, share, middle = errors.summary(errors.all_pairs())
    assert count >= 60 and share >= errors.WITHIN and middle <= errors.INSIDE


def test_error_of_a_quantity_follows_from_those_of_its_figures():
    """L over the turns squared, and over the mean radius: one figure, one relative error."""
    first, second = errors.case_pairs(["brooks-coil-10"])
    assert first.ratio == pytest.approx(second.ratio, rel=1e-2) and first.counts and first.ratio > 1


def test_a_reference_of_few_digits_does_not_count():
    assert errors.half_digit(3.35) == pytest.approx(0.005) and errors.half_digit(1.2e-7) == pytest.approx(5e-9)
    (pair,) = errors.worst_pair("case", "figure", np.array([1e-3]), np.array([1e-2]), np.array([2e-3]))
    assert not pair.counts
