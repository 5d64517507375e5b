"""Rows along r: momentum and energy are kept, no sub-step is too long, and a pressed disc ends as without the scaling."""
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.motion.plastic_flow.explicit_step import advance_solid
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_parts
from fieldsolve.motion.plastic_flow.reciprocal_mass_scaling import FILTER, no_scaling
from fieldsolve.motion.plastic_flow.solid import solid_at_rest, solid_energy
from tests.motion.plastic_flow.test_flow import pressed, rim_force
from tests.motion.plastic_flow.test_quad_elements import MESHES, disturbed, elastic_modes
from tests.motion.sample_metal import mechanical, solid

DISC = geo.disc(radius=15e-3, thickness=2e-3)


def reciprocal_mass(bodies):
    """1/M' (nodes, nodes) of motion along z."""
    unit = np.diag(1 / bodies.mass).astype(complex)
    for column in unit.T:
        bodies.row_scaling.scale_accelerations(column, bodies.mass)
    return unit.real


def test_the_reciprocal_mass_is_symmetric_positive_and_keeps_the_momentum():
    bodies = solid(mesh_parts([DISC], 0.5), mechanical())
    inverse = reciprocal_mass(bodies)
    assert inverse == pytest.approx(inverse.T, abs=1e-14 * inverse.max())
    assert inverse @ bodies.mass == pytest.approx(np.ones(len(inverse)))                       # f = m g falls with g
    root = np.sqrt(bodies.mass)
    assert np.linalg.eigvalsh(root[:, None] * inverse * root).min() > (1 - FILTER) * (1 - 1e-9)


def test_kinetic_energy_is_that_of_the_scaled_mass():
    bodies, random = solid(mesh_parts([DISC], 0.5), mechanical()), np.random.default_rng(4)
    speeds = random.normal(size=len(bodies.mass))
    exact = 0.5 * speeds @ np.linalg.solve(reciprocal_mass(bodies), speeds) - 0.5 * float(bodies.mass @ speeds**2)
    along_z = np.stack([np.zeros_like(speeds), speeds], axis=1)
    assert bodies.row_scaling.kinetic_energy(along_z, bodies.mass, bodies.mesh.on_axis) == pytest.approx(exact, rel=1e-8)


def test_thin_rows_are_scaled_across_instead():
    plated = geo.clad_disc(radius=15e-3, layers=[(40e-6, 1), (1.92e-3, 2), (40e-6, 1)])
    scaling = solid(mesh_parts([plated]), mechanical()).row_scaling
    assert len(scaling.pair_mass) == 0 and scaling.slowing == 1


@pytest.mark.parametrize("squeeze", [1.0, 0.4])
@pytest.mark.parametrize("mesh", [*MESHES, disturbed(seed=2)[0]], ids=lambda mesh: f"{len(mesh.quads)} cells")
def test_no_step_is_too_long_where_rows_are_slowed(mesh, squeeze):
    """Also where the radii shrink to 0.4: there the step is longer than the cells' sound would allow."""
    positions = mesh.nodes * [squeeze, squeeze**-2]
    places = positions[:, 0] + 1j * positions[:, 1]
    modes, crossing = elastic_modes(mesh, places, scaled=True)
    unscaled, _ = elastic_modes(mesh, places)
    assert modes[-1] * crossing <= 2.0
    assert modes[-1] <= unscaled[-1] * (1 + 1e-9)


def test_a_disc_that_rings_keeps_its_energy():
    """To the 2 % that short waves make it waver by near the longest step, scaled or not; the pairs' kinetic energy is more."""
    bodies = solid(mesh_parts([DISC], 0.5), mechanical())
    radius, zero = bodies.mesh.nodes[:, 0] / 15e-3, np.zeros_like(bodies.mesh.nodes)
    start = replace(solid_at_rest(bodies), velocities=np.stack([2.0 * radius * np.cos(20 * radius), 0.5 * radius], axis=1))
    state = advance_solid(bodies, start, (zero, zero), 0.0, 20e-6).state
    assert solid_energy(bodies, state).total == pytest.approx(solid_energy(bodies, start).total, rel=3e-2)
    share = bodies.row_scaling.kinetic_energy(start.velocities, bodies.mass, bodies.mesh.on_axis) / solid_energy(bodies, start).kinetic
    assert share > 0.05


def test_a_pressed_disc_ends_as_without_the_scaling_in_fewer_sub_steps():
    bodies = solid(mesh_parts([DISC], 0.5), mechanical())
    force, rim = rim_force(bodies, 400e6)
    radii, counts = [], []
    for some in (bodies, replace(bodies, row_scaling=no_scaling())):
        state = pressed(some, force, 45e-6)[0]
        radii.append(state.positions[rim, 0].mean())
        counts.append(advance_solid(some, state, (force(45e-6), force(46e-6)), 0.0, 1e-6).substeps)
    assert 15e-3 - radii[1] > 1e-3
    assert radii[0] == pytest.approx(radii[1], rel=2e-4)
    assert counts[1] > 1.15 * counts[0]
