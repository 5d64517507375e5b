"""Nodes moved so that small angles grow."""
import numpy as np
import pytest
from scipy.spatial import Delaunay

from geometries.smoothing import improved_nodes, smoothed_nodes
from geometries.triangle_edges import edges_of, smallest_angles


@pytest.fixture(params=range(4))
def triangles(request):
    """Cells and nodes of a disturbed grid, and which nodes are inside."""
    random = np.random.default_rng(request.param)
    x, y = np.meshgrid(np.arange(20.0), np.arange(20.0) * np.sqrt(0.75))
    x[1::2] += 0.5
    nodes = np.column_stack([x.ravel(), y.ravel()])
    inside = ((np.arange(400) % 20 % 19) * (np.arange(400) // 20 % 19)) > 0
    nodes[inside] += random.uniform(-0.35, 0.35, (inside.sum(), 2))
    cells = Delaunay(nodes).simplices.astype(np.int64)
    return cells[smallest_angles(cells, nodes) > 1e-3], nodes, inside


def test_smallest_angle_grows_and_nodes_that_are_not_free_stay(triangles):
    cells, nodes, free = triangles
    improved = improved_nodes(cells, nodes, free)
    before, after = smallest_angles(cells, nodes), smallest_angles(cells, improved)
    assert after.min() >= before.min() and (after < 30).sum() < 0.3 * (before < 30).sum()
    assert np.array_equal(improved[~free], nodes[~free]) and (improved[free] != nodes[free]).any()


def test_means_of_neighbours_are_taken_where_no_angle_suffers(triangles):
    cells, nodes, free = triangles
    smoothed = smoothed_nodes(cells, nodes, edges_of(cells, len(nodes)), free)
    before, after = smallest_angles(cells, nodes), smallest_angles(cells, smoothed)
    assert after.min() >= before.min() and after.mean() > before.mean() + 3
    assert np.array_equal(smoothed[~free], nodes[~free])


def test_a_node_alone_between_its_neighbours_goes_to_their_mean_unless_that_turns_a_triangle_over():
    corners = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]], dtype=float)
    cells, free = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]), np.arange(5) == 4
    nodes = np.concatenate([corners, [[0.3, 0.2]]])
    assert smoothed_nodes(cells, nodes, edges_of(cells, 5), free)[4] == pytest.approx([0.0, 0.0], abs=1e-15)
    dented = np.concatenate([[[1, 0], [0.2, 0.2], [0, 4], [-0.2, 0.1]], [[0.1, 0.1]]])      # the mean of the corners is outside
    assert np.array_equal(smoothed_nodes(cells, dented, edges_of(cells, 5), free), dented)
