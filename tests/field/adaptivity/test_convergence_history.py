"""The convergence history of a field: what every mesh of its refinement gave, and its drawing."""
from __future__ import annotations

import math

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.report.plots.convergence import MOST_GOALS, goal_label

COIL = geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=20e-3, turns=8)
DISC = geo.disc(radius=12e-3, thickness=3e-3, material=fs.material("copper"))


@pytest.fixture(scope="module")
def field():
    return fs.solve_static(geo.CrossSection([COIL]), currents={"coil": 1.0}, accuracy=1e-4)


@pytest.fixture(scope="module")
def sweep():
    return fs.solve_harmonic(geo.CrossSection([COIL, DISC]), [1e3, 2e3, 3e3, 9e3], currents={"coil": 1.0}, accuracy=3e-2)


def test_it_ends_with_what_the_field_says(field):
    last = field.convergence[-1]
    assert len(field.convergence) == field.meshes >= 3 and last.unknowns == field.unknowns
    assert last.bounds == field.errors and last.values["inductance coil coil"] == field.inductance("coil")
    assert max(last.bounds[name] / last.scales[name] for name in last.bounds) <= field.accuracy


def test_meshes_grow_and_the_first_one_has_no_bound(field):
    first, *others = field.convergence
    assert all(math.isinf(bound) for bound in first.bounds.values()) and all(0 < e < math.inf for e in first.estimates.values())
    assert np.all(np.diff([step.unknowns for step in field.convergence]) > 0)
    assert all(math.isfinite(bound) for step in others for bound in step.bounds.values())


def test_values_of_coarser_meshes_differ_by_about_their_bounds(field):
    before, last = field.convergence[-2:]
    for name, bound in before.bounds.items():
        assert abs(before.values[name] - last.values[name]) <= bound + last.bounds[name]


def test_a_sweep_has_the_goals_of_each_frequency(sweep):
    steered, other = sweep[0], sweep[1 if sweep[1].errors == {} else 2]
    assert steered.convergence[-1].bounds == steered.errors and "loss disc" in steered.errors
    assert other.errors == {} and "1000 Hz: loss disc" in other.convergence[-1].bounds


@pytest.mark.parametrize("of_sweep", [False, True])
def test_the_drawing_shows_bounds_over_unknowns(field, sweep, of_sweep):
    drawn = sweep[0] if of_sweep else field
    ax = drawn.plot_convergence()
    assert ax.get_xscale() == ax.get_yscale() == "log" and ax.get_xlabel() == "unknowns"
    steps, worst = drawn.convergence, max(drawn.errors, key=lambda name: drawn.errors[name] / drawn.convergence[-1].scales[name])
    line = ax.get_lines()[0]
    assert line.get_label() == goal_label(worst)
    assert line.get_xdata().tolist() == [step.unknowns for step in steps]
    assert line.get_ydata()[-1] == pytest.approx(steps[-1].bounds[worst] / steps[-1].scales[worst])
    hollow = ax.get_lines()[1]
    assert hollow.get_markerfacecolor() == "white" and hollow.get_xdata().tolist() == [steps[0].unknowns]
    named = [text.get_text() for text in ax.get_legend().get_texts()]
    assert named[:min(len(drawn.errors), MOST_GOALS)] == [goal_label(name) for name in sorted(
        drawn.errors, key=lambda name: -drawn.errors[name] / steps[-1].scales[name])[:MOST_GOALS]]


def test_it_draws_on_the_axes_it_is_given(field):
    from matplotlib.figure import Figure
    ax = Figure().add_subplot()
    assert field.plot_convergence(ax) is ax and ax.has_data()
