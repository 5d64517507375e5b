"""Mapped cells of thin zones: how much of an error is due to their height across the zone, and which lengths and heights reduce it best.

In a cell of length a along x and height b along y the slopes of a six-node triangle miss a^2 (u_xxx, u_xxy) and b^2 (u_xyy, u_yyy), up to
like factors.  The third derivatives are differences of the second ones, which are constant in a triangle, between neighbours.  In order p
above 2 the shares are taken as those of a^p and b^p times the p-th derivatives, which are what coefficients of the last degree hold.
"""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field.fem.quadrature import sample
from geometries.mesh import Mesh
from geometries.node_layout import node_steps
from geometries.rows import Rows, graded_rows

BEGUN_ROW = 0.35        # added to the number of rows before it is rounded: in higher orders one row too few leaves most of the error


def height_fraction(mesh: Mesh, fields: np.ndarray) -> np.ndarray:
    """Share of the height in the squared error of each nodal field (n, k), zero outside thin zones; shape (m, k)."""
    fraction = np.zeros((len(mesh.triangles), fields.shape[1]))
    for triangles in mesh.mapped.values():
        if mesh.order > 2:
            fraction[triangles.ravel()] = _share_of_last_degree(mesh, triangles, fields)
            continue
        across = _axis_across(mesh, triangles)
        second = _second_derivatives(mesh, triangles.ravel(), fields).reshape(*triangles.shape, 2, 2, -1)
        extent = np.ptp(mesh.corners[triangles], axis=2)                            # (columns, rows, 2)
        length_indicator = np.linalg.norm(second[2:] - second[:-2], axis=3)[:, :, 1 - across] * extent[2:, :, 1 - across, None]
        height_indicator = np.linalg.norm(second[:, 1:] - second[:, :-1], axis=3)[:, :, across] * extent[:, 1:, across, None]
        length_indicator = np.pad(length_indicator, ((0, 2), (0, 0), (0, 0)), "edge")
        padded = np.pad(height_indicator, ((0, 0), (0, 1), (0, 0)), "edge") if height_indicator.size else None
        height_indicator = length_indicator if padded is None else padded               # a single row has no neighbour to differ from
        fraction[triangles] = height_indicator**2 / np.maximum(height_indicator**2 + length_indicator**2, 1e-300)
    return fraction


def refined_mapped_cells(mesh: Mesh, triangles: np.ndarray, indicator: np.ndarray, height_indicator: np.ndarray, scale: float,
                         rate: np.ndarray, smallest_step: float) -> tuple[np.ndarray, np.ndarray, Rows]:
    """Steps of the lengths and of the heights of a thin zone's mapped cells, each of the shape (columns, rows), and the new rows.

    The minimum of sum 1/(a b) at the price 1/(p scale) of the error sum eta_a a^q + eta_b b^q is a^(q + 1) = p scale / (q eta_a b) in
    each triangle and b^(q + 1) = p scale sum(1/a) / (sum q eta_b) in each row, found by a few fixed-point steps.  In a row q is the mean
    of the `rate` (m,) by eta_b.
    """
    eta, q = indicator[triangles], rate[triangles]
    of_height = np.clip(height_indicator[triangles], 1e-6 * eta, (1 - 1e-6) * eta)
    falling = (q * of_height).sum(axis=0)
    q_of_row, height = falling / of_height.sum(axis=0), np.ones(eta.shape[1])
    for _ in range(4):
        length = np.clip((mesh.order * scale / (q * (eta - of_height) * height)) ** (1 / (q + 1)), smallest_step, 1.0)
        height = np.clip((mesh.order * scale * (1 / length).sum(axis=0) / falling) ** (1 / (q_of_row + 1)), smallest_step, 1.0)
    heights = row_heights(mesh, triangles)
    outermost = min(heights[0] * height[0], heights[-1] * height[-1])
    rows = (1 / height).sum() + (0.0 if mesh.order == 2 else BEGUN_ROW)
    return length, np.broadcast_to(height, eta.shape), graded_rows(rows, outermost / heights.sum())


def row_heights(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Height in metres of each row of a thin zone's mapped cells, triangles (columns, rows); shape (rows,)."""
    return np.ptp(mesh.corners[triangles[0], :, _axis_across(mesh, triangles)], axis=1)


def _axis_across(mesh: Mesh, triangles: np.ndarray) -> int:
    return int(np.ptp(mesh.corners[triangles], axis=(0, 1, 2)).argmin())


def _second_derivatives(mesh: Mesh, triangles: np.ndarray, fields: np.ndarray) -> np.ndarray:
    """d/dx_i of the slope u_s of each field in each triangle; shape (m, i, s, k)."""
    gradient = sample(mesh, triangles, np.eye(3)).gradient
    slopes = np.einsum("mqsa,mak->mqsk", gradient, fields[mesh.triangles[triangles]], optimize=True)
    corners = mesh.corners[triangles]
    inverse = np.linalg.inv(corners[:, 1:] - corners[:, :1])                        # [i, d] = d s_d / d x_i
    return np.einsum("mid,mdsk->misk", inverse, slopes[:, 1:] - slopes[:, :1], optimize=True)


def _share_of_last_degree(mesh: Mesh, triangles: np.ndarray, fields: np.ndarray) -> np.ndarray:
    """Share of the height in the squares of a^p d^p u / dx^p and b^p d^p u / dy^p of each field in each triangle; (m, k).

    The highest power of a shape function is the product of the barycentric coordinates to the powers of its node's steps, over their
    factorials.
    """
    across, cells = _axis_across(mesh, triangles), triangles.ravel()
    corners, steps = mesh.corners[cells], node_steps(mesh.order)
    inverse = np.linalg.inv(corners[:, 1:] - corners[:, :1])                        # [i, d] = d s_d / d x_i
    slopes = np.concatenate([-inverse.sum(axis=2, keepdims=True), inverse], axis=2) * np.ptp(corners, axis=1)[:, :, None]
    factorials = np.array([math.prod(map(math.factorial, node)) for node in steps.tolist()])
    highest = np.prod(slopes[:, :, None] ** steps, axis=3) / factorials             # (m, axis, nodes)
    squares = np.abs(highest @ fields[mesh.triangles[cells]]) ** 2
    return squares[:, across] / np.maximum(squares.sum(axis=1), 1e-300)
