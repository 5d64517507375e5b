"""Quadrature over triangles and evaluation inside them, curved ones included."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from fieldsolve.field.fem.element_matrices import COLUMNS, ROWS, reference_rule, shape_functions, shape_gradients
from geometries.mesh import Mesh
from geometries.pickling import fields_only

RULE = 4        # points each way: exact to degree 6; the 1/r integrals share it
FORM_RULE = 6   # the same for the forms, of degree 7 on straight triangles and more on curved ones


@dataclass(frozen=True, eq=False, repr=False)
class QuadraturePoints:
    """Points in triangles and the shape functions there.

    triangles (m,)   r, z, dA (m, q): place and weighted area (1 where no weights were given)
    value (m, q, 6)  gradient (m, q, 2, 6): shape functions and their (r, z) derivatives
    """

    mesh: Mesh
    triangles: np.ndarray
    r: np.ndarray
    z: np.ndarray
    dA: np.ndarray
    value: np.ndarray
    gradient: np.ndarray

    __getstate__ = fields_only

    def __repr__(self) -> str:
        return f"QuadraturePoints({self.r.shape[1]} in each of {len(self.triangles)} triangles)"

    def subset(self, chosen: np.ndarray) -> QuadraturePoints:
        """The points of some of the triangles, by their place among `triangles`."""
        return QuadraturePoints(mesh=self.mesh, triangles=self.triangles[chosen], r=self.r[chosen], z=self.z[chosen], dA=self.dA[chosen],
                                value=self.value[chosen], gradient=self.gradient[chosen])

    def interpolate(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """u, u_r and u_z of a nodal field at the points; each (m, q)."""
        local = u[self.mesh.triangles[self.triangles]]
        cells, points = self.r.shape
        slope = (self.gradient.reshape(cells, 2 * points, 6) @ local[..., None]).reshape(cells, points, 2)
        return (self.value @ local[..., None])[..., 0], slope[..., 0], slope[..., 1]

    @cached_property
    def curl(self) -> np.ndarray:
        """B_r and B_z of each shape function, -r v_z and 2v + r v_r; (m, q, 2, 6)."""
        r = self.r[..., None]
        return np.stack([-r * self.gradient[:, :, 1], 2 * self.value + r * self.gradient[:, :, 0]], axis=2)

    @cached_property
    def r_dA(self) -> np.ndarray:
        """r dA, (m, q)."""
        return self.r * self.dA

    def flux_density(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """B_r = -r u_z and B_z = 2u + r u_r in the inner domain; each (m, q)."""
        value, u_r, u_z = self.interpolate(u)
        return -self.r * u_z, 2 * value + self.r * u_r


def gauss_points(mesh: Mesh, triangles: np.ndarray, rule: int = RULE) -> QuadraturePoints:
    """Gauss points over the given triangles, `rule` each way; sums of f * dA are integrals over their area."""
    points, weights = reference_rule(rule)
    return sample(mesh, triangles, points, 0.5 * weights)


@lru_cache(maxsize=8)
def part_quadrature(mesh: Mesh, part: str) -> QuadraturePoints:
    """Gauss points over a part, the same for all its readings on one mesh."""
    return gauss_points(mesh, mesh.part_triangles(part))


def seven_point_rule(mesh: Mesh, triangles: np.ndarray) -> QuadraturePoints:
    """Seven points in each triangle, exact to degree 5, the degree of the energy of a straight triangle.

    J. Radon, Monatsh. Math. 52 (1948) 286.
    """
    root = math.sqrt(15)
    rows, weights = [np.full((1, 3), 1 / 3)], [9 / 40]
    for sign in (-1, 1):
        near = (6 + sign * root) / 21
        rows.append(near + (1 - 3 * near) * np.eye(3))
        weights += 3 * [(155 + sign * root) / 1200]
    return sample(mesh, triangles, np.concatenate(rows), 0.5 * np.array(weights))


def sample(mesh: Mesh, triangles: np.ndarray, points: np.ndarray, weights: np.ndarray | float = 1.0) -> QuadraturePoints:
    """The given triangles at barycentric `points`: (q, 3) for the same in all of them, (m, q, 3) for others in each."""
    value, slope = shape_functions(points), shape_gradients(points)
    nodes = mesh.nodes[mesh.triangles[triangles]]
    shape = (len(triangles), points.shape[-2])
    place = value @ nodes
    # Jacobian d (r, z) / d (s, t) and its inverse
    jacobian = (slope.reshape(*slope.shape[:-3], 2 * shape[1], 6) @ nodes).reshape(*shape, 4)
    r_s, z_s, r_t, z_t = (jacobian[..., k] for k in range(4))
    determinant = r_s * z_t - z_s * r_t
    s_r, s_z, t_r, t_z = (part[..., None] for part in (z_t, -r_t, -z_s, r_s) / determinant)
    along_s, along_t = slope[..., 0, :], slope[..., 1, :]
    gradient = np.empty((*shape, 2, 6))
    gradient[:, :, 0] = s_r * along_s + t_r * along_t
    gradient[:, :, 1] = s_z * along_s + t_z * along_t
    value = np.broadcast_to(value, (*shape, 6))
    return QuadraturePoints(mesh=mesh, triangles=triangles, r=place[..., 0], z=place[..., 1], dA=determinant * weights, value=value,
                            gradient=gradient)


def curl_products(points: QuadraturePoints, nu: np.ndarray) -> np.ndarray:
    """Local matrices of nu r (B_r B_r' + B_z B_z') of a shape function with each other, B_r = -r v_z, B_z = 2v + r v_r; (m, 21).

    nu in m/H at each of the points (m, q), or of each triangle (m, 1).
    """
    root = np.sqrt(nu * points.r_dA)[..., None, None]
    B = (points.curl * root).reshape(len(root), -1, 6)
    return (B.swapaxes(1, 2) @ B)[:, ROWS, COLUMNS]


def conduction_products(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Local matrices of r^3 v v'; (m, 21)."""
    points = gauss_points(mesh, triangles, FORM_RULE)
    v = points.value * np.sqrt(points.r**3 * points.dA)[..., None]
    return (v.swapaxes(1, 2) @ v)[:, ROWS, COLUMNS]
