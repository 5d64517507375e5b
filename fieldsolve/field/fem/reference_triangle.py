"""The polynomials of a triangle of order 2, 3 or 4, and all that follows from the order: what the forms are made of.

The nodes stand as `geometries/node_layout.py` says; places in the triangle are barycentric.  Everything else that depends on the order
(how many nodes a triangle has, which entries of its symmetric matrices are kept, how many points a rule of quadrature needs, how fast
errors fall) is asked here.
"""
from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from geometries.node_layout import node_count, node_steps


@dataclass(frozen=True, eq=False)
class KeptEntries:
    """The entries a >= b of a triangle's symmetric matrix, in the order in which they are kept.

    rows, columns  (k,) a and b of each
    place          (nodes, nodes) the kept entry of each (a, b)
    multiplicity   (k,) how often each stands in the matrix
    """

    rows: np.ndarray
    columns: np.ndarray
    place: np.ndarray
    multiplicity: np.ndarray


@lru_cache(maxsize=4)
def kept_entries(order: int) -> KeptEntries:
    """Kept entries of the matrices of triangles of an order: 21, 55 and 120 in the orders 2, 3 and 4."""
    rows, columns = np.tril_indices(node_count(order))
    place = np.empty((node_count(order),) * 2, dtype=int)
    place[rows, columns] = place[columns, rows] = np.arange(len(rows))
    return KeptEntries(rows, columns, place, np.where(rows == columns, 1.0, 2.0))


def rule_of_fields(order: int) -> int:
    """Gauss points each way for integrals of fields: exact to degree 2 order + 2 on straight triangles; the 1/r integrals share it."""
    return order + 2


def rule_of_forms(order: int) -> int:
    """The same for the forms, of degree 2 order + 3 on straight triangles and more on curved ones."""
    return order + 4


@lru_cache(maxsize=8)
def reference_rule(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss rule on the reference triangle, exact to degree 2 count - 2: barycentric points (q, 3), weights (q,) of sum 1."""
    x, w = np.polynomial.legendre.leggauss(count)
    x, w = 0.5 * (x + 1), 0.5 * w
    s, t = np.meshgrid(x, x, indexing="ij")
    weight = 2 * np.outer(w * (1 - x), w)
    second, third = s.ravel(), (t * (1 - s)).ravel()
    return np.column_stack([1 - second - third, second, third]), weight.ravel()


def shape_functions(points: np.ndarray, order: int = 2) -> np.ndarray:
    """The shape functions at barycentric `points` (..., 3), each 1 at its node and 0 at the others; shape (..., nodes).

    P. Silvester, Int. J. Eng. Sci. 7 (1969) 849.
    """
    if order == 2:                      # written out: it is what shots evaluate most
        a, b, c = points[..., 0], points[..., 1], points[..., 2]
        return np.stack([a * (2 * a - 1), b * (2 * b - 1), c * (2 * c - 1), 4 * a * b, 4 * b * c, 4 * a * c], axis=-1)
    a, b, c = _factors(points, order)[0]
    return a * b * c


def shape_gradients(points: np.ndarray, order: int = 2) -> np.ndarray:
    """Their derivatives along the reference directions (corner 0 to 1, corner 0 to 2); shape (..., 2, nodes)."""
    return shape_functions_and_gradients(points, order)[1]


def shape_functions_and_gradients(points: np.ndarray, order: int = 2) -> tuple[np.ndarray, np.ndarray]:
    """Shape functions (..., nodes) and their derivatives (..., 2, nodes) at barycentric `points`: in orders above 2 they share factors."""
    if order == 2:
        a, b, c = points[..., 0], points[..., 1], points[..., 2]
        zero = np.zeros_like(a)
        along_s = np.stack([1 - 4 * a, 4 * b - 1, zero, 4 * (a - b), 4 * c, -4 * c], axis=-1)
        along_t = np.stack([1 - 4 * a, zero, 4 * c - 1, -4 * b, 4 * b, 4 * (a - c)], axis=-1)
        return shape_functions(points), np.stack([along_s, along_t], axis=-2)
    (a, b, c), (a_slope, b_slope, c_slope) = _factors(points, order)
    by_a = a_slope * b * c
    return a * b * c, np.stack([a * b_slope * c - by_a, a * b * c_slope - by_a], axis=-2)


def _factors(points: np.ndarray, order: int) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Factors in a, b and c of the shape functions, products of (p x - k) / (k + 1), and their slopes; each (..., nodes)."""
    steps, x = node_steps(order), np.asarray(points, dtype=float)
    value, slope = [np.ones_like(x)], [np.zeros_like(x)]
    for k in range(order):
        slope.append((slope[-1] * (order * x - k) + value[-1] * order) / (k + 1))
        value.append(value[-1] * (order * x - k) / (k + 1))
    values, slopes = np.stack(value, axis=-1), np.stack(slope, axis=-1)
    return tuple([of[..., corner, steps[:, corner]] for corner in range(3)] for of in (values, slopes))


@lru_cache(maxsize=4)
def edge_functions(order: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shape functions of an edge's nodes at Gauss points, their slopes along it, each (nodes, q), and the weights.

    The nodes are both ends and those between; the place along the edge runs from -1 to 1.
    """
    x, w = np.polynomial.legendre.leggauss(order + 4)
    nodes = np.array([-1.0, 1.0, *(2 * np.arange(1, order) / order - 1)])
    others = [np.delete(nodes, k) for k in range(len(nodes))]
    polynomials = [np.polynomial.Polynomial.fromroots(roots) / np.prod(node - roots) for node, roots in zip(nodes, others, strict=True)]
    return np.stack([p(x) for p in polynomials]), np.stack([p.deriv()(x) for p in polynomials]), w


@lru_cache(maxsize=4)
def edge_weights(order: int) -> np.ndarray:
    """Integrals of these functions over an edge of length 1, those of Newton and Cotes: Simpson's in order 2."""
    return np.array([1, 1, 4]) / 6 if order == 2 else 0.5 * edge_functions(order)[0] @ edge_functions(order)[2]
