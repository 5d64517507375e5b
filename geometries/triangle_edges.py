"""Triangles given by their corners alone: their edges, those near a node, the parts they are cut into, their angles.

All of it works on arrays of all triangles at once.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Edges:
    """The edges of triangles (m, 3).

    ends     (e, 2) nodes, the smaller number first
    of_cell  (m, 3) the edges 0-1, 1-2 and 2-0 of each triangle
    sides    (e, 2) places 3 t + k of an edge in `of_cell`, the same twice where the edge has one triangle only
    """

    ends: np.ndarray
    of_cell: np.ndarray
    sides: np.ndarray


def edges_of(cells: np.ndarray, size: int) -> Edges:
    """The edges of triangles (m, 3) among so many nodes, by one sort of numbers that hold an edge's nodes and its place in bits."""
    start, end = cells.ravel(), cells[:, [1, 2, 0]].ravel()
    bits = len(start).bit_length()
    key = np.sort((np.minimum(start, end) * size + np.maximum(start, end) << bits) + np.arange(len(start)))
    key, place = key >> bits, key & ((1 << bits) - 1)
    first = np.concatenate([[True], key[1:] != key[:-1]])[:len(key)]
    number = np.cumsum(first) - 1
    of_cell = np.empty(len(key), dtype=np.int64)
    of_cell[place] = number
    sides = np.repeat(place[first, None], 2, axis=1)
    sides[number[~first], 1] = place[~first]
    return Edges(np.stack(np.divmod(key[first], size), axis=1), of_cell.reshape(-1, 3), sides)


def find_edges(edges: Edges, pairs: np.ndarray, size: int) -> np.ndarray:
    """Numbers of the edges between pairs of nodes (k, 2); (k,)."""
    low, high = np.sort(pairs, axis=1).T
    return np.searchsorted(edges.ends[:, 0] * size + edges.ends[:, 1], low * size + high)


def at_corners(cells: np.ndarray, size: int) -> np.ndarray:
    """Which of so many nodes are corners of the triangles."""
    marked = np.zeros(size, dtype=bool)
    marked[cells] = True
    return marked


def have_corner(cells: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Numbers of the triangles with a corner among the marked nodes (n,)."""
    a, b, c = cells.T
    return np.flatnonzero(marked[a] | marked[b] | marked[c])


def numbered_anew(cells: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles by the numbers of their corners among those in use, and these nodes' numbers among all."""
    used = np.flatnonzero(at_corners(cells, size))
    number = np.empty(size, dtype=np.int64)
    number[used] = np.arange(len(used))
    return number[cells], used


def split_cells(cells: np.ndarray, middles: np.ndarray, nodes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (m, 3) cut through the middles of their edges (m, 3), -1 where an edge stays, and the triangle each comes from.

    One edge cut gives two triangles, two give three (with the shorter of the two possible diagonals), three give four like ones.
    """
    cut = middles >= 0
    count = cut.sum(axis=1)
    found, origin = [cells[count == 0]], [np.flatnonzero(count == 0)]
    for number, children in ((1, _cut_once), (2, _cut_twice), (3, _cut_thrice)):
        parents = np.flatnonzero(count == number)
        turn = {1: cut[parents].argmax(axis=1), 2: (cut[parents].argmin(axis=1) + 1) % 3, 3: np.zeros(len(parents), dtype=int)}[number]
        columns, rows = (turn[:, None] + np.arange(3)) % 3, parents[:, None]
        new = children(cells[rows, columns], middles[rows, columns], nodes)
        found.append(new.reshape(-1, 3))
        origin.append(np.repeat(parents, new.shape[1]))
    return np.concatenate(found), np.concatenate(origin)


def _cut_once(cells: np.ndarray, middles: np.ndarray, _: np.ndarray) -> np.ndarray:
    (a, b, c), m = cells.T, middles[:, 0]
    return np.stack([a, m, c, m, b, c], axis=1).reshape(-1, 2, 3)


def _cut_twice(cells: np.ndarray, middles: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    (a, b, c), (m, n, _) = cells.T, middles.T
    by_a = ((nodes[a] - nodes[n]) ** 2).sum(axis=1) < ((nodes[m] - nodes[c]) ** 2).sum(axis=1)
    return np.stack([m, b, n, a, m, np.where(by_a, n, c), np.where(by_a, a, m), n, c], axis=1).reshape(-1, 3, 3)


def _cut_thrice(cells: np.ndarray, middles: np.ndarray, _: np.ndarray) -> np.ndarray:
    (a, b, c), (m, n, o) = cells.T, middles.T
    return np.stack([a, m, o, m, b, n, o, n, c, m, n, o], axis=1).reshape(-1, 4, 3)


def cotangent(degrees: float) -> float:
    """Of an angle in degrees."""
    return 1 / math.tan(math.radians(degrees))


def cotangents(cells: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Cotangents of the angles opposite to the edges 0-1, 1-2, 2-0; (m, 3)."""
    (ax, ay), (bx, by) = _sides_from_first(cells, nodes)
    aa, bb, ab = ax**2 + ay**2, bx**2 + by**2, ax * bx + ay * by
    return np.stack([bb - ab, ab, aa - ab], axis=1) / (ax * by - ay * bx)[:, None]


def _sides_from_first(cells: np.ndarray, nodes: np.ndarray) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Components of the sides from corner 0 to 1 and from 0 to 2; each (m,)."""
    (x0, x1, x2), (y0, y1, y2) = (np.ascontiguousarray(along)[cells.T] for along in nodes.T)
    return (x1 - x0, y1 - y0), (x2 - x0, y2 - y0)


def triangle_quality(cells: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """4 sqrt(3) times the area over the sum of the squared edges: 1 of equilateral triangles, negative of inverted ones; (m,)."""
    (ax, ay), (bx, by) = _sides_from_first(cells, nodes)
    return 2 * np.sqrt(3.0) * (ax * by - ay * bx) / (ax**2 + ay**2 + bx**2 + by**2 + (ax - bx) ** 2 + (ay - by) ** 2)


def largest_cotangents(cells: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Cotangent of the smallest angle of each triangle, infinite of inverted ones; (m,)."""
    (ax, ay), (bx, by) = _sides_from_first(cells, nodes)
    aa, bb, ab, area = ax**2 + ay**2, bx**2 + by**2, ax * bx + ay * by, ax * by - ay * bx
    largest = np.maximum(np.maximum(bb - ab, ab), aa - ab)
    return np.divide(largest, area, out=np.full(len(area), np.inf), where=area > 0)


def smallest_angles(cells: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """Smallest angle of each triangle in degrees; (m,)."""
    return np.degrees(np.arctan2(1.0, largest_cotangents(cells, nodes)))
