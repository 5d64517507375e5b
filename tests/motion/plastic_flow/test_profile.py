"""Sections that have flowed, and heat shared between triangles and cells."""
import numpy as np
import pytest

import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.motion.plastic_flow.conservative_transfer import build_transfer
from fieldsolve.motion.plastic_flow.profile import outline, radii, thickness, thicknesses
from fieldsolve.motion.plastic_flow.quad_mesh import mesh_parts

DISC = geo.disc(radius=15e-3, thickness=2e-3)
WASHER = geo.washer(radius=15e-3, thickness=2e-3, hole_radius=5e-3, at=10e-3)
CLAD = geo.clad_disc(radius=15e-3, layers=[(0.2e-3, 1), (1.8e-3, 2)])


def area(polygon):
    (r, z), (s, t) = polygon.T, np.roll(polygon, -1, axis=0).T
    return 0.5 * (r * t - s * z).sum()


def test_outlines_go_once_round_each_body():
    mesh = mesh_parts([DISC, WASHER])
    assert area(mesh.nodes[outline(mesh, "disc")]) == pytest.approx(30e-6)
    assert area(mesh.nodes[outline(mesh, "washer")]) == pytest.approx(20e-6)


def test_thickness_of_a_wedge():
    """A disc drawn out so that its thickness is 2 mm at the axis and grows by 0.1 mm a mm, its upper face bent: exact at every radius."""
    mesh = mesh_parts([DISC, WASHER])
    r, z = mesh.nodes.T
    moved = np.stack([0.9 * r, z * (1 + 50 * r) + 0.2 * r], axis=1)
    at = np.array([0.0, 1e-3, 5.123e-3, 13.49e-3, 13.51e-3])
    assert thickness(mesh, moved, "disc", at) == pytest.approx([*(2e-3 * (1 + 50 * at[:4] / 0.9)), 0.0], rel=1e-6)
    assert thickness(mesh, mesh.nodes, "washer", np.array([4.9e-3, 5.1e-3])) == pytest.approx([0.0, 2e-3])
    found = thicknesses(mesh, moved, "disc")
    assert found == pytest.approx({"axis": 2e-3, "mid-radius": 2e-3 * (1 + 50 * 7.5e-3), "rim": 2e-3 * (1 + 50 * 0.95 * 15e-3)}, rel=1e-5)
    assert radii(mesh, moved, "washer") == pytest.approx((4.5e-3, 13.5e-3))


def triangles(part, columns=7, rows=3):
    """A part's box in triangles that care nothing for the cells but keep to the border of the clad disc's layers."""
    inner, outer, low, high = part.bounds
    z_lines = np.concatenate([np.linspace(low, low + 0.2e-3, 2), np.linspace(low + 0.2e-3, high, rows)[1:]])
    r, z = np.meshgrid(inner + (outer - inner) * np.linspace(0, 1, columns) ** 0.7, z_lines, indexing="ij")
    a, b, c, d = (np.stack([r[i, j], z[i, j]], axis=-1).reshape(-1, 2) for i, j in (
        (slice(None, -1), slice(None, -1)), (slice(1, None), slice(None, -1)), (slice(1, None), slice(1, None)),
        (slice(None, -1), slice(1, None))))
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


@pytest.mark.parametrize("part", [DISC, CLAD, WASHER], ids=lambda part: part.shape)
def test_heat_goes_over_whole_and_evenly(part):
    mesh, corners = mesh_parts([part]), triangles(part)
    shared = build_transfer(mesh, corners)
    whole = 2 * np.pi * corners[:, :, 0].mean(axis=1) * np.array([area(triangle) for triangle in corners])
    solid_at_rest = mesh.nodes[mesh.quads]
    volume = 2 * np.pi * solid_at_rest[:, :, 0].mean(axis=1) * np.prod(solid_at_rest[:, 2] - solid_at_rest[:, 0], axis=1)
    assert shared.to_cells(whole) == pytest.approx(volume, rel=1e-9)
    assert shared.to_triangles(volume) == pytest.approx(whole, rel=1e-9)
    heat = np.random.default_rng(1).uniform(size=len(corners))
    assert shared.to_cells(heat).sum() == pytest.approx(heat.sum(), rel=1e-9)
    work = np.random.default_rng(2).uniform(size=len(mesh.quads))
    assert shared.to_triangles(work).sum() == pytest.approx(work.sum(), rel=1e-9)
    assert shared.mean_in_cells(heat / whole) * volume == pytest.approx(shared.to_cells(heat), rel=1e-9)


def test_heat_keeps_to_its_layer():
    mesh, corners = mesh_parts([CLAD]), triangles(CLAD)
    lower = corners[:, :, 1].mean(axis=1) < -0.8e-3
    assert build_transfer(mesh, corners).to_cells(lower.astype(float))[mesh.zone == 1] == pytest.approx(0.0, abs=1e-9)


def test_a_triangle_in_the_air_is_refused():
    with pytest.raises(InputError, match=r"triangle about r = 2 mm, z = 10 mm is not covered"):
        build_transfer(mesh_parts([WASHER]), np.array([[[1e-3, 9.5e-3], [3e-3, 9.5e-3], [2e-3, 11e-3]]]))
