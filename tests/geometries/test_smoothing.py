"""Nodes moved so that small angles grow."""
import numpy as np
import pytest
from scipy.spatial import Delaunay

from geometries.smoothing import Paths, improved_nodes, searched_nodes, sizes_at_nodes, smoothed_nodes
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


def paths(free):
    """Ways that are open to the free nodes alone."""
    return Paths(np.where(free[:, None, None], np.eye(2), 0.0), *np.full((2, len(free), 2), np.nan))


@pytest.mark.parametrize("method", [improved_nodes, searched_nodes])
def test_smallest_angle_grows_and_nodes_that_are_not_free_stay(triangles, method):
    cells, nodes, free = triangles
    improved = method(cells, nodes, paths(free), 35.0)
    before, after = smallest_angles(cells, nodes), smallest_angles(cells, improved)
    assert after.min() >= before.min() and (after < 30).sum() < 0.3 * (before < 30).sum()
    assert np.array_equal(improved[~free], nodes[~free]) and (improved[free] != nodes[free]).any()


def test_means_of_neighbours_are_taken_where_no_angle_suffers(triangles):
    cells, nodes, free = triangles
    smoothed = smoothed_nodes(cells, nodes, edges_of(cells, len(nodes)), paths(free), np.ones(len(free)), 33.0)
    before, after = smallest_angles(cells, nodes), smallest_angles(cells, smoothed)
    assert after.min() >= before.min() and after.mean() > before.mean() + 3
    assert np.array_equal(smoothed[~free], nodes[~free])


def test_a_node_alone_between_its_neighbours_goes_to_their_mean_unless_that_turns_a_triangle_over():
    corners = np.array([[1, 0], [0, 1], [-1, 0], [0, -1]], dtype=float)
    cells, free = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]), np.arange(5) == 4
    nodes = np.concatenate([corners, [[0.3, 0.2]]])
    moved = smoothed_nodes(cells, nodes, edges_of(cells, 5), paths(free), np.ones(5), 33.0)
    assert moved[4] == pytest.approx([0.0, 0.0], abs=1e-15)
    dented = np.concatenate([[[1, 0], [0.2, 0.2], [0, 4], [-0.2, 0.1]], [[0.1, 0.1]]])      # the mean of the corners is outside
    assert np.array_equal(smoothed_nodes(cells, dented, edges_of(cells, 5), paths(free), np.ones(len(free)), 33.0), dented)


@pytest.mark.parametrize("seed", range(6))
def test_a_search_finds_the_best_place_of_a_node(seed):
    """Among six corners at random distances; the best of a fine grid of places is hardly better."""
    random, turn = np.random.default_rng(seed), 2 * np.pi * np.arange(6) / 6
    corners = random.uniform(0.7, 1.3, 6)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    cells, free = np.array([[k, (k + 1) % 6, 6] for k in range(6)]), np.arange(7) == 6

    def smallest(place):
        return smallest_angles(cells, np.concatenate([corners, [place]])).min()
    found = searched_nodes(cells, np.concatenate([corners, [[0.0, 0.0]]]), paths(free), 60.0)[6]
    best = max(smallest(place) for place in np.stack(np.meshgrid(*2 * [np.linspace(-0.4, 0.4, 81)]), axis=-1).reshape(-1, 2))
    assert smallest([0.0, 0.0]) < best - 1 and smallest(found) > best - 0.5


def test_nodes_on_lines_and_circles_stay_on_them():
    line, circle, fixed = np.array([[1.0, 1.0]]) / np.sqrt(2), np.array([3.0, 4.0]), np.zeros(2)
    nodes = np.array([[2.0, 2.0], [3.0, 4.0], [7.0, 7.0]])
    ways = Paths(np.stack([line.T @ line, np.array([[0.64, -0.48], [-0.48, 0.36]]), np.zeros((2, 2))]),
                 np.array([[np.nan] * 2, fixed, [np.nan] * 2]), np.array([[np.nan] * 2, [5.0, 5.0], [np.nan] * 2]))
    moved = ways.moved(nodes, np.tile([0.3, -0.1], (3, 1)))
    assert moved[0] == pytest.approx([2.1, 2.1]) and np.hypot(*moved[1]) == pytest.approx(5.0, abs=1e-15) and (moved[2] == nodes[2]).all()
    assert (moved[1] - circle) @ [4.0, -3.0] > 0 and ways.are_open.tolist() == [True, True, False]


def test_means_keep_sizes_that_grow_gradually():
    """A grid whose columns grow by a third each stays, where means of all neighbours alike would pull nodes to the large side."""
    x, y = np.meshgrid(np.cumsum(np.concatenate([[0.0], (4 / 3) ** np.arange(11)])), np.arange(12.0))
    nodes, number = np.column_stack([x.ravel(), y.ravel()]), np.arange(144).reshape(12, 12)
    a, b, c, d = (number[rows, columns].ravel() for rows in (slice(-1), slice(1, None)) for columns in (slice(-1), slice(1, None)))
    cells, free = np.concatenate([np.column_stack([a, b, d]), np.column_stack([a, d, c])]), np.zeros((12, 12), dtype=bool)
    free[4:8, 4:8] = True
    edges = edges_of(cells, 144)

    def pull(size):
        moved = smoothed_nodes(cells, nodes, edges, paths(free.ravel()), size, 1.0)
        return np.abs(moved - nodes)[free.ravel(), 0].mean()
    assert pull(sizes_at_nodes(nodes, edges)) < 0.5 * pull(np.ones(144))
