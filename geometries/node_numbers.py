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
    x, y = ((points - low) / extent * (2**16 - 1)).astype(np.int64).T
    return _spread_bits(x) + 2 * _spread_bits(y)


def _spread_bits(numbers: np.ndarray) -> np.ndarray:
    """Numbers below 2^16 with a zero after each bit, by halves."""
    for shift, kept in ((8, 0x00FF00FF), (4, 0x0F0F0F0F), (2, 0x33333333), (1, 0x55555555)):
        numbers = (numbers | (numbers << shift)) & kept
    return numbers
