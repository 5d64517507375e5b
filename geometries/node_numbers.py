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
    order = order[stable_order(_place_on_curve(nodes[order]))]
    renumbered = np.full(len(nodes), -1, dtype=np.int64)
    renumbered[order] = np.arange(len(order))
    return nodes[order], renumbered


def stable_order(keys: np.ndarray) -> np.ndarray:
    """What `argsort` with equal keys (n,) in their order gives, faster: by one sort of numbers that hold a key and its place in bits.

    Keys are from zero to 2^32.
    """
    bits = len(keys).bit_length()
    return np.sort((keys.astype(np.int64) << bits) + np.arange(len(keys))) & ((1 << bits) - 1)


def _place_on_curve(points: np.ndarray) -> np.ndarray:
    """Number of each point (n, 2) along the Z-shaped curve: the bits of its two coordinates in turn; (n,)."""
    low = points.min(axis=0)
    extent = max(float((points.max(axis=0) - low).max()), 1e-300)
    x, y = (((along - least) / extent * (2**16 - 1)).astype(np.uint32) for along, least in zip(points.T, low, strict=True))
    return _spread_bits(x) | (_spread_bits(y) << 1)


def _spread_bits(numbers: np.ndarray) -> np.ndarray:
    """Numbers below 2^16 with a zero after each bit, by halves."""
    for shift, kept in ((8, 0x00FF00FF), (4, 0x0F0F0F0F), (2, 0x33333333), (1, 0x55555555)):
        numbers = (numbers | (numbers << shift)) & kept
    return numbers
