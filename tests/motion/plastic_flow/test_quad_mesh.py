"""Bodies cut into quadrilaterals, and points that ride on them."""
import numpy as np
import pytest

import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.motion.plastic_flow.quad_mesh import MIN_ROWS, interpolation_points, mesh_parts, subdivide

BODIES = {
    "disc": (geo.disc(radius=15e-3, thickness=2e-3, at=1e-3), np.pi * 15e-3**2 * 2e-3),
    "washer": (geo.washer(radius=15e-3, thickness=2e-3, hole_radius=4e-3), np.pi * (15e-3**2 - 4e-3**2) * 2e-3),
    "clad": (geo.clad_disc(radius=15e-3, layers=[(0.1e-3, 1), (1.8e-3, 2), (0.1e-3, 1)]), np.pi * 15e-3**2 * 2e-3),
    "ring and core": (geo.ring_and_core(radius=15e-3, thickness=2e-3, core_radius=6e-3), np.pi * 15e-3**2 * 2e-3),
    "tube": (geo.tube(inner_radius=14e-3, wall=0.2e-3, length=30e-3), np.pi * (14.2e-3**2 - 14e-3**2) * 30e-3),
    "square": (geo.tube(inner_radius=14e-3, wall=2e-3, length=2e-3), np.pi * (16e-3**2 - 14e-3**2) * 2e-3),
}


def area_and_volume(mesh):
    corners = mesh.nodes[mesh.quads]
    area = np.prod(corners[:, 2] - corners[:, 0], axis=1)
    return area, 2 * np.pi * corners[:, :, 0].mean(axis=1) * area


@pytest.mark.parametrize("name", BODIES)
def test_cells_fill_the_body_and_share_nodes(name):
    body, volume = BODIES[name]
    mesh = mesh_parts([body])
    area, volumes = area_and_volume(mesh)
    assert (area > 0).all()
    assert volumes.sum() == pytest.approx(volume, rel=1e-12)
    assert len(np.unique(mesh.nodes.round(12), axis=0)) == len(mesh.nodes)
    assert set(mesh.zone) == set(range(len(body.zones)))


def test_a_disc_as_fine_as_said():
    mesh = mesh_parts([BODIES["disc"][0]])
    assert len(mesh.quads) == 60 * 8
    assert len(mesh_parts([BODIES["disc"][0]], fineness=2).quads) == 120 * 16
    assert mesh.on_axis.sum() == 9


def test_every_layer_has_two_rows():
    mesh = mesh_parts([BODIES["clad"][0]])
    heights = [len(np.unique(mesh.nodes[mesh.quads[mesh.zone == k, 0], 1].round(12))) for k in range(3)]
    assert min(heights) == MIN_ROWS


def test_bodies_stand_side_by_side_in_one_mesh():
    parts = [BODIES["disc"][0], geo.disc(radius=5e-3, thickness=1e-3, at=-5e-3, name="other")]
    mesh = mesh_parts(parts)
    assert {mesh.zones[k][0] for k in mesh.zone[mesh.cells_of("other")]} == {"other"}
    assert mesh.nodes[mesh.nodes_of("other"), 0].max() == pytest.approx(5e-3)
    assert len(mesh.nodes_of("other")) + len(mesh.nodes_of("disc")) == len(mesh.nodes)


def test_lines_stand_on_every_border():
    lines = subdivide(np.array([0.0, 1.0, 1.0 + 1e-13, 3.0]), 0.4, 2)
    assert lines == pytest.approx([0, 1 / 3, 2 / 3, 1, 1.4, 1.8, 2.2, 2.6, 3])


def test_a_round_section_is_refused():
    with pytest.raises(InputError, match=r"ball.*rectangles.*hold it still"):
        mesh_parts([geo.sphere(radius=5e-3, name="ball")])


def test_riders_keep_their_place_and_hand_on_their_forces():
    """Any bilinear motion carries them exactly, and the forces they hand to the nodes do the same work, in the axis and on edges too."""
    mesh = mesh_parts([BODIES["washer"][0], geo.disc(radius=3e-3, thickness=1e-3, name="core")])
    random = np.random.default_rng(3)
    points = np.concatenate([mesh.nodes[mesh.quads].mean(axis=1), mesh.nodes, [[0.0, 0.2e-3], [15e-3, 0.123e-3], [4e-3, -1e-3]]])
    riding = interpolation_points(mesh, points)
    assert riding.interpolate(mesh.nodes) == pytest.approx(points, abs=1e-15)
    moved = np.stack([mesh.nodes[:, 0] * (1 + 30 * mesh.nodes[:, 1]), mesh.nodes[:, 1] - 0.2 * mesh.nodes[:, 0]], axis=1)
    expected = np.stack([points[:, 0] * (1 + 30 * points[:, 1]), points[:, 1] - 0.2 * points[:, 0]], axis=1)
    assert riding.interpolate(moved) == pytest.approx(expected, abs=1e-15)
    loads, velocities = random.normal(size=points.shape), random.normal(size=mesh.nodes.shape)
    forces = riding.scatter_forces(loads, len(mesh.nodes))
    assert (forces * velocities).sum() == pytest.approx((loads * riding.interpolate(velocities)).sum(), rel=1e-12)
    assert forces.sum(axis=0) == pytest.approx(loads.sum(axis=0), rel=1e-12)


def test_a_point_in_the_air_does_not_ride():
    with pytest.raises(InputError, match="r = 2 mm"):
        interpolation_points(mesh_parts([BODIES["washer"][0]]), np.array([[5e-3, 0.0], [2e-3, 0.0]]))
