"""Element matrices and vectors of the weak forms on straight triangles, each as one product.

On a straight triangle r and the gradients' metric are polynomials in the corners.  So every integral of `weak_forms.py` is a sum of
geometric moments (products of corner radii and gradient metrics) times constants of the reference triangle:
local = moments (k, m) transposed @ table.  The order is in the table alone: (k, entries) for matrices, which are symmetric and keep the
entries a >= b of `reference_triangle.kept_entries`, (k, nodes) for vectors; 21 and 6 in order 2.
`weak_forms.py` has the same forms as on paper; a test compares the two.
"""
from __future__ import annotations

from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np

from fieldsolve.field.fem.reference_triangle import kept_entries, reference_rule, rule_of_forms, shape_functions, shape_gradients

BLOCK = 1024            # triangles whose moments are computed at once, few enough that they stay in the processor's cache


def curl_matrices(corners: np.ndarray, nu: np.ndarray, exterior: np.ndarray, order: int) -> np.ndarray:
    """Integral of nu r [r^2 u_z v_z + (2u + r u_r)(2v + r v_r)], or of nu r^3 grad u . grad v where `exterior`.

    corners (m, 3, 2) in metres, nu (m,) in m/H, exterior (m,) bool; result (m, entries).
    """
    table = _curl_table(order)
    local = np.empty((len(corners), table.shape[1]))
    for start in range(0, len(corners), BLOCK):
        block = slice(start, start + BLOCK)
        np.matmul(_curl_moments(corners[block], nu[block], exterior[block]).T, table, out=local[block])
    return local


def _curl_moments(corners: np.ndarray, nu: np.ndarray, exterior: np.ndarray) -> np.ndarray:
    """The moments of one block of triangles."""
    area, metric, d_r = _geometry(corners)
    weight, r = nu * area, np.ascontiguousarray(corners[:, :, 0].T)
    inside = np.where(exterior, 0.0, weight)
    squares, count = _monomials(r, 2), len(nu)
    cubes = _times_radius(r, squares, 3)
    moments = np.empty((3 * len(cubes) + 2 * len(squares) + 3, count))
    by_metric, by_slope, by_value = np.split(moments, [3 * len(cubes), 3 * len(cubes) + 2 * len(squares)])
    np.multiply((metric * weight)[:, None], cubes, out=by_metric.reshape(3, -1, count))
    np.multiply((d_r * (2 * inside))[:, None], squares, out=by_slope.reshape(2, -1, count))
    np.multiply(r, 4 * inside, out=by_value)
    return moments


def conduction_matrices(corners: np.ndarray, sigma: np.ndarray, order: int) -> np.ndarray:
    """Integral of sigma r^3 u v; sigma (m,) in S/m; result (m, entries)."""
    area, _, _ = _geometry(corners)
    return (_monomials(corners[:, :, 0].T, 3) * (sigma * area)).T @ _mass_table(3, order)


def current_vectors(corners: np.ndarray, density: np.ndarray, order: int) -> np.ndarray:
    """Integral of J r^2 v for a current density (m,) in A/m^2 constant over each triangle; result (m, nodes)."""
    area, _, _ = _geometry(corners)
    return (_monomials(corners[:, :, 0].T, 2) * (density * area)).T @ _load_table(2, order)


def turn_vectors(corners: np.ndarray, sigma: np.ndarray, order: int) -> np.ndarray:
    """Integral of sigma r v: what a solid turn's voltage drives, and c_k; result (m, nodes)."""
    area, _, _ = _geometry(corners)
    return (corners[:, :, 0] * (sigma * area)[:, None]) @ _load_table(1, order)


def curl_vectors(corners: np.ndarray, strength: np.ndarray, order: int) -> np.ndarray:
    """Integral of s r (2v + r v_r), the work of an axial field on the curl of v; strength s (m,) in A/m; result (m, nodes)."""
    area, _, d_r = _geometry(corners)
    r, scale = corners[:, :, 0].T, strength * area
    return (2 * scale * r).T @ _load_table(1, order) + _outer_product(d_r * scale, _monomials(r, 2)).T @ _slope_table(order)


