"""Quadrature over triangles and evaluation inside them, curved ones included."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.element_matrices import reference_rule, shape_functions, shape_gradients
from geometries.mesh import Mesh

RULE = 4        # points each way: exact to degree 6; the 1/r integrals share it


@dataclass(frozen=True, eq=False)
class Sampling:
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

    def of(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """u, u_r and u_z of a nodal field at the points; each (m, q)."""
        local = u[self.mesh.triangles[self.triangles]]
        slope = np.einsum("mqda,ma->mqd", self.gradient, local)
        return np.einsum("mqa,ma->mq", self.value, local), slope[..., 0], slope[..., 1]

    def flux_density(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """B_r = -r u_z and B_z = 2u + r u_r on the inner sheet; each (m, q)."""
        value, u_r, u_z = self.of(u)
        return -self.r * u_z, 2 * value + self.r * u_r


def quadrature(mesh: Mesh, triangles: np.ndarray) -> Sampling:
    """Gauss points over the given triangles; sums of f * dA are integrals over their area."""
    points, weights = reference_rule(RULE)
    count = len(triangles)
    return sample(mesh, triangles, np.broadcast_to(points, (count, *points.shape)), 0.5 * weights)


def seven_points(mesh: Mesh, triangles: np.ndarray) -> Sampling:
    """Seven points in each triangle, exact to degree 5, which the energy of a straight triangle is of.

    J. Radon, Monatsh. Math. 52 (1948) 286.
    """
    root, count = math.sqrt(15), len(triangles)
    rows, weights = [np.full((1, 3), 1 / 3)], [9 / 40]
    for sign in (-1, 1):
        near = (6 + sign * root) / 21
        rows.append(near + (1 - 3 * near) * np.eye(3))
        weights += 3 * [(155 + sign * root) / 1200]
    points = np.concatenate(rows)
    return sample(mesh, triangles, np.broadcast_to(points, (count, 7, 3)), 0.5 * np.array(weights))


def sample(mesh: Mesh, triangles: np.ndarray, points: np.ndarray, weights: np.ndarray | float = 1.0) -> Sampling:
    """Sampling at barycentric `points` (m, q, 3) of the given triangles."""
    value, slope = shape_functions(points), shape_gradients(points)
    corners = mesh.nodes[mesh.triangles[triangles]]
    place = np.einsum("mqa,mai->mqi", value, corners)
    jacobian = np.einsum("mqda,mai->mqdi", slope, corners)          # [d, i] = d x_i / d s_d
    determinant = jacobian[..., 0, 0] * jacobian[..., 1, 1] - jacobian[..., 0, 1] * jacobian[..., 1, 0]
    inverse = np.empty_like(jacobian)                               # [i, d] = d s_d / d x_i
    inverse[..., 0, 0], inverse[..., 1, 1] = jacobian[..., 1, 1], jacobian[..., 0, 0]
    inverse[..., 0, 1], inverse[..., 1, 0] = -jacobian[..., 0, 1], -jacobian[..., 1, 0]
    inverse /= determinant[..., None, None]
    return Sampling(mesh, triangles, place[..., 0], place[..., 1], determinant * weights, value, inverse @ slope)
