"""The triangles around triangles: those that share a corner with them."""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from geometries.mesh import Topology


def triangles_around(topology: Topology, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Triangles that share a corner with each of some (k,), itself included, some of them twice, and which of these they are around."""
    first, of_node = _triangles_of_nodes(topology)
    corners = topology.mesh.triangles[triangles, :3]
    count = (first[corners + 1] - first[corners]).ravel()
    entry = np.repeat(first[corners].ravel() - np.cumsum(count) + count, count) + np.arange(count.sum())
    return of_node[entry], np.repeat(np.arange(len(triangles)).repeat(3), count)


@lru_cache(maxsize=4)
def _triangles_of_nodes(topology: Topology) -> tuple[np.ndarray, np.ndarray]:
    """Where the triangles of each corner begin (n + 1,), and their numbers."""
    mesh = topology.mesh
    corners = mesh.triangles[:, :3].ravel()
    start = np.concatenate([[0], np.cumsum(np.bincount(corners, minlength=mesh.size))])
    return start, np.argsort(corners, kind="stable") // 3
