"""Slopes of u with one order more than the triangles give: a cubic fitted to the nodal values around a point.

Polynomial-preserving recovery, Z. Zhang and A. Naga, SIAM J. Sci. Comput. 26 (2005) 1192.  The patch of a point is its triangle
and all triangles of the same region that share a node with it, so nothing is smoothed across a border of metal.
"""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldsolve.field.cells import sample
from geometries.mesh import Mesh

POWERS = [(i, j) for degree in range(4) for i in range(degree, -1, -1) for j in [degree - i]]       # r^i z^j up to cubic
FEWEST = 14             # nodes a fit of ten coefficients must have; with fewer the triangle's own slopes are kept


def recovered(mesh: Mesh, u: np.ndarray, triangle: np.ndarray, place: np.ndarray, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """u, u_r, u_z at points given by triangle and barycentric place; shape (3, q)."""
    result = np.stack(sample(mesh, triangle, place[:, None]).of(u))[..., 0]
    cells, inverse = np.unique(triangle, return_inverse=True)
    patches = [_patch(mesh, int(cell)) for cell in cells]
    for size in sorted({len(patch) for patch in patches}):
        if size < FEWEST:
            continue
        members = [k for k, patch in enumerate(patches) if len(patch) == size]
        fitted = _fit(mesh, u, np.array([patches[k] for k in members]))
        of_cell = {k: row for row, k in enumerate(members)}
        points = np.flatnonzero(np.isin(inverse, members))
        rows = np.array([of_cell[k] for k in inverse[points]])
        result[1:, points] = _slopes(fitted, rows, r[points], z[points])
    return result


def _patch(mesh: Mesh, cell: int) -> np.ndarray:
    """Nodes of the triangles of the same region around a triangle."""
    start, of_node = _triangles_of_nodes(mesh)
    around = np.concatenate([of_node[start[n]:start[n + 1]] for n in mesh.triangles[cell, :3]])
    return np.unique(mesh.triangles[around[mesh.region[around] == mesh.region[cell]]])


@lru_cache(maxsize=4)
def _triangles_of_nodes(mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    corners = mesh.triangles[:, :3].ravel()
    start = np.concatenate([[0], np.cumsum(np.bincount(corners, minlength=mesh.size))])
    return start, np.argsort(corners, kind="stable") // 3


def _fit(mesh: Mesh, u: np.ndarray, patches: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Centre (k, 2), size (k,) and coefficients (k, 10) of the least-squares cubic of patches (k, nodes)."""
    nodes = mesh.nodes[patches]
    centre = nodes.mean(axis=1)
    size = np.abs(nodes - centre[:, None]).max(axis=(1, 2))
    x, y = np.moveaxis((nodes - centre[:, None]) / size[:, None, None], 2, 0)
    q, triangular = np.linalg.qr(np.stack([x**i * y**j for i, j in POWERS], axis=2))
    coefficients = np.linalg.solve(triangular, np.einsum("knp,kn->kp", q, u[patches])[..., None])[..., 0]
    return centre, size, coefficients


def _slopes(fitted: tuple[np.ndarray, np.ndarray, np.ndarray], rows: np.ndarray, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    centre, size, coefficients = (part[rows] for part in fitted)
    x, y = (r - centre[:, 0]) / size, (z - centre[:, 1]) / size
    by_x = np.stack([i * x**max(i - 1, 0) * y**j for i, j in POWERS], axis=1)
    by_y = np.stack([j * x**i * y**max(j - 1, 0) for i, j in POWERS], axis=1)
    return np.stack([(by_x * coefficients).sum(axis=1), (by_y * coefficients).sum(axis=1)]) / size
