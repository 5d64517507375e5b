"""Nested meshes of a rectangle, of two zones side by side or of a body with air around it, each halving exactly that before."""
from __future__ import annotations

import numpy as np

from geometries.mesh import AIR, Mesh
from geometries.node_layout import edge_nodes, node_steps

SIDE = 0.02         # m


def rectangle(inner_radius: float, cells: int, order: int, zones: tuple[str, ...]) -> Mesh:
    """Mesh of inner_radius < r < inner_radius + SIDE, 0 < z < SIDE, in cells x cells squares of two triangles of an order.

    zones  names of the parts in the inner and the outer half; of one name alone the part of `is_in_body`, with air around it
    """
    i, j = np.meshgrid(np.arange(cells), np.arange(cells), indexing="ij")
    lower, upper = ((0, 0), (1, 0), (1, 1)), ((0, 0), (1, 1), (0, 1))
    corners = np.concatenate([np.stack([np.stack([i + a, j + b], axis=-1) for a, b in half], axis=-2).reshape(-1, 3, 2)
                              for half in (lower, upper)])
    lattice = np.einsum("ac,mcd->mad", node_steps(order), corners)              # whole numbers, order * cells to a side
    places, triangles = np.unique(lattice.reshape(-1, 2), axis=0, return_inverse=True)
    nodes = places * (SIDE / (order * cells)) + [inner_radius, 0.0]
    centres = nodes[triangles.reshape(lattice.shape[:2])[:, :3]].mean(axis=1)
    is_inner = centres[:, 0] < inner_radius + 0.5 * SIDE if len(zones) == 2 else is_in_body(inner_radius, *centres.T)
    none = np.zeros((0, order + 1), dtype=int)
    return Mesh(nodes=nodes, triangles=triangles.reshape(lattice.shape[:2]),
                region=np.where(is_inner, 1, 2 if len(zones) == 2 else AIR), regions=tuple((name, 0) for name in zones),
                curved=np.zeros(len(corners), dtype=bool), open_radius=None, centre=0.5 * SIDE, arc_edges=none,
                face_edges={"inner": none, "outer": none}, sheet_edges={}, filament_node={})


def body_radii(inner_radius: float) -> tuple[float, float]:
    """Inner and outer radius in m of a body of half the rectangle's height and width: at the axis, or away from both faces."""
    return (0.0, 0.5 * SIDE) if inner_radius == 0 else (inner_radius + 0.25 * SIDE, inner_radius + 0.75 * SIDE)


def is_in_body(inner_radius: float, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Whether points are in the body."""
    inner, outer = body_radii(inner_radius)
    return (r > inner) & (r < outer) & (np.abs(z - 0.5 * SIDE) < 0.25 * SIDE)


def border_edges(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Nodes (k, order + 1) of the edges around some triangles, counter-clockwise."""
    edges = mesh.triangles[triangles][:, edge_nodes(mesh.order)].reshape(-1, mesh.order + 1)
    _, which, count = np.unique(np.sort(edges[:, :2], axis=1), axis=0, return_inverse=True, return_counts=True)
    return edges[count[which.ravel()] == 1]
