"""In which order unknowns are eliminated: parts of a graph, what separates them, and orders of a mesh's nodes."""
from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.linear_algebra import elimination_order, nested_dissection
from geometries.mesher import mesh_section

LONG, SHORT = 150, 60


@pytest.fixture(scope="module")
def grid() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points of a long lattice in random order, and the ends of the edges between neighbours."""
    number = np.random.default_rng(1).permutation(LONG * SHORT).reshape(LONG, SHORT)
    points = np.empty((number.size, 2))
    points[number.ravel()] = np.indices(number.shape).reshape(2, -1).T
    start = np.concatenate([number[1:].ravel(), number[:, 1:].ravel()])
    return points, start, np.concatenate([number[:-1].ravel(), number[:, :-1].ravel()])


def parts(elimination_level: np.ndarray, start: np.ndarray, end: np.ndarray, level: int) -> np.ndarray:
    """Sizes of what hangs together of the points below a level."""
    kept = (elimination_level[start] < level) & (elimination_level[end] < level)
    graph = coo_array((np.ones(kept.sum()), (start[kept], end[kept])), shape=(len(elimination_level), len(elimination_level)))
    return np.bincount(connected_components(graph, directed=False)[1][elimination_level < level])


def test_each_level_of_separators_halves_the_parts_and_the_first_is_a_short_side(grid):
    elimination_level = nested_dissection.dissection_levels(*grid)
    levels = elimination_level.max()
    assert levels == np.ceil(np.log2(LONG * SHORT / nested_dissection.MIN_PART_SIZE))
    assert (elimination_level == levels).sum() == SHORT
    for level in range(1, levels + 1):
        sizes = parts(elimination_level, *grid[1:], level)
        sizes = sizes[sizes > 0]
        cuts = levels - level + 1
        assert len(sizes) == 2**cuts
        assert sizes.max() < nested_dissection.MIDDLE[1] ** cuts * LONG * SHORT + 1


def test_few_points_are_one_part(grid):
    points, start, end = grid
    few = np.flatnonzero(points[:, 0] < nested_dissection.MIN_PART_SIZE // SHORT)
    number = np.full(len(points), -1)
    number[few] = np.arange(len(few))
    inside = (number[start] >= 0) & (number[end] >= 0)
    assert not nested_dissection.dissection_levels(points[few], number[start[inside]], number[end[inside]]).any()


@pytest.mark.parametrize("large", [0, 10**9], ids=["dissected", "whole"])
def test_order_names_each_node_and_turn_once(monkeypatch, large):
    pytest.importorskip("cvxopt")
    monkeypatch.setattr(elimination_order, "LARGE_MESH", large)
    monkeypatch.setattr(nested_dissection, "MIN_PART_SIZE", 50)
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("copper"))
    mesh = mesh_section(geo.CrossSection([geo.loop(radius=20e-3), disc]), scale=0.6)
    nodes = np.unique(mesh.triangles[mesh.part_triangles("disc")])
    order = elimination_order.order_with_turns(mesh.topology, nodes, np.zeros(len(nodes), dtype=int))
    assert np.array_equal(np.sort(order), np.arange(mesh.size + 1))


def test_dissection_leaves_the_field_as_it_is(monkeypatch):
    pytest.importorskip("cvxopt")
    monkeypatch.setattr(nested_dissection, "MIN_PART_SIZE", 50)
    section = geo.CrossSection([geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=26e-3, turns=8)])
    inductance = []
    for large in (0, 10**9):
        monkeypatch.setattr(elimination_order, "LARGE_MESH", large)
        inductance.append(fs.solve_static(section, {"coil": 1.0}, accuracy=1e-4).inductance("coil").value)
    assert inductance[0] == pytest.approx(inductance[1], rel=1e-14)
