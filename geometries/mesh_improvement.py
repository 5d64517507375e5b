"""Small angles of a triangulation made larger: edges flipped and nodes moved around the poor triangles.

1. Edges are flipped until about six triangles meet at each node, and about as many as fit into its angle on a border.
2. Nodes go to the means of their neighbours.
3. Edges are flipped towards Delaunay's triangles.
4. Nodes of triangles that are still poor go to where their smallest angle is larger.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geometries.edge_flips import Triangulation, flipped_to_delaunay, flipped_to_regular
from geometries.outlines import Arc
from geometries.smoothing import Paths, improved_nodes, searched_nodes, sizes_at_nodes, smoothed_nodes
from geometries.triangle_edges import at_corners, cotangent, cotangents, edges_of, have_corner, largest_cotangents, numbered_anew

POOR = 42.0                 # degrees below which an angle is to grow
WORST = 41.0                # below which the nodes are searched for better places at last
RINGS = 2                   # of triangles around the poor ones that may change too
FLIPS = 4                   # rounds of flips towards regular nodes
UNHARMED = 5.0, 15.0, 25.0, 35.0, 40.0      # degrees up to which an angle may fall in each round of means
DELAUNAY_AFTER = 3          # such rounds
STRAIGHT = 1e-7             # sine of the angle between two edges of a border that count as one line


@dataclass(frozen=True, eq=False)
class Constraints:
    """What stays when triangles (m, 3) with nodes (n, 2) change.

    region   (m,) number of each triangle's region, which it does not leave; negative where it stays as it is
    lines    (k, 2) edges inside a region that stay edges
    circles  nodes (k,) that stay on a circle or ellipse, and it
    fixed    (n,) nodes that stay
    """

    region: np.ndarray
    lines: np.ndarray
    circles: list[tuple[np.ndarray, Arc]]
    fixed: np.ndarray


def improved(cells: np.ndarray, nodes: np.ndarray, constraints: Constraints) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (m, 3) and nodes (n, 2) with larger small angles; triangles and nodes keep their numbers."""
    near = _near_poor(cells, nodes, constraints.region >= 0)
    if not len(near):
        return cells, nodes
    patch, number = numbered_anew(cells[near], len(nodes))
    triangulation, paths = _patch(patch, nodes[number], _constraints_of(constraints, cells, near, number))
    patch, places = _improved(triangulation, nodes[number], paths)
    cells, nodes = cells.copy(), nodes.copy()
    cells[near], nodes[number] = number[patch], places
    return cells, nodes


def _constraints_of(constraints: Constraints, cells: np.ndarray, near: np.ndarray, number: np.ndarray) -> Constraints:
    """Those of some of the triangles, whose nodes have these numbers among all; what other triangles need is fixed."""
    others, place = np.ones(len(cells), dtype=bool), np.full(len(constraints.fixed), -1)
    others[near], place[number] = False, np.arange(len(number))
    lines = place[constraints.lines]
    circles = [(place[nodes][place[nodes] >= 0], arc) for nodes, arc in constraints.circles]
    fixed = constraints.fixed | at_corners(cells[others], len(constraints.fixed))
    return Constraints(constraints.region[near], lines[(lines >= 0).all(axis=1)], circles, fixed[number])


def _near_poor(cells: np.ndarray, nodes: np.ndarray, changeable: np.ndarray) -> np.ndarray:
    """Numbers of the changeable triangles with a poor one among them or a few triangles away."""
    near = np.flatnonzero(largest_cotangents(cells, nodes) > cotangent(POOR))
    for _ in range(RINGS):
        near = have_corner(cells, at_corners(cells[near], len(nodes)))
    return near[changeable[near]]


def _patch(cells: np.ndarray, nodes: np.ndarray, constraints: Constraints) -> tuple[Triangulation, Paths]:
    """Triangles with their edges and borders, and where their nodes may go."""
    edges, region = edges_of(cells, len(nodes)), constraints.region
    one, other = edges.sides.T // 3
    border = (one == other) | (region[one] != region[other]) | _are_among(edges.ends, constraints.lines, len(nodes))
    corners, node_of = _corners_by_region(cells, region, at_corners(edges.ends[border], len(nodes)))
    return Triangulation(corners, node_of, edges, border), _paths(nodes, edges.ends[border], constraints)


def _are_among(ends: np.ndarray, pairs: np.ndarray, size: int) -> np.ndarray:
    """Which edges (e, 2) are among pairs (k, 2) of so many nodes, in either direction; (e,)."""
    return np.isin(ends @ [size, 1], np.sort(pairs, axis=1) @ [size, 1])


def _corners_by_region(cells: np.ndarray, region: np.ndarray, on_border: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners (m, 3) of which each node on a border has one in each region, and their nodes (c,)."""
    corners, of_border = cells.copy(), on_border[cells]
    regions = int(region.max()) + 1
    key, number = np.unique((cells * regions + region[:, None])[of_border], return_inverse=True)
    corners[of_border] = len(on_border) + number
    return corners, np.concatenate([np.arange(len(on_border)), key // regions])


def _paths(nodes: np.ndarray, border: np.ndarray, constraints: Constraints) -> Paths:
    """All ways are open inside a region, one along a border that is straight at a node or on a circle, else none."""
    ends, along = border.ravel(), np.repeat(nodes[border[:, 1]] - nodes[border[:, 0]], 2, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    count, projection = np.bincount(ends, minlength=len(nodes)), np.zeros((len(nodes), 2, 2))
    np.add.at(projection, ends, 0.5 * along[:, :, None] * along[:, None, :])
    projection[count == 0] = np.eye(2)
    movable = (count == 0) | (count == 2) & (np.linalg.det(projection) < STRAIGHT**2)
    centre, semi_axes = np.full((2, len(nodes), 2), np.nan)
    for on_circle, arc in constraints.circles:
        turned = on_circle[(count[on_circle] == 2) & ~constraints.fixed[on_circle]]
        centre[turned], semi_axes[turned], movable[turned] = arc.centre, arc.semi_axes, True
    projection[~movable | constraints.fixed] = 0.0
    return Paths(projection, centre, semi_axes)


def _improved(mesh: Triangulation, nodes: np.ndarray, paths: Paths) -> tuple[np.ndarray, np.ndarray]:
    """Triangles and nodes after the four steps."""
    full, size = _full(mesh, nodes), sizes_at_nodes(nodes, mesh.edges)
    for _ in range(FLIPS):
        mesh = flipped_to_regular(mesh, nodes, full)
    for number, unharmed in enumerate(UNHARMED):
        if number == DELAUNAY_AFTER:
            mesh = flipped_to_delaunay(mesh, nodes)
        nodes = smoothed_nodes(mesh.cells, nodes, mesh.edges, paths, size, unharmed)
    nodes = improved_nodes(mesh.cells, nodes, paths, POOR)
    return mesh.cells, searched_nodes(mesh.cells, nodes, paths, WORST)


def _full(mesh: Triangulation, nodes: np.ndarray) -> np.ndarray:
    """How many equilateral triangles fit around each corner; (c,)."""
    opposite = np.arctan2(1.0, cotangents(mesh.cells, nodes))
    return np.bincount(mesh.corners.ravel(), opposite[:, [1, 2, 0]].ravel(), len(mesh.node_of)) / (math.pi / 3)
