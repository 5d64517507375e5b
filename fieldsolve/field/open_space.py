"""Open space by inversion: the outer half disc, its term on the arc, and fields beyond the arc.

Outside the arc of radius R about (0, z_c) the field is u(x) = (R/rho)^3 w(x'), x' = R^2 x / rho^2, with w on the outer sheet.
The curl form inside differs from the gradient form by a boundary term, which leaves (1/R) nu_0 r^3 u v along the arc.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.constants import MU_0, NU_0
from geometries.mesh import OUTER, Mesh


def arc_term(mesh: Mesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Integral of (nu_0/R) r^3 u v along the arc as entries (rows, columns, values) with rows >= columns."""
    x, w = np.polynomial.legendre.leggauss(6)
    value = np.stack([x * (x - 1) / 2, x * (x + 1) / 2, 1 - x**2])                 # end, end, middle; (3, q)
    slope = np.stack([x - 0.5, x + 0.5, -2 * x])
    nodes = mesh.nodes[mesh.arc_edges]                                              # (k, 3, 2)
    r = np.einsum("aq,ka->kq", value, nodes[:, :, 0])
    ds = np.linalg.norm(np.einsum("aq,kai->kqi", slope, nodes), axis=2) * w
    local = np.einsum("kq,aq,bq->kab", NU_0 / mesh.open_radius * r**3 * ds, value, value)
    pairs = [(a, b) for a in range(3) for b in range(a + 1)]
    rows, columns = (mesh.arc_edges[:, [pair[k] for pair in pairs]].ravel() for k in (0, 1))
    return rows, columns, local[:, [a for a, _ in pairs], [b for _, b in pairs]].ravel()


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


def dipole_moment(mesh: Mesh, w: np.ndarray) -> float:
    """Moment along z in A m^2: far away u = mu_0 m / (4 pi rho^3), so m = 4 pi R^3 w(image of infinity) / mu_0."""
    outer = np.unique(mesh.triangles[mesh.region == OUTER][:, :3])
    at_infinity = outer[np.argmin(np.hypot(mesh.nodes[outer, 0], mesh.nodes[outer, 1] - mesh.centre))]
    return 4 * math.pi * mesh.open_radius**3 * w[at_infinity] / MU_0
