"""Mesh files: read back, they hold the field at each point, on each side of a border."""
import os

import meshio
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError
from fieldsolve.report.files.vtu import write_vtu
from geometries.mesh import EXTERIOR

RADIUS, B_0, MU_R = 10e-3, 1.0, 100.0
INSIDE = 3 * B_0 * MU_R / (MU_R + 2)            # of a uniformly magnetized sphere, closed form


@pytest.fixture(scope="module")
def field():
    sphere = geo.sphere(radius=RADIUS, material=fs.Material(conductivity=0.0, relative_permeability=MU_R))
    return fs.solve_static(geo.CrossSection([sphere]), applied_field=B_0, accuracy=2e-3)


@pytest.fixture
def grid(field, tmp_path):
    write_vtu(field, tmp_path / "a.vtu")
    assert os.listdir(tmp_path) == ["a.vtu"]
    return meshio.read(tmp_path / "a.vtu")


def test_cells_are_the_meshed_room_s_triangles(field, grid):
    mesh = field.mesh
    inner = np.flatnonzero(mesh.region != EXTERIOR)
    assert [block.type for block in grid.cells] == ["triangle6"]
    assert grid.points[grid.cells[0].data][:, :, :2] == pytest.approx(mesh.nodes[mesh.triangles[inner]], abs=1e-15)
    assert (grid.points[:, 2] == 0).all()
    assert list(grid.cell_data["region"][0]) == list(mesh.region[inner])
    assert mesh.regions[max(grid.cell_data["region"][0]) - 1][0] == "sphere"


def test_middles_follow_the_file_format_s_order_of_edges(grid):
    corner = grid.points[grid.cells[0].data]
    middles = 0.5 * (corner[:, [0, 1, 2]] + corner[:, [1, 2, 0]])                     # 0-1, 1-2, 2-0
    size = np.linalg.norm(corner[:, 1] - corner[:, 0], axis=1)
    assert (np.linalg.norm(corner[:, 3:] - middles, axis=2).max(axis=1) < 0.1 * size).all()


def test_points_hold_the_field(field, grid):
    r, z, _ = grid.points.T
    distance = np.hypot(r, z - field.mesh.centre) / field.mesh.open_radius
    inner = distance < 1 - 1e-6                 # nodes at the arc may stand beyond it, by a hair
    assert 0 < (~inner).sum() < len(r) and distance[~inner] == pytest.approx(1.0, abs=1e-3)
    assert grid.point_data["A_phi"][inner] == pytest.approx(field.vector_potential(r[inner], z[inner]), rel=1e-9, abs=1e-15)
    away = np.abs(np.hypot(r, z) - RADIUS) > 1e-6
    B = grid.point_data["B"]
    assert B.shape == (len(r), 3)
    assert (B[:, 2] == 0).all()
    assert B[away, :2] == pytest.approx(np.stack(field.flux_density(r[away], z[away]), axis=1), abs=0.01 * INSIDE)


def test_a_point_on_the_border_is_there_for_each_side(field, grid):
    r, z, _ = grid.points.T
    node = np.argmin(np.hypot(field.mesh.nodes[:, 0] - RADIUS, field.mesh.nodes[:, 1]))
    twice = np.flatnonzero(np.hypot(r - field.mesh.nodes[node, 0], z - field.mesh.nodes[node, 1]) < 1e-12)
    assert sorted(grid.point_data["B"][twice, 1]) == pytest.approx([INSIDE / MU_R, INSIDE], rel=0.01, abs=0.02)


def test_another_suffix_is_refused(field, tmp_path):
    with pytest.raises(InputError, match=r"must end in \.vtu"):
        write_vtu(field, tmp_path / "a.vtk")
    assert os.listdir(tmp_path) == []
