"""Quadrature over triangles and evaluation inside them, curved ones included."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from fieldsolve.field.fem.reference_triangle import (
    KeptEntries,
    kept_entries,
    reference_rule,
    rule_of_fields,
    rule_of_forms,
    shape_functions_and_gradients,
)
from geometries.mesh import AIR, Mesh
from geometries.pickling import fields_only


@dataclass(frozen=True, eq=False, repr=False)
class QuadraturePoints:
    """Points in triangles and the shape functions there.

    triangles (m,)   r, z, dA (m, q): place and weighted area (1 where no weights were given)
    table            (3, q, nodes) shape functions and their derivatives along the reference directions s and t; (m, 3, q, nodes) where
                     each triangle has points of its own
    inverse          (4, m, q) derivatives of s by r and by z, and of t by r and by z
    """

    mesh: Mesh
    triangles: np.ndarray
    r: np.ndarray
    z: np.ndarray
    dA: np.ndarray
    table: np.ndarray
    inverse: np.ndarray

    __getstate__ = fields_only

    def __repr__(self) -> str:
        return f"QuadraturePoints({self.r.shape[1]} in each of {len(self.triangles)} triangles)"

    def subset(self, chosen: np.ndarray) -> QuadraturePoints:
        """The points of some of the triangles, by their place among `triangles`."""
        table = self.table if self.table.ndim == 3 else self.table[chosen]
        return QuadraturePoints(mesh=self.mesh, triangles=self.triangles[chosen], r=self.r[chosen], z=self.z[chosen], dA=self.dA[chosen],
                                table=table, inverse=self.inverse[:, chosen])

    @property
    def value(self) -> np.ndarray:
        """Shape functions at the points; (m, q, nodes)."""
        return np.broadcast_to(self.table[..., 0, :, :], (*self.r.shape, self.table.shape[-1]))

    @cached_property
    def gradient(self) -> np.ndarray:
        """Derivatives of the shape functions by r and z; (m, q, 2, nodes)."""
        s_r, s_z, t_r, t_z = self.inverse[..., None]
        along_s, along_t = self.table[..., 1, :, :], self.table[..., 2, :, :]
        gradient = np.empty((*self.r.shape, 2, self.table.shape[-1]))
        gradient[:, :, 0] = s_r * along_s + t_r * along_t
        gradient[:, :, 1] = s_z * along_s + t_z * along_t
        return gradient

    def interpolate(self, u: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """u, u_r and u_z of a nodal field at the points; each (m, q)."""
        value, u_s, u_t = _on_table(self.table, u[self.mesh.triangles[self.triangles]][:, None])[:, 0].swapaxes(0, 1)
        s_r, s_z, t_r, t_z = self.inverse
        return value, s_r * u_s + t_r * u_t, s_z * u_s + t_z * u_t

    def values_of(self, u: np.ndarray) -> np.ndarray:
        """A nodal field at the points; (m, q)."""
        return _on_table(self.table[..., :1, :, :], u[self.mesh.triangles[self.triangles]][:, None])[:, 0, 0]

    @cached_property
    def curl(self) -> np.ndarray:
        """B_r and B_z of each shape function, -r v_z and 2v + r v_r; (m, q, 2, nodes)."""
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


def gauss_points(mesh: Mesh, triangles: np.ndarray, rule: int | None = None) -> QuadraturePoints:
    """Gauss points over the given triangles, `rule` each way, by default as fields need; sums of f * dA are integrals over their area."""
    count = rule or rule_of_fields(mesh.order)
    return _placed(mesh, triangles, _table_of_rule(count, mesh.order), 0.5 * reference_rule(count)[1])


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
    return _placed(mesh, triangles, _table(points, mesh.order), weights)


@lru_cache(maxsize=8)
def _table_of_rule(count: int, order: int) -> np.ndarray:
    """The table of a Gauss rule, the same for all meshes."""
    return _table(reference_rule(count)[0], order)


def _table(points: np.ndarray, order: int) -> np.ndarray:
    """The shape functions of an order and their derivatives along s and t at points; (..., 3, q, nodes)."""
    value, slope = shape_functions_and_gradients(points, order)
    return np.concatenate([value[..., None, :, :], np.moveaxis(slope, -2, -3)], axis=-3)


def _placed(mesh: Mesh, triangles: np.ndarray, table: np.ndarray, weights: np.ndarray | float) -> QuadraturePoints:
    """The given triangles at the points of a table."""
    place = _on_table(table, mesh.nodes[mesh.triangles[triangles]].swapaxes(1, 2))                # (m, 2, 3, q)
    (r, r_s, r_t), (z, z_s, z_t) = (place[:, k].swapaxes(0, 1) for k in (0, 1))
    determinant = r_s * z_t - z_s * r_t
    inverse = np.stack([z_t, -r_t, -z_s, r_s]) / determinant
    return QuadraturePoints(mesh=mesh, triangles=triangles, r=r, z=z, dA=determinant * weights, table=table, inverse=inverse)


def _on_table(table: np.ndarray, local: np.ndarray) -> np.ndarray:
    """Values and derivatives at the points of local values (m, k, nodes): (m, k, 3, q)."""
    rows, points, nodes = table.shape[-3:]
    flat = table.reshape(*table.shape[:-3], rows * points, nodes).swapaxes(-1, -2)
    found = local.reshape(-1, nodes) @ flat if table.ndim == 3 else local @ flat
    return found.reshape(*local.shape[:2], rows, points)


@lru_cache(maxsize=2)
def _curved_points_in_metal(mesh: Mesh) -> tuple[QuadraturePoints, np.ndarray]:
    """Points of the forms in all curved triangles of a mesh's metal, and the place of each triangle among them (m,)."""
    curved = np.flatnonzero(mesh.curved & (mesh.region > AIR))
    place = np.full(len(mesh.curved), -1)
    place[curved] = np.arange(len(curved))
    return points_of_forms(mesh, curved), place


