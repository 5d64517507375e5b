"""In which order the unknowns of a mesh are eliminated, so that a Cholesky factor stays sparse.

The corners are ordered by approximate minimum degree, and each middle node goes with the end of its edge that is first.  That is four
times fewer nodes to order, and what belongs together stands together.
"""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldsolve.field.assembly import EDGES
from fieldsolve.field.linear_solver import minimum_degree
from geometries.mesh import Topology


@lru_cache(maxsize=4)
def elimination_order(topology: Topology) -> np.ndarray | None:
    """Order of the nodes of a mesh; (n,), None where the linear solver has no use for it."""
    return order_with_turns(topology, np.zeros(0, dtype=int), np.zeros(0, dtype=int))


def order_with_turns(topology: Topology, nodes: np.ndarray, turns: np.ndarray) -> np.ndarray | None:
    """The same of nodes and turns, which are unknowns n, n + 1, ...; `turns` names for each of some `nodes` a turn it is coupled to."""
    mesh, count = topology.mesh, int(turns.max(initial=-1)) + 1
    corners = mesh.triangles[:, :3]
    is_corner = np.zeros(mesh.size, dtype=bool)
    is_corner[corners] = True
    number = np.cumsum(is_corner) - 1                                               # of each corner among the corners
    ends = number[corners][:, EDGES]                                                # (m, 3, 2) of each triangle's edges
    beside, total = is_corner[nodes], int(is_corner.sum()) + count
    rows = np.concatenate([ends.max(axis=2).ravel(), total - count + turns[beside]])
    order = minimum_degree(rows, np.concatenate([ends.min(axis=2).ravel(), number[nodes[beside]]]), total)
    if order is None:
        return None
    rank = np.empty(total, dtype=int)
    rank[order] = np.arange(total)
    place = np.concatenate([np.zeros(mesh.size), rank[total - count:]]) + 0.5
    place[:mesh.size][is_corner] += rank[:total - count]
    place[mesh.triangles[:, 3:]] = rank[ends].min(axis=2)
    return np.argsort(place, kind="stable")
