"""Thin rows: what they are, that momentum and figures stay, and that they no longer rule the sub-step."""
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.motion.plastic_flow.explicit_step import advance
from fieldsolve.motion.plastic_flow.quad_mesh import quad_mesh
from fieldsolve.motion.plastic_flow.selective_mass_scaling import ThinRows
from fieldsolve.motion.plastic_flow.solid import at_rest
from tests.motion.metal import mechanical, solid
from tests.motion.plastic_flow.test_flow import pressed, rim_force

PLATED = geo.clad_disc(radius=15e-3, layers=[(40e-6, 1), (1.92e-3, 2), (40e-6, 1)])
NOBODY = np.zeros(0, dtype=int)


def unslowed(bodies):
    return replace(bodies, thin=ThinRows(NOBODY, NOBODY, np.zeros(0), np.ones(len(bodies.density))))


def test_a_plating_is_one_row_of_pairs():
    bodies = solid(quad_mesh([PLATED]), mechanical())
    nodes, thin = bodies.mesh.nodes, bodies.thin
    assert np.ptp(nodes[np.stack([thin.one, thin.other]), 1], axis=0) == pytest.approx(40e-6)
    assert nodes[thin.one, 0] == pytest.approx(nodes[thin.other, 0])
    assert len(thin.extra) == 2 * len(np.unique(nodes[:, 0])) and (thin.extra > 0).all()
    assert (thin.slowed > 4).sum() == len(thin.extra) - 2


@pytest.mark.parametrize("part", [geo.disc(radius=15e-3, thickness=2e-3), geo.disc(radius=15e-3, thickness=20e-6),
                                  geo.clad_disc(radius=15e-3, layers=[(0.3e-3, 1), (1.4e-3, 2), (0.3e-3, 1)])])
def test_nothing_else_is_slowed(part):
    thin = solid(quad_mesh([part]), mechanical()).thin
    assert len(thin.extra) == 0 and (thin.slowed == 1).all()


def test_forces_on_the_nodes_change_the_momentum_as_if_there_were_no_pairs():
    bodies = solid(quad_mesh([PLATED]), mechanical())
    force = np.random.default_rng(1).normal(size=(len(bodies.mass), 2)) @ [1, 1j]
    acceleration = force / bodies.mass
    bodies.thin.held_back(acceleration, bodies.mass)
    assert (bodies.mass * acceleration).sum() == pytest.approx(force.sum())
    relative = acceleration[bodies.thin.other] - acceleration[bodies.thin.one]
    assert bodies.mass[bodies.thin.other] * acceleration[bodies.thin.other] + bodies.thin.extra * relative == pytest.approx(
        force[bodies.thin.other])


def test_a_pressed_disc_ends_as_unslowed_in_far_fewer_sub_steps():
    bodies = solid(quad_mesh([PLATED], 0.5), mechanical())
    force, rim = rim_force(bodies, 400e6)
    ends, counts = [], []
    for some in (bodies, unslowed(bodies)):
        ends.append(pressed(some, force, 45e-6)[0])
        counts.append(advance(some, at_rest(some), (force(0.0), force(1e-6)), 0.0, 1e-6).substeps)
    assert counts[1] > 5 * counts[0]
    radius, unslowed_radius = (state.positions[rim, 0].mean() for state in ends)
    assert 15e-3 - unslowed_radius > 1e-3
    assert radius == pytest.approx(unslowed_radius, rel=2.5e-4)
    thickness, unslowed_thickness = (np.ptp(state.positions[rim, 1]) for state in ends)
    assert thickness == pytest.approx(unslowed_thickness, rel=2.8e-3)
