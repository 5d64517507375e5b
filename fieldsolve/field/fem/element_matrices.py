"""Element matrices and vectors of the weak forms on straight triangles, each as one product.

On a straight triangle r and the gradients' metric are polynomials in the corners.  So every integral of `weak_forms.py` is a sum of
geometric moments (products of corner radii and gradient metrics) times constants of the reference triangle:
local = moments (k, m) transposed @ table (k, 21 or 6).  Symmetric matrices keep the 21 entries a >= b of `PAIRS`.
`weak_forms.py` has the same forms as on paper; a test compares the two.
"""
from __future__ import annotations

from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np

PAIRS = [(a, b) for a in range(6) for b in range(a + 1)]
ROWS, COLUMNS = (np.array(index) for index in zip(*PAIRS, strict=True))

BLOCK = 512             # triangles whose moments are computed at once, few enough that they stay in the processor's cache
PAIR_OF = np.array([[PAIRS.index((max(a, b), min(a, b))) for b in range(6)] for a in range(6)])      # kept entry of each (a, b)


@lru_cache(maxsize=8)
def reference_rule(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss rule on the reference triangle, exact to degree 2 count - 2: barycentric points (q, 3), weights (q,) of sum 1."""
    x, w = np.polynomial.legendre.leggauss(count)
    x, w = 0.5 * (x + 1), 0.5 * w
    s, t = np.meshgrid(x, x, indexing="ij")
    weight = 2 * np.outer(w * (1 - x), w)
    second, third = s.ravel(), (t * (1 - s)).ravel()
    return np.column_stack([1 - second - third, second, third]), weight.ravel()


def shape_functions(points: np.ndarray) -> np.ndarray:
    """The six quadratic shape functions at barycentric `points` (..., 3): corners, then edges 0-1, 1-2, 0-2; shape (..., 6)."""
    a, b, c = points[..., 0], points[..., 1], points[..., 2]
    return np.stack([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * a * c], axis=-1)


def shape_gradients(points: np.ndarray) -> np.ndarray:
    """Their derivatives along the reference directions (corner 0 to 1, corner 0 to 2); shape (..., 2, 6)."""
    a, b, c = points[..., 0], points[..., 1], points[..., 2]
    zero = np.zeros_like(a)
    along_s = np.stack([1 - 4 * a, 4 * b - 1, zero, 4 * (a - b), 4 * c, -4 * c], axis=-1)
    along_t = np.stack([1 - 4 * a, zero, 4 * c - 1, -4 * b, 4 * b, 4 * (a - c)], axis=-1)
    return np.stack([along_s, along_t], axis=-2)


def curl_matrices(corners: np.ndarray, nu: np.ndarray, exterior: np.ndarray) -> np.ndarray:
    """Integral of nu r [r^2 u_z v_z + (2u + r u_r)(2v + r v_r)], or of nu r^3 grad u . grad v where `exterior`.

    corners (m, 3, 2) in metres, nu (m,) in m/H, exterior (m,) bool; result (m, 21).
    """
    local = np.empty((len(corners), len(PAIRS)))
    for start in range(0, len(corners), BLOCK):
        block = slice(start, start + BLOCK)
        local[block] = _curl_products(corners[block], nu[block], exterior[block])
    return local


def _curl_products(corners: np.ndarray, nu: np.ndarray, exterior: np.ndarray) -> np.ndarray:
    """The same of one block of triangles."""
    area, metric, d_r = _geometry(corners)
    weight, r = nu * area, corners[:, :, 0].T
    inside = np.where(exterior, 0.0, weight)
    moments = [_outer_product(metric * weight, _monomials(r, 3)), _outer_product(d_r * (2 * inside), _monomials(r, 2)), r * (4 * inside)]
    return np.concatenate(moments).T @ _curl_table()


def conduction_matrices(corners: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """Integral of sigma r^3 u v; sigma (m,) in S/m; result (m, 21)."""
    area, _, _ = _geometry(corners)
    return (_monomials(corners[:, :, 0].T, 3) * (sigma * area)).T @ _mass_table(3)


def current_vectors(corners: np.ndarray, density: np.ndarray) -> np.ndarray:
    """Integral of J r^2 v for a current density (m,) in A/m^2 constant over each triangle; result (m, 6)."""
    area, _, _ = _geometry(corners)
    return (_monomials(corners[:, :, 0].T, 2) * (density * area)).T @ _load_table(2)


def turn_vectors(corners: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """Integral of sigma r v: what a solid turn's voltage drives, and c_k; result (m, 6)."""
    area, _, _ = _geometry(corners)
    return (corners[:, :, 0] * (sigma * area)[:, None]) @ _load_table(1)


def curl_vectors(corners: np.ndarray, strength: np.ndarray) -> np.ndarray:
    """Integral of s r (2v + r v_r), the work of an axial field on the curl of v; strength s (m,) in A/m; result (m, 6)."""
    area, _, d_r = _geometry(corners)
    r, scale = corners[:, :, 0].T, strength * area
    return (2 * scale * r).T @ _load_table(1) + _outer_product(d_r * scale, _monomials(r, 2)).T @ _slope_table()


def _geometry(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Area (m,), metric of the reference gradients (3, m) and their r components (2, m)."""
    (a, c), (b, d) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T     # columns of the Jacobian: (a, c), (b, d)
    determinant = a * d - b * c
    d_r, d_z = np.array([d, -c]) / determinant, np.array([-b, a]) / determinant
    metric = np.array([d_r[0] ** 2 + d_z[0] ** 2, d_r[0] * d_r[1] + d_z[0] * d_z[1], d_r[1] ** 2 + d_z[1] ** 2])
    return 0.5 * determinant, metric, d_r


def _monomials(r: np.ndarray, degree: int) -> np.ndarray:
    """Products of `degree` corner radii (3, m), one row for each choice with repetition."""
    if degree == 1:
        return r
    lower, first = _monomials(r, degree - 1), [choice[0] for choice in _choices(degree - 1)]
    return np.concatenate([r[k] * lower[first.index(k):] for k in range(3)])


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


@lru_cache(maxsize=1)
def _curl_table() -> np.ndarray:
    points, weights = reference_rule(6)
    value, slope = shape_functions(points), shape_gradients(points)
    s, t = slope[:, 0], slope[:, 1]
    products = [_symmetric(s, s), _symmetric(s, t) + _symmetric(t, s), _symmetric(t, t)]
    first = [_integrals(weights, _powers(points, 3), product) for product in products]
    second = [_integrals(weights, _powers(points, 2), _symmetric(value, d) + _symmetric(d, value)) for d in (s, t)]
    return np.concatenate([*first, *second, _integrals(weights, points, _symmetric(value, value))])


@lru_cache(maxsize=4)
def _mass_table(degree: int) -> np.ndarray:
    points, weights = reference_rule(6)
    value = shape_functions(points)
    return _integrals(weights, _powers(points, degree), _symmetric(value, value))


@lru_cache(maxsize=4)
def _load_table(degree: int) -> np.ndarray:
    points, weights = reference_rule(6)
    return _integrals(weights, _powers(points, degree), shape_functions(points))


@lru_cache(maxsize=1)
def _slope_table() -> np.ndarray:
    points, weights = reference_rule(6)
    slope = shape_gradients(points)
    return np.concatenate([_integrals(weights, _powers(points, 2), slope[:, d]) for d in (0, 1)])


def _symmetric(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Products u_a v_b of the kept pairs; shape (q, 21)."""
    return u[:, ROWS] * v[:, COLUMNS]


def _integrals(weights: np.ndarray, factors: np.ndarray, products: np.ndarray) -> np.ndarray:
    return np.einsum("q,qk,qp->kp", weights, factors, products)
