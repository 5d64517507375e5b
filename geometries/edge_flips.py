"""Edges between two triangles flipped: towards Delaunay's triangles, and towards as many triangles around each node as its angle holds.

All of it works on arrays of all triangles at once; edges keep their numbers.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geometries.triangle_edges import Edges, cotangent, cotangents, largest_cotangents

DELAUNAY_MARGIN = 1e-9      # of the cotangents' sum below which an edge is flipped
SHARPEST = cotangent(20)    # largest cotangent of the triangles that a flip towards regular ones may make
LEAST_GAIN = 1.0            # of the squared excesses' sum


@dataclass(frozen=True, eq=False)
class Triangulation:
    """Triangles in regions; a node on a border is a corner of its own in each region.

    corners  (m, 3) corners of the triangles, counter-clockwise;  node_of  (c,) their nodes
    edges    of the triangles;  border  (e,) those that stay
    """

    corners: np.ndarray
    node_of: np.ndarray
    edges: Edges
    border: np.ndarray

    @property
    def cells(self) -> np.ndarray:
        """Triangles by the numbers of their nodes; (m, 3)."""
        return self.node_of[self.corners]


def flipped_to_delaunay(mesh: Triangulation, nodes: np.ndarray) -> Triangulation:
    """With edges flipped that are not Delaunay's, each triangle once at most.

    An edge is flipped where the angles opposite to it add up to more than 180 degrees (C. L. Lawson, in: Mathematical Software III
    (1977) 161).
    """
    inner = np.flatnonzero(~mesh.border)
    excess = cotangents(mesh.cells, nodes).ravel()[mesh.edges.sides[inner]].sum(axis=1)
    bad = excess < -DELAUNAY_MARGIN
    inner, excess = inner[bad], excess[bad]
    return _flipped(mesh, inner[_without_common(mesh.edges.sides[inner] // 3, -excess, len(mesh.corners))])


def flipped_to_regular(mesh: Triangulation, nodes: np.ndarray, full: np.ndarray) -> Triangulation:
    """With edges flipped where that brings the number of triangles at corners closer to the `full` one (c,), 6 inside a region.

    The sum of the squared excesses falls by each flip; no corner takes part in two (W. H. Frey, D. A. Field, Int. J. Numer. Meth. Eng.
    31 (1991) 1121; from memory).
    """
    excess = np.bincount(mesh.corners.ravel(), minlength=len(full)) - full
    inner = np.flatnonzero(~mesh.border)
    a, b, p, q = _around(mesh, inner)
    gain = 2 * (excess[a] + excess[b] - excess[p] - excess[q]) - 4
    better = gain > LEAST_GAIN
    inner, gain, (a, b, p, q) = inner[better], gain[better], (corner[better] for corner in (a, b, p, q))
    sharpest = np.maximum(*(largest_cotangents(mesh.node_of[np.stack(new, axis=1)], nodes) for new in ((a, q, p), (q, b, p))))
    usable = sharpest < SHARPEST
    chosen = _without_common(np.stack([a, b, p, q], axis=1)[usable], (gain - sharpest / SHARPEST)[usable], len(full))
    return _flipped(mesh, inner[usable][chosen])


def _around(mesh: Triangulation, which: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Ends a and b of edges, and the corners p and q opposite to them in the triangles (a, b, p) and (b, a, q)."""
    (t, k), (s, j) = (np.divmod(side, 3) for side in mesh.edges.sides[which].T)
    return mesh.corners[t, k], mesh.corners[t, (k + 1) % 3], mesh.corners[t, (k + 2) % 3], mesh.corners[s, (j + 2) % 3]


def _without_common(members: np.ndarray, priority: np.ndarray, size: int) -> np.ndarray:
    """Which rows (k, n) of members, of so many, have the largest priority (k,) among all rows with a member of theirs; (k,).

    Of equal ones the last has it.
    """
    rank = np.empty(len(priority), dtype=np.int64)
    rank[np.argsort(priority, kind="stable")] = np.arange(len(priority))
    largest = np.full(size, -1)
    for column in members.T:
        np.maximum.at(largest, column, rank)
    return (largest[members] == rank[:, None]).all(axis=1)


def _flipped(mesh: Triangulation, which: np.ndarray) -> Triangulation:
    """The triangles (a, b, p) and (b, a, q) beside edges made (a, q, p) and (q, b, p); none may be beside two of these edges."""
    corners, of_cell, ends, sides = (x.copy() for x in (mesh.corners, mesh.edges.of_cell, mesh.edges.ends, mesh.edges.sides))
    (t, k), (s, j) = (np.divmod(side, 3) for side in sides[which].T)
    a, b, p, q = _around(mesh, which)
    bp, pa, aq, qb = of_cell[t, (k + 1) % 3], of_cell[t, (k + 2) % 3], of_cell[s, (j + 1) % 3], of_cell[s, (j + 2) % 3]
    corners[t], corners[s] = np.stack([a, q, p], axis=1), np.stack([q, b, p], axis=1)
    of_cell[t], of_cell[s] = np.stack([aq, which, pa], axis=1), np.stack([qb, bp, which], axis=1)
    ends[which] = np.sort(mesh.node_of[np.stack([p, q], axis=1)], axis=1)
    for edge, before, after in ((bp, 3 * t + (k + 1) % 3, 3 * s + 1), (pa, 3 * t + (k + 2) % 3, 3 * t + 2),
                                (aq, 3 * s + (j + 1) % 3, 3 * t), (qb, 3 * s + (j + 2) % 3, 3 * s)):
        for column in (0, 1):
            here = mesh.edges.sides[edge, column] == before
            sides[edge[here], column] = after[here]
    sides[which] = np.stack([3 * t + 1, 3 * s + 2], axis=1)
    return replace(mesh, corners=corners, edges=Edges(ends, of_cell, sides))
