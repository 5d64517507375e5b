"""Thin rows: what they are, that momentum and figures stay, and that they no longer rule the sub-step."""
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.motion.plastic_flow.explicit_step import advance_solid
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_parts
from fieldsolve.motion.plastic_flow.selective_mass_scaling import MassScaling
from fieldsolve.motion.plastic_flow.solid import solid_at_rest
from tests.motion.plastic_flow.test_flow import pressed, rim_force
from tests.motion.sample_metal import mechanical, solid

PLATED = geo.clad_disc(radius=15e-3, layers=[(40e-6, 1), (1.92e-3, 2), (40e-6, 1)])
NOBODY = np.zeros(0, dtype=int)


def unslowed(bodies):
    return replace(bodies, mass_scaling=MassScaling(NOBODY, NOBODY, np.zeros(0), np.ones(len(bodies.density))))


def test_a_plating_is_one_row_of_pairs():
    bodies = solid(mesh_parts([PLATED]), mechanical())
    nodes, thin = bodies.mesh.nodes, bodies.mass_scaling
    assert np.ptp(nodes[np.stack([thin.first, thin.second]), 1], axis=0) == pytest.approx(40e-6)
    assert nodes[thin.first, 0] == pytest.approx(nodes[thin.second, 0])
    assert len(thin.pair_mass) == 2 * len(np.unique(nodes[:, 0])) and (thin.pair_mass > 0).all()
    assert (thin.time_scale > 4).sum() == len(thin.pair_mass) - 2


@pytest.mark.parametrize("part", [geo.disc(radius=15e-3, thickness=2e-3), geo.disc(radius=15e-3, thickness=20e-6),
                                  geo.clad_disc(radius=15e-3, layers=[(0.3e-3, 1), (1.4e-3, 2), (0.3e-3, 1)])])
def test_nothing_else_is_slowed(part):
    thin = solid(mesh_parts([part]), mechanical()).mass_scaling
    assert len(thin.pair_mass) == 0 and (thin.time_scale == 1).all()


def test_forces_on_the_nodes_change_the_momentum_as_if_there_were_no_pairs():
    bodies = solid(mesh_parts([PLATED]), mechanical())
    force = np.random.default_rng(1).normal(size=(len(bodies.mass), 2)) @ [1, 1j]
    acceleration = force / bodies.mass
    bodies.mass_scaling.scale_accelerations(acceleration, bodies.mass)
    assert (bodies.mass * acceleration).sum() == pytest.approx(force.sum())
    relative = acceleration[bodies.mass_scaling.second] - acceleration[bodies.mass_scaling.first]
    assert bodies.mass[bodies.mass_scaling.second] * acceleration[
        bodies.mass_scaling.second
    ] + bodies.mass_scaling.pair_mass * relative == pytest.approx(force[bodies.mass_scaling.second])


def test_a_pressed_disc_ends_as_unslowed_in_far_fewer_sub_steps():
    bodies = solid(mesh_parts([PLATED], 0.5), mechanical())
    force, rim = rim_force(bodies, 400e6)
    ends, counts = [], []
    for some in (bodies, unslowed(bodies)):
        ends.append(pressed(some, force, 45e-6)[0])
        counts.append(advance_solid(some, solid_at_rest(some), (force(0.0), force(1e-6)), 0.0, 1e-6).substeps)
    assert counts[1] > 5 * counts[0]
    radius, unslowed_radius = (state.positions[rim, 0].mean() for state in ends)
    assert 15e-3 - unslowed_radius > 1e-3
    assert radius == pytest.approx(unslowed_radius, rel=2.5e-4)
    thickness, unslowed_thickness = (np.ptp(state.positions[rim, 1]) for state in ends)
    assert thickness == pytest.approx(unslowed_thickness, rel=2.8e-3)
