"""Errors of fields in triangles of order 3 and 4, from how fast their coefficients decay with the degree.

A field in a triangle is a sum of parts of degrees 0, 1, ... p, each at right angles to all polynomials below its degree.  Their slopes
fall as the powers of the cell's size over the scale on which the field varies.  So those of the missing part of degree p + 1 are about
as much smaller than those of part p as these are than those of part p - 1 (C. Mavriplis, Comput. Methods Appl. Mech. Eng. 116 (1994)
77; from memory).  Where they do not fall, as in cells that do not resolve the field yet, the error is as large as the last part.
"""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.reference_triangle import reference_rule, rule_of_forms, shape_functions, shape_gradients
from geometries.mesh import Mesh

RESOLVED = 0.5          # slopes of the last part over those of the part before, up to which a field is resolved
SAFETY = 1.6            # measured: the true error is 0.8 to 1.8 times what the decay says, in skins, coils and at magnetic edges


def errors_by_decay(mesh: Mesh, nu: np.ndarray, fields: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Error of each (complex) field (n, k) in each triangle, the root of its slopes' energy, and whether the field is resolved; (m, k)."""
    last, before = (part_slopes(mesh, nu, fields, mesh.order - back) for back in (0, 1))
    decay = np.minimum(last / np.maximum(before, 1e-300), 1.0)
    return SAFETY * last * decay, decay < RESOLVED


def part_slopes(mesh: Mesh, nu: np.ndarray, fields: np.ndarray, degree: int) -> np.ndarray:
    """Root of the energy of the slopes of each field's part of a degree, integral of nu r^3 (u_r^2 + u_z^2); shape (m, k)."""
    if np.iscomplexobj(fields):
        return np.hypot(*(part_slopes(mesh, nu, part.copy(), degree) for part in (fields.real, fields.imag)))
    coefficients, forms = _part_forms(mesh.order, degree)
    modes = np.tensordot(coefficients, fields[mesh.triangles.T], 1)                 # (modes, m, k)
    ss, st, tt = ((modes * np.tensordot(form, modes, 1)).sum(axis=0) for form in forms)
    (a, c), (b, d) = (mesh.corners[:, 1] - mesh.corners[:, 0]).T, (mesh.corners[:, 2] - mesh.corners[:, 0]).T
    weight = nu * (mesh.nodes[mesh.triangles, 0] ** 3).mean(axis=1) * mesh.area / (4 * mesh.area**2)
    squares = weight[:, None] * ((b**2 + d**2)[:, None] * ss - 2 * (a * b + c * d)[:, None] * st + (a**2 + c**2)[:, None] * tt)
    return np.sqrt(np.maximum(squares, 0.0))


@lru_cache(maxsize=8)
def _part_forms(order: int, degree: int) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Coefficients of a part's orthonormal modes from nodal values (modes, nodes), and means of the products of the modes' slopes.

    Along s with s, along s with t and along t with t; each (modes, modes).
    """
    points, weights = reference_rule(rule_of_forms(order))
    root, (_, s, t) = np.sqrt(weights), points.T
    powers = np.stack([s**i * t ** (total - i) for total in range(order + 1) for i in range(total + 1)], axis=1)
    every_mode = (np.linalg.qr(root[:, None] * powers)[0].T * root) @ shape_functions(points, order)       # (modes, nodes), square
    of_degree = slice(degree * (degree + 1) // 2, (degree + 1) * (degree + 2) // 2)
    along_s, along_t = np.moveaxis(shape_gradients(points, order) @ np.linalg.inv(every_mode)[:, of_degree], 1, 0)
    products = ((along_s, along_s), (along_s, along_t), (along_t, along_t))
    return every_mode[of_degree], tuple((weights[:, None] * one).T @ other for one, other in products)
