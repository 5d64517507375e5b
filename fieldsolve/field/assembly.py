"""Local matrices and vectors of the triangles summed into global ones; the sparsity is analysed once a mesh."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.element_matrices import COLUMNS, ROWS
from fieldsolve.field.linear_solver import whole
from geometries.mesh import Mesh, Topology


@dataclass(frozen=True, eq=False)
class Pattern:
    """Where the lower triangle of a matrix on this mesh has entries (CSC), and where each local entry goes."""

    indptr: np.ndarray
    indices: np.ndarray
    position: np.ndarray        # (21 m,) place in the data of each local entry

    @cached_property
    def both(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pattern of both triangles, and the place of each entry in the data of the lower one: indptr, indices, places."""
        size = len(self.indptr) - 1
        numbered = whole(csc_array((np.arange(1.0, len(self.indices) + 1), self.indices, self.indptr), shape=(size, size)))
        return numbered.indptr, numbered.indices, numbered.data.astype(np.int64) - 1

    def places(self, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """Place in the data of entries given by node numbers in any order."""
        size = len(self.indptr) - 1
        low, high = np.minimum(rows, columns), np.maximum(rows, columns)
        return np.searchsorted(_keys(self.indptr, self.indices, size), low * size + high)


def pattern_of(mesh: Mesh) -> Pattern:
    """Sparsity pattern of the six-node triangles of the mesh, analysed once for all places its nodes move to."""
    return _pattern(mesh.topology)


@lru_cache(maxsize=4)
def _pattern(topology: Topology) -> Pattern:
    triangles, size = topology.mesh.triangles.astype(np.int32), topology.mesh.size
    rows, columns = triangles[:, ROWS].ravel(), triangles[:, COLUMNS].ravel()
    low, high = np.minimum(rows, columns), np.maximum(rows, columns)
    order = _counted(high, size)
    order = order[_counted(low[order], size)]                   # by column, and by row in each
    row, column = high[order], low[order]
    first = np.concatenate([[True], (row[1:] != row[:-1]) | (column[1:] != column[:-1])])
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.cumsum(first, dtype=np.int32) - 1
    indptr = np.concatenate([[0], np.cumsum(np.bincount(column[first], minlength=size))])
    return Pattern(indptr.astype(np.int32), row[first], position)


def _counted(numbers: np.ndarray, size: int) -> np.ndarray:
    """Order that sorts numbers below `size`, equal ones as they stand: scipy's transposition is a counting sort, of cost O(n)."""
    count = len(numbers)
    return csc_array((np.zeros(count, dtype=np.int8), numbers, np.arange(count + 1, dtype=np.int32)), shape=(size, count)).tocsr().indices


def _keys(indptr: np.ndarray, indices: np.ndarray, size: int) -> np.ndarray:
    return np.repeat(np.arange(size, dtype=np.int64), np.diff(indptr)) * size + indices


def lower_triangle(mesh: Mesh, local: np.ndarray, extra: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None) -> csc_array:
    """Lower triangle of the sum of local matrices (m, 21), plus `extra` entries (rows, columns, values with rows >= columns once)."""
    pattern = pattern_of(mesh)
    data = np.bincount(pattern.position, weights=local.ravel(), minlength=len(pattern.indices))
    if extra is not None:
        rows, columns, values = extra
        data += np.bincount(pattern.places(rows, columns), weights=values, minlength=len(data))
    return csc_array((data, pattern.indices, pattern.indptr), shape=(mesh.size, mesh.size))


def both_triangles(mesh: Mesh, lower: csc_array) -> csc_array:
    """The symmetric matrix of a mesh whose lower triangle is given."""
    indptr, indices, places = pattern_of(mesh).both
    return csc_array((lower.data[places], indices, indptr), shape=lower.shape)


def vector(mesh: Mesh, triangles: np.ndarray, local: np.ndarray) -> np.ndarray:
    """Sum of local vectors (k, 6) of the given triangles; shape (n,)."""
    return np.bincount(mesh.triangles[triangles].ravel(), weights=local.ravel(), minlength=mesh.size)
