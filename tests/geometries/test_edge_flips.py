"""Edges flipped in triangulations of random points."""
import numpy as np
import pytest
from scipy.spatial import Delaunay

from geometries.edge_flips import Triangulation, flipped_to_delaunay, flipped_to_regular
from geometries.triangle_edges import edges_of

SQUARE = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)


@pytest.fixture(params=range(4))
def mesh(request):
    """Delaunay's triangles of random points in a square, the corner of which is a corner of theirs too."""
    random = np.random.default_rng(request.param)
    nodes = np.concatenate([SQUARE, random.uniform(0.05, 0.95, (150, 2))])
    return triangulation(Delaunay(nodes).simplices.astype(np.int64), nodes), nodes


def triangulation(cells, nodes):
    edges = edges_of(cells, len(nodes))
    return Triangulation(cells, np.arange(len(nodes)), edges, edges.sides[:, 0] == edges.sides[:, 1])


def areas(cells, nodes):
    a, b, c = nodes[cells].swapaxes(0, 1)
    return 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])


def squared_excess(mesh):
    """Of the numbers of triangles around nodes."""
    count = np.bincount(mesh.cells.ravel())
    return ((count - full(count)) ** 2).sum()


def full(nodes):
    return np.where(np.arange(len(nodes)) < 4, 1.5, 6.0)


def edges_fit(mesh, nodes):
    """Edges are those of the triangles made anew."""
    anew = edges_of(mesh.cells, len(nodes))
    number = np.lexsort(mesh.edges.ends.T[::-1])
    same = np.array_equal(mesh.edges.ends[number], anew.ends)
    sides = np.array_equal(np.sort(mesh.edges.sides[number], axis=1), np.sort(anew.sides, axis=1))
    return same and sides and np.array_equal(np.argsort(number)[mesh.edges.of_cell], anew.of_cell)


def test_flips_towards_regular_nodes_keep_a_valid_mesh_and_lower_the_excess(mesh):
    mesh, nodes = mesh
    excess = [squared_excess(mesh)]
    for _ in range(4):
        mesh = flipped_to_regular(mesh, nodes, full(nodes))
        excess.append(squared_excess(mesh))
        assert edges_fit(mesh, nodes) and (areas(mesh.cells, nodes) > 0).all() and areas(mesh.cells, nodes).sum() == pytest.approx(1)
    assert (np.diff(excess) <= 0).all() and excess[-1] < 0.9 * excess[0]


def test_flips_lead_back_to_delaunay(mesh):
    delaunay, nodes = mesh
    flipped = flipped_to_regular(delaunay, nodes, full(nodes))
    assert set(map(frozenset, flipped.cells.tolist())) != set(map(frozenset, delaunay.cells.tolist()))
    for _ in range(20):
        flipped = flipped_to_delaunay(flipped, nodes)
    assert edges_fit(flipped, nodes)
    assert set(map(frozenset, flipped.cells.tolist())) == set(map(frozenset, delaunay.cells.tolist()))


def test_borders_stay_and_equal_priorities_do_not_meet_in_a_triangle():
    x, y = np.meshgrid(np.arange(6.0), np.arange(6.0) * 0.4)
    nodes = np.column_stack([x.ravel() + 0.8 * y.ravel(), y.ravel()])
    corner = np.array([i for i in range(30) if i % 6 < 5])
    cells = np.concatenate([np.column_stack([corner, corner + 1, corner + 7]), np.column_stack([corner, corner + 7, corner + 6])])
    mesh = triangulation(cells, nodes)
    flipped = flipped_to_delaunay(mesh, nodes)
    assert (areas(flipped.cells, nodes) > 0).all() and areas(flipped.cells, nodes).sum() == pytest.approx(areas(cells, nodes).sum())
    assert edges_fit(flipped, nodes) and not np.array_equal(flipped.cells, cells)
    held = flipped_to_delaunay(Triangulation(cells, mesh.node_of, mesh.edges, np.ones(len(mesh.border), dtype=bool)), nodes)
    assert np.array_equal(held.cells, cells)
