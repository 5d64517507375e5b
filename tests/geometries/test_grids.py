"""Cells between given lines: none crosses a line, all of the part is meshed, a finer surface gives finer cells, what touches is refused."""
from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from geometries.errors import MeshError
from geometries.mesher import mesh_section

LINES = (tuple(np.linspace(0, 15e-3, 11)), tuple(np.linspace(-1e-3, 1e-3, 6)))
DISC = replace(geo.disc(radius=15e-3, thickness=2e-3), grid=LINES)


@pytest.mark.parametrize("surface", [1.0, 0.4e-3])
def test_no_cell_crosses_a_line(surface):
    mesh = mesh_section(geo.CrossSection([DISC]), part_sizes={"disc": surface})
    corners = mesh.corners[mesh.part_triangles("disc")]
    for axis, lines in enumerate(map(np.array, LINES)):
        values = corners[:, :, axis]
        between = np.searchsorted(lines, values.mean(axis=1))
        assert (values.min(axis=1) > lines[between - 1] - 1e-9).all()
        assert (values.max(axis=1) < lines[between] + 1e-9).all()
    assert mesh.area[mesh.part_triangles("disc")].sum() == pytest.approx(15e-3 * 2e-3, rel=1e-9)


def test_a_single_row_of_cells_is_meshed():
    foil = replace(DISC, grid=(LINES[0], (-1e-3, 1e-3)))
    mesh = mesh_section(geo.CrossSection([foil]), part_sizes={"disc": 0.8e-3})
    corners = mesh.corners[mesh.part_triangles("disc")]
    assert mesh.area[mesh.part_triangles("disc")].sum() == pytest.approx(15e-3 * 2e-3, rel=1e-9)
    assert np.ptp(corners, axis=1).max() <= 0.8e-3


def test_a_finer_surface_is_met_and_the_middle_left_coarse():
    mesh = mesh_section(geo.CrossSection([DISC]), part_sizes={"disc": 0.3e-3})
    corners = mesh.corners[mesh.part_triangles("disc")]
    at_rim = (np.isclose(corners[:, :, 0], 15e-3).sum(axis=1) == 2)
    assert np.ptp(corners[at_rim][:, :, 1], axis=1).max() <= 0.3e-3
    between = (np.abs(corners[:, :, 1]).max(axis=1) < 0.21e-3) & (corners[:, :, 0].max(axis=1) < 13e-3)
    assert np.ptp(corners[between][:, :, 0], axis=1) == pytest.approx(1.5e-3)


def test_a_part_that_touches_is_refused():
    collar = geo.washer(radius=20e-3, hole_radius=15e-3, thickness=1e-3, name="collar")
    with pytest.raises(MeshError, match="disc touches another part"):
        mesh_section(geo.CrossSection([DISC, collar]))


def test_the_grid_moves_with_its_part():
    assert DISC.moved(1e-3).grid == (LINES[0], tuple(z + 1e-3 for z in LINES[1]))
