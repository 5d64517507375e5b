"""Local matrices and vectors of the triangles summed into global ones; the sparsity is analysed once a mesh."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.fem.reference_triangle import kept_entries
from fieldsolve.field.linear_algebra.symmetric import full_matrix
from geometries.mesh import AIR, EDGE_NODES, Mesh, Topology, ends_of_edges

OPPOSITE = (2, 0, 1)                   # the corner opposite to each edge


@dataclass(frozen=True, eq=False)
class Pattern:
    """Where the lower triangle of a matrix on this mesh has entries (CSC), and where each local entry goes."""

    indptr: np.ndarray
    indices: np.ndarray
    position: np.ndarray        # (kept entries m,) place in the data of each local entry

    @cached_property
    def both(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pattern of both triangles, and the place of each entry in the data of the lower one: indptr, indices, places."""
        size = len(self.indptr) - 1
        numbered = full_matrix(csc_array((np.arange(1.0, len(self.indices) + 1), self.indices, self.indptr), shape=(size, size)))
        return numbered.indptr, numbered.indices, numbered.data.astype(np.int64) - 1

    def places(self, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
        """Place in the data of entries given by node numbers in any order."""
        low, high = np.minimum(rows, columns), np.maximum(rows, columns)
        return np.searchsorted(self._keys, low * (len(self.indptr) - 1) + high)

    @cached_property
    def _keys(self) -> np.ndarray:
        """Column times size plus row of each entry, rising."""
        size = len(self.indptr) - 1
        return np.repeat(np.arange(size, dtype=np.int64), np.diff(self.indptr)) * size + self.indices


def pattern_of(mesh: Mesh) -> Pattern:
    """Sparsity pattern of the triangles of the mesh, analysed once for all places its nodes move to."""
    return _pattern(mesh.topology)


@lru_cache(maxsize=4)
def _pattern(topology: Topology) -> Pattern:
    triangles, size = topology.mesh.triangles.astype(np.int32), topology.mesh.size
    rows, columns, numbered = (_entries_in_order_2 if topology.mesh.order == 2 else _entries)(triangles, size, topology.mesh.order)
    low, high = np.minimum(rows, columns), np.maximum(rows, columns)
    order = _counted(high, size)
    order = order[_counted(low[order], size)]                   # by column, and by row in each
    place = np.empty(len(order), dtype=np.int32)
    place[order] = np.arange(len(order), dtype=np.int32)
    indptr = np.concatenate([[0], np.cumsum(np.bincount(low, minlength=size))])
    return Pattern(indptr.astype(np.int32), high[order], np.ascontiguousarray(place[numbered].T, dtype=np.int64).ravel())


def _entries(triangles: np.ndarray, size: int, order: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows and columns of the matrix's entries, each pair of nodes once, and which of them each local entry (k, m) adds to."""
    kept = kept_entries(order)
    rows, columns = (np.ascontiguousarray(triangles[:, nodes].T).ravel() for nodes in (kept.rows, kept.columns))
    low, high = np.minimum(rows, columns), np.maximum(rows, columns)
    sorting = _counted(high, size)
    sorting = sorting[_counted(low[sorting], size)]
    first = np.concatenate([[True], (np.diff(low[sorting]) != 0) | (np.diff(high[sorting]) != 0)])
    numbers = np.empty(len(low), dtype=np.int32)
    numbers[sorting] = np.cumsum(first, dtype=np.int32) - 1
    return low[sorting[first]], high[sorting[first]], numbers.reshape(-1, len(triangles))


def _entries_in_order_2(triangles: np.ndarray, size: int, order: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same with fewer pairs to sort: each entry (21, m) belongs to a node, an edge or a triangle.

    The pairs are each node with itself, the ends of an edge with each other and with its middle, and two that belong to one
    triangle only: a corner with the middle of the opposite edge, and two middles.
    """
    corners, middles, count = triangles[:, :3], triangles[:, 3:], len(triangles)
    ends = ends_of_edges(triangles, size)
    edges = np.flatnonzero(ends[:, 0] >= 0).astype(np.int32)
    start, end = ends[edges].T
    rows = np.concatenate([np.arange(size, dtype=np.int32), start, start, end, corners[:, OPPOSITE].ravel(), middles.ravel()])
    columns = np.concatenate([np.arange(size, dtype=np.int32), end, edges, edges, middles.ravel(), np.roll(middles, -1, axis=1).ravel()])

    place = kept_entries(order).place
    edge = np.empty(size, dtype=np.int32)
    edge[edges] = size + np.arange(len(edges), dtype=np.int32)
    own = size + 3 * len(edges) + np.arange(3 * count, dtype=np.int32).reshape(count, 3)
    numbers = np.empty((place.max() + 1, count), dtype=np.int32)
    numbers[place.diagonal()] = triangles.T
    for k, (a, b) in enumerate(EDGE_NODES[:, :2].tolist()):
        middle, from_a = edge[middles[:, k]], start[edge[middles[:, k]] - size] == corners[:, a]
        for pair, number in (((a, b), middle), ((a, 3 + k), middle + np.where(from_a, len(edges), 2 * len(edges))),
                             ((b, 3 + k), middle + np.where(from_a, 2 * len(edges), len(edges))),
                             ((OPPOSITE[k], 3 + k), own[:, k]), ((3 + k, 3 + (k + 1) % 3), own[:, k] + 3 * count)):
            numbers[place[pair]] = number
    return rows, columns, numbers


def _counted(numbers: np.ndarray, size: int) -> np.ndarray:
    """Order that sorts numbers below `size`, stable: scipy's transposition is a counting sort, of cost O(n)."""
    count = len(numbers)
    return csc_array((np.zeros(count, dtype=np.int8), numbers, np.arange(count + 1, dtype=np.int32)), shape=(size, count)).tocsr().indices


@lru_cache(maxsize=4)
def _both_in_metal(topology: Topology) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `Pattern.both`, of the entries that triangles of metal have a share in."""
    pattern = _pattern(topology)
    indptr, indices, places = pattern.both
    in_metal = np.zeros(len(pattern.indices), dtype=bool)
    in_metal[pattern.position.reshape(len(topology.mesh.triangles), -1)[topology.mesh.region > AIR]] = True
    kept = in_metal[places]
    before = np.concatenate([[0], np.cumsum(kept)])
    return before[indptr].astype(indptr.dtype), indices[kept], places[kept]


def lower_triangle(mesh: Mesh, local: np.ndarray, extra: tuple[np.ndarray, np.ndarray, np.ndarray] | None = None,
                   triangles: np.ndarray | None = None) -> csc_array:
    """Lower triangle of the sum of local matrices (k, entries) of some triangles, by default all, plus `extra` entries.

    extra  (rows, columns, values) with rows >= columns, each once
    """
    pattern = pattern_of(mesh)
    position = pattern.position if triangles is None else pattern.position.reshape(len(mesh.triangles), -1)[triangles].ravel()
    data = np.bincount(position, weights=local.ravel(), minlength=len(pattern.indices))
    if extra is not None:
        rows, columns, values = extra
        np.add.at(data, pattern.places(rows, columns), values)
    return csc_array((data, pattern.indices, pattern.indptr), shape=(mesh.size, mesh.size))


def both_triangles(mesh: Mesh, lower: csc_array, in_metal: bool = False) -> csc_array:
    """The symmetric matrix of a mesh whose lower triangle is given; of one that metal alone makes, without the zeros elsewhere."""
    indptr, indices, places = _both_in_metal(mesh.topology) if in_metal else pattern_of(mesh).both
    return csc_array((lower.data[places], indices, indptr), shape=lower.shape)


def vector(mesh: Mesh, triangles: np.ndarray, local: np.ndarray) -> np.ndarray:
    """Sum of local vectors (k, nodes) of the given triangles; shape (n,)."""
    return np.bincount(mesh.triangles[triangles].ravel(), weights=local.ravel(), minlength=mesh.size)
