"""Nodes of triangles moved where that makes small angles larger.

All of it works on arrays of all triangles at once, by their largest cotangents: the smaller one is, the larger is the smallest angle.
"""
from __future__ import annotations

import math

import numpy as np

from geometries.triangle_edges import Edges, largest_cotangents

UNHARMED = 1 / math.tan(math.radians(33))   # largest cotangent up to which the mean of the neighbours may make a triangle worse
POOR = 1 / math.tan(math.radians(35))       # from which on the nodes of a triangle are moved to improve it
STEPS = 0.5, 0.25, 0.75, 0.5, 0.25, 0.75    # share of the way in each round
WORST_COUNTS = 4                            # power of a triangle's largest cotangent by which it counts


def smoothed_nodes(cells: np.ndarray, nodes: np.ndarray, edges: Edges, free: np.ndarray) -> np.ndarray:
    """Nodes (n, 2) with the `free` ones (n,) at the mean of their neighbours, but where that makes small angles smaller."""
    a, b = edges.ends.T
    count = np.bincount(a, minlength=len(nodes)) + np.bincount(b, minlength=len(nodes))
    around = np.stack([np.bincount(a, x[b], len(nodes)) + np.bincount(b, x[a], len(nodes)) for x in nodes.T], axis=1)
    moved = np.where(free[:, None], around / np.maximum(count, 1)[:, None], nodes)
    return _moved_where_angles_allow(cells, nodes, moved, UNHARMED)


def improved_nodes(cells: np.ndarray, nodes: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Nodes (n, 2) with the `free` ones (n,) of poor triangles moved so that the smallest angle around each grows.

    A node goes some way to the mean of the places where each triangle around it would be equilateral; the poorest of them count most
    (after D. Vartziotis, J. Wipper, Computing 86 (2009) 1; from memory).
    """
    movable = free & _at_corners(cells[largest_cotangents(cells, nodes) > POOR], len(nodes))
    near, number = _numbered_anew(cells[_have_corner(cells, movable)], len(nodes))
    places, movable = nodes[number], movable[number]
    for step in STEPS:
        poor = near[largest_cotangents(near, places) > POOR]
        share = np.where(movable & _at_corners(poor, len(places)), step, 0.0)[:, None]
        moved = (1 - share) * places + share * _places_of_equilateral_triangles(near, places)
        places = _moved_where_angles_allow(near, places, moved)
    nodes = nodes.copy()
    nodes[number] = places
    return nodes


def _at_corners(cells: np.ndarray, size: int) -> np.ndarray:
    """Which of so many nodes are corners of the triangles."""
    marked = np.zeros(size, dtype=bool)
    marked[cells] = True
    return marked


def _have_corner(cells: np.ndarray, marked: np.ndarray) -> np.ndarray:
    """Numbers of the triangles with a corner among the marked nodes (n,)."""
    a, b, c = cells.T
    return np.flatnonzero(marked[a] | marked[b] | marked[c])


def _numbered_anew(cells: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles by the numbers of their corners among those in use, and these nodes' numbers among all."""
    used = np.flatnonzero(_at_corners(cells, size))
    number = np.empty(size, dtype=np.int64)
    number[used] = np.arange(len(used))
    return number[cells], used


def _places_of_equilateral_triangles(cells: np.ndarray, nodes: np.ndarray) -> np.ndarray:
    """For each node (n, 2) the weighted mean of the places where each triangle (m, 3) around it, its other corners kept, is equilateral."""
    weight = largest_cotangents(cells, nodes) ** WORST_COUNTS
    places, weights = np.zeros_like(nodes), np.bincount(cells.ravel(), np.repeat(weight, 3), len(nodes))
    for k in range(3):
        one, other = nodes[cells[:, (k + 1) % 3]], nodes[cells[:, (k + 2) % 3]]
        along = other - one
        apex = 0.5 * (one + other) + 0.5 * math.sqrt(3) * np.stack([-along[:, 1], along[:, 0]], axis=1)
        places += np.stack([np.bincount(cells[:, k], weight * x, len(nodes)) for x in apex.T], axis=1)
    return places / weights[:, None]


def _moved_where_angles_allow(cells: np.ndarray, nodes: np.ndarray, moved: np.ndarray, unharmed: float = 0.0) -> np.ndarray:
    """Nodes (n, 2) moved, but those left around which the largest cotangent would grow beyond what it was and beyond `unharmed`."""
    allowed, moved = _largest_around(cells, nodes, unharmed), moved.copy()
    has_moved, checked = (moved[:, 0] != nodes[:, 0]) | (moved[:, 1] != nodes[:, 1]), cells
    while len(checked):
        over = largest_cotangents(checked, moved)[:, None] > allowed[checked]
        back = _at_corners(checked[over], len(nodes)) & has_moved
        moved[back], has_moved[back] = nodes[back], False
        checked = cells[_have_corner(cells, back)]
    return moved


def _largest_around(cells: np.ndarray, nodes: np.ndarray, least: float) -> np.ndarray:
    """The largest cotangent of the triangles around each node, and at least so much; (n,)."""
    cotangents, largest = largest_cotangents(cells, nodes), np.full(len(nodes), least)
    counted = cotangents > least
    for column in cells[counted].T:
        np.maximum.at(largest, column, cotangents[counted])
    return largest
