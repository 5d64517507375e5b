"""Open space by inversion: the exterior (Kelvin) domain, its term on the arc, and fields beyond the arc.

Outside the arc of radius R about (0, z_c) the field is u(x) = (R/rho)^3 w(x'), x' = R^2 x / rho^2, with w in the exterior domain.
The curl form inside differs from the gradient form by a boundary term, which leaves (1/R) nu_0 r^3 u v along the arc.
"""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.reference_triangle import edge_functions
from geometries.mesh import Mesh


def arc_term(mesh: Mesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Integral of (nu_0/R) r^3 u v along the arc as entries (rows, columns, values) with rows >= columns."""
    edges = mesh.arc_edges
    a, b = np.tril_indices(edges.shape[1])
    return edges[:, a].ravel(), edges[:, b].ravel(), _arc_values(mesh.order, mesh.open_radius, mesh.nodes[edges].tobytes())


@lru_cache(maxsize=4)
def _arc_values(order: int, radius: float, places: bytes) -> np.ndarray:
    """The values for the places of the arc's nodes (k, order + 1, 2), which stay where they are while metal moves."""
    value, slope, w = edge_functions(order)
    r, z = np.moveaxis(np.frombuffer(places).reshape(-1, order + 1, 2), 2, 0)
    weight = NU_0 / radius * (r @ value) ** 3 * np.hypot(r @ slope, z @ slope) * w
    a, b = np.tril_indices(order + 1)
    return (weight @ (value[a] * value[b]).T).ravel()


def image(mesh: Mesh, r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Image (r', z') inside the arc of points outside it."""
    scale = mesh.open_radius**2 / (r**2 + (z - mesh.centre) ** 2)
    return r * scale, mesh.centre + (z - mesh.centre) * scale


def from_image(mesh: Mesh, r: np.ndarray, z: np.ndarray, w: np.ndarray, w_r: np.ndarray, w_z: np.ndarray) -> tuple[np.ndarray, ...]:
    """u, u_r, u_z at points outside the arc from w and its derivatives at their images."""
    x, y, radius = r, z - mesh.centre, mesh.open_radius
    rho2 = x**2 + y**2
    decay, stretch = (radius**2 / rho2) ** 1.5, radius**2 / rho2
    along = 2 * (x * w_r + y * w_z) / rho2
    u_r = decay * (-3 * x / rho2 * w + stretch * (w_r - x * along))
    u_z = decay * (-3 * y / rho2 * w + stretch * (w_z - y * along))
    return decay * w, u_r, u_z
