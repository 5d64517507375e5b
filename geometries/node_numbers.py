"""Numbers of nodes such that neighbours are near in memory."""
from __future__ import annotations

import numpy as np


def renumber_nodes(nodes: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The nodes that are in a triangle, numbered so that neighbours are near in memory, and the new number of each old node, else -1.

    They follow a Z-shaped curve through ever smaller quarters of the plane (G. M. Morton, A computer oriented geodetic data base, IBM
    (1966)).
    """
    used = np.zeros(len(nodes), dtype=bool)
    used[triangles] = True
    order = np.flatnonzero(used)
    order = order[np.argsort(_place_on_curve(nodes[order]), kind="stable")]
    renumbered = np.full(len(nodes), -1, dtype=np.int64)
    renumbered[order] = np.arange(len(order))
    return nodes[order], renumbered


def _place_on_curve(points: np.ndarray) -> np.ndarray:
    """Number of each point (n, 2) along the Z-shaped curve: the bits of its two coordinates in turn; (n,)."""
    low, extent = points.min(axis=0), max(float(np.ptp(points, axis=0).max()), 1e-300)
    scaled = ((points - low) / extent * (2**16 - 1)).astype(np.int64)
    bits = np.arange(16)
    x, y = (((coordinate[:, None] >> bits) & 1) << (2 * bits) for coordinate in scaled.T)
    return x.sum(axis=1) + 2 * y.sum(axis=1)
