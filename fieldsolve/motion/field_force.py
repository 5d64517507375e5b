"""Force of the field on the nodes of a moving mesh: how its energy changes with their places while the metal keeps its flux.

W = pi u . K(x) u, and in metal r^2 u is kept at every node, so the force on node b is

    F_b = -pi u . (dK/dx_b) u + 2 pi (K u)_b 2 u_b / r_b e_r          (the second term in metal, off the axis)

Its work on the nodes is exactly what leaves the field, however coarse the mesh and however thin the skin.  dK/dx_b is the shape
derivative of the curl form.  With nodes moved by v, and u moved along with them,

    d(u_r) = -(v_r,r u_r + v_z,r u_z),   d(u_z) = -(v_r,z u_r + v_z,z u_z),   d(dA) = (v_r,r + v_z,z) dA,   dr = v_r.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field.cells import Sampling
from fieldsolve.field.eddy_system import EddySystem


def shape_derivative(points: Sampling, nu: np.ndarray, u: np.ndarray) -> np.ndarray:
    """d(pi u . K u)/dx of each node at fixed u over the triangles of `points`, joule per metre; nu (m,) in m/H; shape (n, 2).

    Per radian the integrand is 1/2 nu r (B_r^2 + B_z^2), B_r = -r u_z, B_z = 2u + r u_r.
    """
    r, (value, u_r, u_z) = points.r, points.of(u)
    B_r, B_z = -r * u_z, 2 * value + r * u_r
    weight = 2 * math.pi * nu[:, None] * points.dA
    density = 0.5 * r * (B_r**2 + B_z**2)
    # factors of v_r, of v_r,r and v_r,z, and of v_z,r and v_z,z
    by_v = weight * (0.5 * (B_r**2 + B_z**2) + r * (B_z * u_r - B_r * u_z))
    by_radial = weight[..., None] * np.stack([density - r**2 * B_z * u_r, r**2 * B_r * u_r], axis=-1)
    by_axial = weight[..., None] * np.stack([-(r**2) * B_z * u_z, density + r**2 * B_r * u_z], axis=-1)
    radial = _summed(by_v[:, None], points.value) + _summed(by_radial, points.gradient)
    axial = _summed(by_axial, points.gradient)
    nodes = points.mesh.triangles[points.triangles].ravel()
    return np.stack([np.bincount(nodes, weights=f.ravel(), minlength=points.mesh.size) for f in (radial, axial)], axis=1)


def _summed(factor: np.ndarray, function: np.ndarray) -> np.ndarray:
    """Sum over a triangle's points (and directions) of factors times shape functions or their slopes; shape (m, 6)."""
    count = len(factor)
    return (factor.reshape(count, 1, -1) @ function.reshape(count, -1, 6))[:, 0]


def node_forces(system: EddySystem, points: Sampling, metal: np.ndarray, u: np.ndarray, total: np.ndarray) -> np.ndarray:
    """Force on every node in newton, over the full circumference; shape (n, 2).

    points  quadrature over all triangles one of whose nodes moves;  metal  nodes that keep their flux
    u       the solved field;  total  the same with a steady applied field
    """
    force = -shape_derivative(points, system.nu[points.triangles], u)
    off_axis = metal[system.mesh.nodes[metal, 0] > 0]
    current = (system.whole_stiffness @ u)[off_axis]
    force[off_axis, 0] += 4 * math.pi * current * total[off_axis] / system.mesh.nodes[off_axis, 0]
    return force