def points_of_forms(mesh: Mesh, triangles: np.ndarray) -> QuadraturePoints:
    """Gauss points for the forms over some curved triangles."""
    return gauss_points(mesh, triangles, rule_of_forms(mesh.order))


def points_of_forms_in_metal(mesh: Mesh, triangles: np.ndarray) -> QuadraturePoints:
    """The same over some of metal; those of one mesh are computed once for all forms."""
    points, place = _curved_points_in_metal(mesh)
    return points.subset(place[triangles])


def curl_products(points: QuadraturePoints, nu: np.ndarray) -> np.ndarray:
    """Local matrices of nu r (B_r B_r' + B_z B_z') of a shape function with each other, B_r = -r v_z, B_z = 2v + r v_r; (m, entries).

    nu in m/H at each of the points (m, q), or of each triangle (m, 1).  The points are the same in all triangles, so that the
    integrals are sums of products along the reference directions times factors of the triangle.
    """
    weight, r, (s_r, _, t_r, _) = nu * points.r_dA, points.r, points.inverse
    table, kept = points.table, kept_entries(points.mesh.order)
    factors = [4 * weight, 2 * r * weight * s_r, 2 * r * weight * t_r, *_metric(points, r**2 * weight)]
    return np.concatenate(factors, axis=1) @ np.concatenate([*_value_products(table, kept), *_slope_products(table, kept)])


def kelvin_products(points: QuadraturePoints, nu: np.ndarray) -> np.ndarray:
    """Local matrices of nu r^3 grad v . grad v', the form of the exterior domain; (m, entries).  nu in m/H of each triangle (m, 1)."""
    products = _slope_products(points.table, kept_entries(points.mesh.order))
    return np.concatenate(_metric(points, nu * points.r**3 * points.dA), axis=1) @ np.concatenate(products)


def _metric(points: QuadraturePoints, weight: np.ndarray) -> list[np.ndarray]:
    """Weighted products of the gradients of s and t: s with s, s with t, t with t; each (m, q)."""
    s_r, s_z, t_r, t_z = points.inverse
    return [weight * (s_r**2 + s_z**2), weight * (s_r * t_r + s_z * t_z), weight * (t_r**2 + t_z**2)]


def _value_products(table: np.ndarray, kept: KeptEntries) -> list[np.ndarray]:
    """Products of the shape functions with each other, and with the slopes along s and along t either way; each (q, entries)."""
    v, v_s, v_t = table
    rows, columns = kept.rows, kept.columns
    return [v[:, rows] * v[:, columns], *(v[:, rows] * d[:, columns] + d[:, rows] * v[:, columns] for d in (v_s, v_t))]


def _slope_products(table: np.ndarray, kept: KeptEntries) -> list[np.ndarray]:
    """Products of the slopes along s, of both either way, and along t; each (q, entries)."""
    _, v_s, v_t = table
    rows, columns = kept.rows, kept.columns
    return [v_s[:, rows] * v_s[:, columns], v_s[:, rows] * v_t[:, columns] + v_t[:, rows] * v_s[:, columns],
            v_t[:, rows] * v_t[:, columns]]


def conduction_products(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Local matrices of r^3 v v'; (m, entries)."""
    points = points_of_forms_in_metal(mesh, triangles)
    v, kept = points.table[0], kept_entries(mesh.order)
    return (points.r**3 * points.dA) @ (v[:, kept.rows] * v[:, kept.columns])
