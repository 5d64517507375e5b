"""A mesh in a kept file without the nodes that lie half-way between the ends of their edge: they follow from the corners."""
from __future__ import annotations

from typing import Any

import numpy as np

from fieldsolve.pickling import declared_fields
from geometries.mesh import Mesh, ends_of_edges


def pack_mesh(mesh: Mesh) -> dict[str, Any]:
    """Fields of a mesh: as `nodes` (k, 2) only those that are not half-way to the last digit, and `stored` (n,), which these are."""
    ends = ends_of_edges(mesh.triangles, mesh.size)
    stored = (ends[:, 0] < 0) | (_middles(mesh.nodes, ends) != mesh.nodes).any(axis=1)
    return declared_fields(mesh) | {"nodes": mesh.nodes[stored], "stored": stored}


def unpack_mesh(nodes: np.ndarray, stored: np.ndarray, triangles: np.ndarray, **others: Any) -> Mesh:
    """The mesh of these fields."""
    all_nodes = np.zeros((len(stored), 2))
    all_nodes[stored] = nodes
    middles = _middles(all_nodes, ends_of_edges(triangles, len(stored)))
    all_nodes[~stored] = middles[~stored]
    return Mesh(nodes=all_nodes, triangles=triangles, **others)


def _middles(nodes: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Half-way between two nodes each; (n, 2).  The ends of a corner are -1, which stands for the last node."""
    return 0.5 * (nodes[ends[:, 0]] + nodes[ends[:, 1]])
