"""Force of the field on the nodes of a mesh: how its energy changes with their places while the metal keeps its flux (virtual work).

W = pi u . K(x) u, and in metal r^2 u is kept at every node, so the force on node b is

    F_b = -pi u . (dK/dx_b) u + 2 pi (K u)_b 2 u_b / r_b e_r          (the second term in metal, off the axis)

Its work on the nodes is exactly what leaves the field, however coarse the mesh and however thin the skin; it holds for permeable metal,
whose magnetization J x B leaves out. Metal with a B-H curve adds `integral of H dB - nu_0 B^2/2` to W and its magnetization
to K u. dK/dx_b is the shape derivative of the curl form. With nodes moved by v, and u moved along with them,

    d(u_r) = -(v_r,r u_r + v_z,r u_z),   d(u_z) = -(v_r,z u_r + v_z,z u_z),   d(dA) = (v_r,r + v_z,z) dA,   dr = v_r.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.quadrature import QuadraturePoints, seven_point_rule
from fieldsolve.field.system.bh_curve_zone import BHCurveZone
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.magnetostatic import reluctivity_load
from geometries.mesh import EXTERIOR


def shape_derivative(points: QuadraturePoints, H: tuple[np.ndarray, np.ndarray], energy: np.ndarray,
                     slopes: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Change of 2 pi integral of r (energy density) with the place of each node at fixed u, over the triangles of `points`; J/m, (n, 2).

    H        components at the points, (m, q) each; energy  density in J/m^3 with `d(energy) = H . dB`
    slopes   u_r and u_z there;  B_r = -r u_z, B_z = 2u + r u_r
    """
    r, (H_r, H_z), (u_r, u_z) = points.r, H, slopes
    weight = 2 * math.pi * points.dA
    # factors of v_r, of v_r,r and v_r,z, and of v_z,r and v_z,z
    by_v = weight * (energy + r * (H_z * u_r - H_r * u_z))
    by_radial = weight[..., None] * np.stack([r * energy - r**2 * H_z * u_r, r**2 * H_r * u_r], axis=-1)
    by_axial = weight[..., None] * np.stack([-(r**2) * H_z * u_z, r * energy + r**2 * H_r * u_z], axis=-1)
    radial = _contract(by_v[:, None], points.value) + _contract(by_radial, points.gradient)
    axial = _contract(by_axial, points.gradient)
    nodes = points.mesh.triangles[points.triangles].ravel()
    return np.stack([np.bincount(nodes, weights=f.ravel(), minlength=points.mesh.size) for f in (radial, axial)], axis=1)


def _contract(factor: np.ndarray, function: np.ndarray) -> np.ndarray:
    """Sum over a triangle's points (and directions) of factors times shape functions or their slopes; shape (m, 6)."""
    count = len(factor)
    return (factor.reshape(count, 1, -1) @ function.reshape(count, -1, 6))[:, 0]


def virtual_work_forces(system: EddySystem, points: QuadraturePoints, metal: np.ndarray, u: np.ndarray, total: np.ndarray,
                        steady: np.ndarray | float = 0.0) -> np.ndarray:
    """Force on every node in newton, over the full circumference; shape (n, 2).

    points  quadrature over all triangles one of whose nodes moves;  metal  nodes that keep their flux
    u       the solved field;  total  the same with a steady applied field;  steady  load of that field on permeable metal (n,)
    """
    force = -_linear_forces(points, np.full(len(points.triangles), NU_0), u)
    nu = system.nu[points.triangles]
    permeable = np.flatnonzero(nu != NU_0)
    if len(permeable):
        force -= _linear_forces(points.subset(permeable), nu[permeable] - NU_0, total)
    for zone in system.zones:
        force -= _magnetization_forces(zone, total)
    off_axis = metal[system.mesh.nodes[metal, 0] > 0]
    current = (system.full_stiffness @ u - steady - system.bh_curve_load(total))[off_axis]
    force[off_axis, 0] += 4 * math.pi * current * total[off_axis] / system.mesh.nodes[off_axis, 0]
    return force


def virtual_work_body_forces(system: EddySystem, part: str, u: np.ndarray, applied_field: float) -> np.ndarray:
    """Force in newton on the nodes of one body, magnetized or not, by the field's energy beside a steady applied field; (n, 2)."""
    mesh = system.mesh
    body_nodes = np.unique(mesh.triangles[mesh.part_triangles(part)])
    in_body = np.zeros(mesh.size, dtype=bool)
    in_body[body_nodes] = True
    points = seven_point_rule(mesh, np.flatnonzero((mesh.region != EXTERIOR) & in_body[mesh.triangles].any(axis=1)))
    steady = applied_field * reluctivity_load(mesh, system.nu) if applied_field else 0.0
    return np.where(in_body[:, None], virtual_work_forces(system, points, body_nodes, u, u + 0.5 * applied_field, steady), 0.0)


def _linear_forces(points: QuadraturePoints, nu: np.ndarray, u: np.ndarray) -> np.ndarray:
    """The shape derivative where H = nu B, nu (m,) in m/H."""
    value, u_r, u_z = points.interpolate(u)
    B_r, B_z = -points.r * u_z, 2 * value + points.r * u_r
    nu = nu[:, None]
    return shape_derivative(points, (nu * B_r, nu * B_z), 0.5 * nu * (B_r**2 + B_z**2), (u_r, u_z))


def _magnetization_forces(zone: BHCurveZone, total: np.ndarray) -> np.ndarray:
    """The shape derivative of what a B-H curve adds to vacuum."""
    length, direction = zone.flux_density(total)
    M = (NU_0 * length - zone.field_strength(length))[..., None] * direction
    return shape_derivative(zone.points, (-M[..., 0], -M[..., 1]), zone.energy_density(length) - 0.5 * NU_0 * length**2,
                            zone.points.interpolate(total)[1:])
