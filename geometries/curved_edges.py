"""Middle nodes of edges on circles and ellipses, placed so that the parabola through them encloses the arc's own area.

A parabola through three points of an arc of half angle h lies inside it by up to h^4/32 of the radius.  With its middle node at
rho = cos h + 3 (h - sin h cos h) / (4 sin h) radii it is inside and outside by equal shares, so that volumes and inductances converge
two orders faster.  An ellipse is the image of a circle under an affine map, which keeps shares of area.
"""
from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geometries.mesh import EDGE_NODES
from geometries.outlines import Arc

ON_ARC = 1e-7           # distance from an arc, in units of its semi-axes, that counts as on it


def preserve_areas(nodes: np.ndarray, triangles: np.ndarray, arcs: list[Arc]) -> np.ndarray:
    """Nodes (n, 2) with the middle nodes of all edges of the six-node triangles that lie on one of the arcs moved; a new array."""
    edges = triangles[:, EDGE_NODES].reshape(-1, 3)
    edges = np.unique(edges[is_curved_edge(nodes, edges)], axis=0)
    moved = nodes.copy()
    for centre, semi_axes, on_arc in arc_edges_of(nodes, edges, arcs):
        start, end = ((nodes[edges[on_arc, k]] - centre) / semi_axes for k in (0, 1))        # on the unit circle
        h = 0.5 * np.arccos(np.clip((start * end).sum(axis=1), -1, 1))
        rho = np.cos(h) + 3 * (h - np.sin(h) * np.cos(h)) / (4 * np.sin(h))
        direction = (start + end) / np.linalg.norm(start + end, axis=1, keepdims=True)
        moved[edges[on_arc, 2]] = centre + rho[:, None] * direction * semi_axes
    return moved


def is_curved_edge(nodes: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Edges, given by end, end and middle, whose middle node is off the chord by more than rounding; shape (k,)."""
    start, end, middle = (nodes[edges[:, k]] for k in range(3))
    return np.abs(middle - 0.5 * (start + end)).max(axis=1) > 1e-9 * np.abs(end - start).max(axis=1)


def arc_edges_of(nodes: np.ndarray, edges: np.ndarray,
                 arcs: list[Arc]) -> Iterator[tuple[tuple[float, float], tuple[float, float], np.ndarray]]:
    """For each circle or ellipse its centre, its semi-axes, and which edges (k, 3), given by end, end and middle, lie on it.

    The middle node may be off the arc by so much as keeps areas.
    """
    for centre, semi_axes in {(arc.centre, arc.semi_axes) for arc in arcs}:
        unit = (nodes[edges] - centre) / semi_axes                              # (k, 3, 2) on the unit circle where on the arc
        off = np.abs(np.hypot(unit[..., 0], unit[..., 1]) - 1)
        sagitta = ((unit[:, 1] - unit[:, 0]) ** 2).sum(axis=1) / 8
        yield centre, semi_axes, (off[:, :2] < ON_ARC).all(axis=1) & (off[:, 2] < ON_ARC + 0.1 * sagitta)


def has_curved_edge(nodes: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Triangles with an edge whose middle node is off the chord by more than rounding; shape (m,)."""
    x = nodes[triangles.T]                                                          # (6, m, 2): reduced over columns
    off = np.abs(x[3:] - 0.5 * (x[[0, 1, 0]] + x[[1, 2, 2]])).max(axis=0)
    size = x[:3].max(axis=0) - x[:3].min(axis=0)
    return np.maximum(*off.T) > 1e-9 * np.maximum(*size.T)


def node_jacobians(x: np.ndarray) -> np.ndarray:
    """Jacobian determinant of triangles with nodes (k, 6, 2) at each node; all positive in a usable mesh; shape (6, k)."""
    (s, t), zero = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5]]).T, np.zeros(6)
    along_s = np.stack([4 * s + 4 * t - 3, 4 * s - 1, zero, 4 - 8 * s - 4 * t, 4 * t, -4 * t], axis=1)
    along_t = np.stack([4 * s + 4 * t - 3, zero, 4 * t - 1, -4 * s, 4 * s, 4 - 4 * s - 8 * t], axis=1)
    by_node = x.transpose(1, 2, 0).reshape(6, -1)
    (a, b), (c, d) = ((slopes @ by_node).reshape(6, 2, len(x)).swapaxes(0, 1) for slopes in (along_s, along_t))
    return a * d - b * c
