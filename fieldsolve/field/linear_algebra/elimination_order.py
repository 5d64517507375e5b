"""In which order the unknowns of a mesh are eliminated, so that a Cholesky factor stays sparse.

The corners are ordered by approximate minimum degree, and each node of an edge goes with the end of its edge that is first.  That is four
times fewer nodes to order, and what belongs together stands together.  The nodes inside a triangle of a higher order go before them: so
they fill in nothing, as if they had been condensed triangle by triangle.  A large mesh is first cut into parts: their separators go last.
"""
from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.linear_algebra.cholesky import minimum_degree
from fieldsolve.field.linear_algebra.nested_dissection import dissection_levels
from fieldsolve.field.linear_algebra.solvers import Factor, LinearSolver, choose_solver, factorize
from geometries.mesh import EXTERIOR, Mesh, Topology
from geometries.node_layout import edge_nodes

LARGE_MESH = 20_000              # corners from which dissection costs less than it saves


def factorize_on_mesh(lower: csc_array, mesh: Mesh, previous: Factor | None = None, solver: str | LinearSolver | None = None) -> Factor:
    """Factor a matrix whose unknowns are the nodes of a mesh, see `factorize`."""
    solver = choose_solver(solver)
    return factorize(lower, previous, elimination_order(mesh.topology) if solver.uses_order else None, solver)


@lru_cache(maxsize=4)
def elimination_order(topology: Topology) -> np.ndarray | None:
    """Order of the nodes of a mesh; (n,), None where cvxopt is not installed."""
    return order_with_turns(topology, np.zeros(0, dtype=int), np.zeros(0, dtype=int))


def order_with_turns(topology: Topology, nodes: np.ndarray, turns: np.ndarray) -> np.ndarray | None:
    """Order of nodes and turns, which are unknowns n, n + 1, ...; `turns` names for each of some `nodes` a turn it is coupled to."""
    mesh, count = topology.mesh, int(turns.max(initial=-1)) + 1
    is_corner, on_edge, ends = _corners_and_edges(mesh)
    number = np.cumsum(is_corner) - 1                                               # of each corner among the corners
    corners, beside = int(is_corner.sum()), is_corner[nodes]
    start, end = number[ends].T.copy()                                              # of each edge
    level = np.zeros(corners + count, dtype=np.uint16)
    if corners > LARGE_MESH:
        level[:corners] = dissection_levels(_shifted_nodes(mesh)[is_corner], start, end)
        level[corners:] = level.max() + 1
    low = np.concatenate([np.minimum(start, end), number[nodes[beside]]])
    high = np.concatenate([np.maximum(start, end), corners + turns[beside]])
    within = (level[low] == 0) & (level[high] == 0)
    order = minimum_degree(high[within], low[within], corners + count)
    if order is None:
        return None
    rank = np.empty(corners + count, dtype=int)
    rank[order[np.argsort(level[order], kind="stable")]] = np.arange(corners + count)
    place = np.concatenate([np.full(mesh.size, -1.0), rank[corners:] + 0.5])
    place[:mesh.size][is_corner] = rank[:corners] + 0.5
    place[on_edge] = np.minimum(rank[start], rank[end])[:, None]
    inside = mesh.triangles[:, 3 * mesh.order:]
    place[inside] = rank[number[mesh.triangles[:, :3]]].min(axis=1)[:, None] - 0.25
    return np.argsort(place, kind="stable")


def _corners_and_edges(mesh: Mesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which nodes are corners (n,); the nodes between the ends of each edge (e, order - 1), and its ends (e, 2).

    From order 3 on an edge between two triangles is there twice.
    """
    is_corner = np.zeros(mesh.size, dtype=bool)
    is_corner[mesh.triangles[:, :3]] = True
    local = edge_nodes(mesh.order)
    beside_end = mesh.triangles[:, local[:, 2]]
    edge_of = np.full(mesh.size, -1)
    edge_of[beside_end] = np.arange(beside_end.size).reshape(beside_end.shape)
    nodes = mesh.triangles[:, local].reshape(-1, mesh.order + 1)[edge_of[edge_of >= 0]]
    return is_corner, nodes[:, 2:], nodes[:, :2]


def _shifted_nodes(mesh: Mesh) -> np.ndarray:
    """The nodes, those of the exterior domain shifted away from the inner one, over which they lie; (n, 2)."""
    shift = np.zeros(mesh.size)
    shift[mesh.triangles[mesh.region == EXTERIOR]] = 3 * (mesh.open_radius or 0.0)
    shift[mesh.triangles[mesh.region != EXTERIOR]] = 0.0
    return mesh.nodes + np.column_stack([np.zeros(mesh.size), shift])
