"""Nodes of triangles moved where that makes small angles larger.

All of it works on arrays of all triangles at once, by their largest cotangents: the smaller one is, the larger is the smallest angle.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geometries.outlines import reached_on_ellipse
from geometries.triangle_edges import Edges, at_corners, cotangent, have_corner, largest_cotangents, numbered_anew

STEPS = 0.5, 0.25, 0.75, 0.5, 0.25, 0.75    # share of the way in each round
WORST_COUNTS = 4            # power of a triangle's largest cotangent by which it counts
DIRECTIONS = [(math.cos(k * math.pi / 4), math.sin(k * math.pi / 4)) for k in range(8)]
FIRST_DISTANCE = 0.2        # of a search, over the edges around the node
SEARCHES = 12               # rounds of them
LEAST_PROGRESS = 1e-3       # of the largest cotangent around a node that goes


@dataclass(frozen=True, eq=False)
class Paths:
    """Where each of n nodes may go: anywhere inside a region, along a straight border, a circle or an ellipse, or nowhere.

    projection         (n, 2, 2) of a displacement on the directions in which the node may go
    centre, semi_axes  (n, 2) of the circle or ellipse on which it stays, not a number of others
    """

    projection: np.ndarray
    centre: np.ndarray
    semi_axes: np.ndarray

    def __getitem__(self, nodes: np.ndarray) -> Paths:
        return Paths(self.projection[nodes], self.centre[nodes], self.semi_axes[nodes])

    @property
    def are_open(self) -> np.ndarray:
        """Which nodes may go anywhere at all; (n,)."""
        return self.projection.any(axis=(1, 2))

    def moved(self, nodes: np.ndarray, displacement: np.ndarray) -> np.ndarray:
        """Nodes (n, 2) displaced as far as they may."""
        moved = nodes + np.einsum("nij,nj->ni", self.projection, displacement)
        turned = np.flatnonzero(np.isfinite(self.centre[:, 0]))
        moved[turned] = reached_on_ellipse(moved[turned], self.centre[turned], self.semi_axes[turned])
        return moved


def smoothed_nodes(cells: np.ndarray, nodes: np.ndarray, edges: Edges, paths: Paths, size: np.ndarray, unharmed: float) -> np.ndarray:
    """Nodes (n, 2) at means of their neighbours, as far as their paths lead there.

    An edge's other end counts by one over the mean size at both ends: so sizes that grow gradually stay.

    size       (n,) length of edges near each node
    unharmed   degrees; a node stays where a smaller angle around it would be smaller than before
    """
    a, b = edges.ends.T
    weight = 1 / (size[a] + size[b])
    mean = np.stack([sum_of_edges(edges, weight * x[b], weight * x[a], len(nodes)) for x in nodes.T], axis=1)
    mean /= sum_of_edges(edges, weight, weight, len(nodes))[:, None]
    return _moved_where_angles_allow(cells, nodes, paths.moved(nodes, mean - nodes), cotangent(unharmed))


def sizes_at_nodes(nodes: np.ndarray, edges: Edges) -> np.ndarray:
    """Mean length of the edges near each node: at it and, by two means over neighbours, further away; (n,)."""
    a, b = edges.ends.T
    ones, length = np.ones(len(a)), np.hypot(*(nodes[b] - nodes[a]).T)
    count = sum_of_edges(edges, ones, ones, len(nodes))
    size = sum_of_edges(edges, length, length, len(nodes)) / count
    for _ in range(2):
        size = sum_of_edges(edges, size[b], size[a], len(nodes)) / count
    return size


def sum_of_edges(edges: Edges, to_first: np.ndarray, to_second: np.ndarray, size: int) -> np.ndarray:
    """What edges (e,) give to their first and second ends, summed at so many nodes; (n,)."""
    return np.bincount(edges.ends[:, 0], to_first, size) + np.bincount(edges.ends[:, 1], to_second, size)


def improved_nodes(cells: np.ndarray, nodes: np.ndarray, paths: Paths, poor: float) -> np.ndarray:
    """Nodes (n, 2) of triangles with angles below `poor` degrees moved so that the smallest angle around each grows.

    A node goes some way to the mean of the places where each triangle around it would be equilateral; the poorest of them count most
    (after D. Vartziotis, J. Wipper, Computing 86 (2009) 1; from memory).
    """
    limit = cotangent(poor)
    movable = paths.are_open & at_corners(cells[largest_cotangents(cells, nodes) > limit], len(nodes))
    near, number = numbered_anew(cells[have_corner(cells, movable)], len(nodes))
    places, movable, paths = nodes[number], movable[number], paths[number]
    for step in STEPS:
        poor_ones = near[largest_cotangents(near, places) > limit]
        share = np.where(movable & at_corners(poor_ones, len(places)), step, 0.0)[:, None]
        moved = paths.moved(places, share * (_places_of_equilateral_triangles(near, places) - places))
        places = _moved_where_angles_allow(near, places, moved)
    nodes = nodes.copy()
    nodes[number] = places
    return nodes


def searched_nodes(cells: np.ndarray, nodes: np.ndarray, paths: Paths, poor: float) -> np.ndarray:
    """Nodes (n, 2) of the few triangles with angles below `poor` degrees put where a search finds the smallest angle around each larger.

    In each round a node tries eight directions, and the next time half the distance if none is better.  Of neighbours only the one with
    the smallest angle goes, so that the angles found are those it gets.
    """
    movable = paths.are_open & at_corners(cells[largest_cotangents(cells, nodes) > cotangent(poor)], len(nodes))
    near, number = numbered_anew(cells[have_corner(cells, movable)], len(nodes))
    places, paths = nodes[number], paths[number]
    around = _Around.of(near, movable[number])
    distance = FIRST_DISTANCE * around.edge_length(places)
    for _ in range(SEARCHES):
        trials = np.stack([paths.moved(places, distance[:, None] * direction) for direction in DIRECTIONS])
        now, found = around.largest_cotangents(places[None], places)[0], around.largest_cotangents(trials, places)
        best = found.argmin(axis=0)
        better = found.min(axis=0) < (1 - LEAST_PROGRESS) * now
        goes = np.flatnonzero(better & _are_first(near, np.where(better, now, 0.0)))
        places[goes] = trials[best[goes], goes]
        distance[~better] *= 0.5
    nodes = nodes.copy()
    nodes[number] = places
    return nodes


@dataclass(frozen=True, eq=False)
class _Around:
    """Triangles around nodes, by pairs of a node and a triangle: the node and the two other corners, each (p,); of so many nodes."""

    node: np.ndarray
    one: np.ndarray
    other: np.ndarray
    size: int

    @staticmethod
    def of(cells: np.ndarray, marked: np.ndarray) -> _Around:
        """The triangles around the marked nodes (n,)."""
        triangle, corner = np.nonzero(marked[cells])
        return _Around(*(cells[triangle, (corner + k) % 3] for k in range(3)), len(marked))

    def edge_length(self, places: np.ndarray) -> np.ndarray:
        """Mean length of the edges opposite to each node, zero without triangles; (n,)."""
        length = np.linalg.norm(places[self.one] - places[self.other], axis=1)
        return np.bincount(self.node, length, self.size) / np.maximum(np.bincount(self.node, minlength=self.size), 1)

    def largest_cotangents(self, trials: np.ndarray, places: np.ndarray) -> np.ndarray:
        """The largest cotangent of the triangles around each node if it alone is at its trial place (k, n, 2), else zero; (k, n)."""
        first = self.size * np.arange(len(trials))[:, None]
        node, largest = (self.node + first).ravel(), np.zeros(len(trials) * self.size)
        one, other = (np.tile(corner + len(largest), len(trials)) for corner in (self.one, self.other))
        cotangents = largest_cotangents(np.stack([node, one, other], axis=1), np.concatenate([trials.reshape(-1, 2), places]))
        np.maximum.at(largest, node, cotangents)
        return largest.reshape(len(trials), self.size)


def _are_first(cells: np.ndarray, priority: np.ndarray) -> np.ndarray:
    """Nodes whose priority (n,) is the largest in each triangle around, and of equal ones the last; (n,)."""
    rank = np.empty(len(priority), dtype=np.int64)
    rank[np.argsort(priority, kind="stable")] = np.arange(len(priority))
    behind = cells[rank[cells] < rank[cells].max(axis=1, keepdims=True)]
    first = np.ones(len(priority), dtype=bool)
    first[behind] = False
    return first


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
        back = at_corners(checked[over], len(nodes)) & has_moved
        moved[back], has_moved[back] = nodes[back], False
        checked = cells[have_corner(cells, back)]
    return moved


def _largest_around(cells: np.ndarray, nodes: np.ndarray, least: float) -> np.ndarray:
    """The largest cotangent of the triangles around each node, and at least so much; (n,)."""
    cotangents, largest = largest_cotangents(cells, nodes), np.full(len(nodes), least)
    counted = cotangents > least
    for column in cells[counted].T:
        np.maximum.at(largest, column, cotangents[counted])
    return largest
