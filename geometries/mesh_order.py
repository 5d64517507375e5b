"""Six-node triangles raised to a higher order: the same cells with more nodes, those of curved edges on the outlines.

The nodes of an edge on a circle or an ellipse stand at equal angles, at a common distance from the centre so near the arc that the
curve through them encloses the arc's own area: as in `curved_edges.py` integrals then converge two orders faster.  In the interior an
edge with the displacement d(t) = t (1 - t) g(t) from its chord displaces lambda_a lambda_b g((1 + lambda_b - lambda_a) / 2), of the
order's degree and small with all its derivatives (M. Lenoir, SIAM J. Numer. Anal. 23 (1986) 562; from memory).
"""
from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from geometries.curved_edges import arc_edges_of, is_curved_edge
from geometries.mesh import Mesh, ends_of_edges
from geometries.node_layout import COUNTER_CLOCKWISE, edge_nodes, node_steps
from geometries.node_numbers import renumber_nodes
from geometries.outlines import Arc


def raised_mesh(mesh: Mesh, order: int, arcs: list[Arc]) -> Mesh:
    """The cells of a mesh of six-node triangles with the nodes of a higher order; those of edges on the arcs stand on them."""
    ends = ends_of_edges(mesh.triangles, mesh.size)
    middles = np.flatnonzero(ends[:, 0] >= 0)
    displacement = _displacements(mesh.nodes, np.column_stack([ends[middles], middles]), order, arcs)      # (e, order - 1, 2)
    share = np.arange(1, order)[:, None] / order
    start, end = mesh.nodes[ends[middles]].swapaxes(0, 1)
    along_edges = start[:, None] * (1 - share) + end[:, None] * share + displacement

    edge = np.full(mesh.size, -1)
    edge[middles] = np.arange(len(middles))

    def oriented(of_edges: np.ndarray, first: np.ndarray, middle: np.ndarray) -> np.ndarray:
        """Values between the ends of edges (e, order - 1, ...), those of the edges with these middles, seen from their `first` ends."""
        forward = (ends[middle, 0] == first).reshape(-1, *[1] * (of_edges.ndim - 1))
        return np.where(forward, of_edges[edge[middle]], of_edges[edge[middle]][:, ::-1])

    between = mesh.size + np.arange(len(middles) * (order - 1)).reshape(len(middles), -1)
    interior = mesh.size + between.size + np.arange(len(mesh.triangles) * _interior_count(order)).reshape(len(mesh.triangles), -1)
    triangles = np.column_stack([mesh.triangles[:, :3], np.zeros((len(interior), 3 * (order - 1)), dtype=np.int64), interior])
    of_edges = []
    for (a, _), middle, nodes in zip(COUNTER_CLOCKWISE, mesh.triangles[:, 3:].T, edge_nodes(order)[:, 2:], strict=True):
        triangles[:, nodes] = oriented(between, mesh.triangles[:, a], middle)
        of_edges.append(oriented(displacement, mesh.triangles[:, a], middle))
    in_triangles = _interior_places(mesh.corners, np.stack(of_edges, axis=1), order)
    nodes, number = renumber_nodes(np.concatenate([mesh.nodes, along_edges.reshape(-1, 2), in_triangles.reshape(-1, 2)]), triangles)

    def raised(edges: np.ndarray) -> np.ndarray:
        return number[np.column_stack([edges[:, :2], oriented(between, edges[:, 0], edges[:, 2])])]
    return replace(mesh, nodes=nodes, triangles=number[triangles], arc_edges=raised(mesh.arc_edges),
                   face_edges={face: raised(edges) for face, edges in mesh.face_edges.items()},
                   sheet_edges={name: raised(edges) for name, edges in mesh.sheet_edges.items()},
                   filament_node={name: int(number[node]) for name, node in mesh.filament_node.items()})


def _interior_count(order: int) -> int:
    return (order - 1) * (order - 2) // 2


def _displacements(nodes: np.ndarray, edges: np.ndarray, order: int, arcs: list[Arc]) -> np.ndarray:
    """How far the nodes between the ends of edges (k, 3) are from the chord, nothing where the edge is on no arc; (k, order - 1, 2)."""
    found = np.zeros((len(edges), order - 1, 2))
    share, curved = np.arange(1, order)[:, None] / order, np.flatnonzero(is_curved_edge(nodes, edges))
    for centre, semi_axes, on_arc in arc_edges_of(nodes, edges[curved], arcs):
        on_arc = curved[on_arc]
        start, end = ((nodes[edges[on_arc, k]] - centre)[:, None] / semi_axes for k in (0, 1))             # on the unit circle
        h = 0.5 * np.arccos(np.clip((start * end).sum(axis=2, keepdims=True), -1, 1))
        rho = area_keeping_distance(h, order)
        on_circle = (np.sin(2 * h * (1 - share)) * start + np.sin(2 * h * share) * end) / np.sin(2 * h)
        found[on_arc] = (rho * on_circle - (1 - share) * start - share * end) * semi_axes
    return found


def area_keeping_distance(h: np.ndarray, order: int) -> np.ndarray:
    """Distance from the centre in radii of the nodes between the ends of arcs of half angles h, with which areas are kept; of h's shape.

    With the ends at distance 1 and the others at rho the area between curve and centre is A_0 + A_1 rho + A_2 rho^2; the arc's is h.
    """
    ends = np.isin(np.arange(order + 1), (0, order))
    k = np.arange(order + 1)
    cross = 0.5 * _slope_products(order) * np.sin(2 * np.asarray(h)[..., None, None] * (k - k[:, None]) / order)
    A_0, A_2 = (cross[..., which, :][..., which].sum(axis=(-1, -2)) for which in (ends, ~ends))
    A_1 = cross.sum(axis=(-1, -2)) - A_0 - A_2
    rho = np.ones(np.shape(h))
    for _ in range(3):                                      # Newton's method; the first step is of the order of h^(order + 1)
        rho = rho + (h - A_0 - rho * (A_1 + rho * A_2)) / (A_1 + 2 * rho * A_2)
    return rho


@lru_cache(maxsize=4)
def _slope_products(order: int) -> np.ndarray:
    """Integral over [0, 1] of each polynomial that is 1 at one of the evenly spaced nodes, times the slope of each other one."""
    polynomials = [np.polynomial.Polynomial(column) for column in np.linalg.inv(np.vander(np.arange(order + 1) / order, increasing=True)).T]
    integrals = [[(one * other.deriv()).integ() for other in polynomials] for one in polynomials]
    return np.array([[integral(1) - integral(0) for integral in row] for row in integrals])


def _interior_places(corners: np.ndarray, displacement: np.ndarray, order: int) -> np.ndarray:
    """Interior nodes of triangles whose edges' nodes are displaced by (m, 3, order - 1, 2), counter-clockwise; (m, k, 2)."""
    barycentric = node_steps(order)[-_interior_count(order) or len(node_steps(order)):] / order
    share = np.arange(1, order) / order
    g = displacement / (share * (1 - share))[:, None]
    weights = []
    for a, b in COUNTER_CLOCKWISE:
        t = 0.5 * (1 + barycentric[:, b] - barycentric[:, a])
        at = np.stack([np.prod([(t - other) / (one - other) for other in share if other != one] or [np.ones_like(t)], axis=0)
                       for one in share], axis=1)
        weights.append((barycentric[:, a] * barycentric[:, b])[:, None] * at)
    return barycentric @ corners + np.einsum("eik,mekd->mid", np.stack(weights), g, optimize=True)