def _geometry(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Area (m,), metric of the reference gradients (3, m) and their r components (2, m)."""
    r, z = np.ascontiguousarray(corners.transpose(2, 1, 0))
    (a, b), (c, d) = r[1:] - r[0], z[1:] - z[0]                                # columns of the Jacobian: (a, c), (b, d)
    determinant = a * d - b * c
    d_r, d_z = np.array([d, -c]) / determinant, np.array([-b, a]) / determinant
    metric = np.array([d_r[0] ** 2 + d_z[0] ** 2, d_r[0] * d_r[1] + d_z[0] * d_z[1], d_r[1] ** 2 + d_z[1] ** 2])
    return 0.5 * determinant, metric, d_r


def _monomials(r: np.ndarray, degree: int) -> np.ndarray:
    """Products of `degree` corner radii (3, m), one row for each choice with repetition."""
    return r if degree == 1 else _times_radius(r, _monomials(r, degree - 1), degree)


def _times_radius(r: np.ndarray, lower: np.ndarray, degree: int) -> np.ndarray:
    """The monomials of a degree from those of the degree below: each of them times one radius."""
    first, rest = _factors(degree)
    return r[first] * lower[rest]


@lru_cache(maxsize=4)
def _factors(degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Of each monomial the first radius, and the number of the product of the others among the monomials of the degree below."""
    numbers = {choice: k for k, choice in enumerate(_choices(degree - 1))}
    first, rest = zip(*((choice[0], numbers[choice[1:]]) for choice in _choices(degree)), strict=True)
    return np.array(first), np.array(rest)


def _outer_product(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return (a[:, None] * b).reshape(-1, a.shape[1])


def _choices(degree: int) -> list[tuple[int, ...]]:
    return list(combinations_with_replacement(range(3), degree))


def _powers(points: np.ndarray, degree: int) -> np.ndarray:
    """Barycentric factor of each monomial of r^degree, multiplicity included; shape (q, k)."""
    def multiplicity(choice):
        counts = [choice.count(k) for k in range(3)]
        factorial = (1, 1, 2, 6)
        return factorial[degree] / np.prod([factorial[c] for c in counts])
    return np.stack([multiplicity(c) * np.prod(points[:, list(c)], axis=1) for c in _choices(degree)], axis=1)


@lru_cache(maxsize=4)
def _curl_table(order: int) -> np.ndarray:
    points, weights = reference_rule(rule_of_forms(order))
    value, slope = shape_functions(points, order), shape_gradients(points, order)
    s, t = slope[:, 0], slope[:, 1]
    products = [_symmetric(s, s, order), _symmetric(s, t, order) + _symmetric(t, s, order), _symmetric(t, t, order)]
    first = [_integrals(weights, _powers(points, 3), product) for product in products]
    second = [_integrals(weights, _powers(points, 2), _symmetric(value, d, order) + _symmetric(d, value, order)) for d in (s, t)]
    return np.concatenate([*first, *second, _integrals(weights, points, _symmetric(value, value, order))])


@lru_cache(maxsize=4)
def _mass_table(degree: int, order: int) -> np.ndarray:
    points, weights = reference_rule(rule_of_forms(order))
    value = shape_functions(points, order)
    return _integrals(weights, _powers(points, degree), _symmetric(value, value, order))


@lru_cache(maxsize=8)
def _load_table(degree: int, order: int) -> np.ndarray:
    points, weights = reference_rule(rule_of_forms(order))
    return _integrals(weights, _powers(points, degree), shape_functions(points, order))


@lru_cache(maxsize=4)
def _slope_table(order: int) -> np.ndarray:
    points, weights = reference_rule(rule_of_forms(order))
    slope = shape_gradients(points, order)
    return np.concatenate([_integrals(weights, _powers(points, 2), slope[:, d]) for d in (0, 1)])


def _symmetric(u: np.ndarray, v: np.ndarray, order: int) -> np.ndarray:
    """Products u_a v_b of the kept entries; shape (q, entries)."""
    kept = kept_entries(order)
    return u[:, kept.rows] * v[:, kept.columns]


def _integrals(weights: np.ndarray, factors: np.ndarray, products: np.ndarray) -> np.ndarray:
    return np.einsum("q,qk,qp->kp", weights, factors, products)
