"""The solid turns of coils: c_k = integral of sigma r v and G_k = integral of sigma / (2 pi r) over each."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.sparse import csr_array

from fieldsolve.field.fem.quadrature import gauss_points
from geometries.mesh import Mesh, Topology


@dataclass(frozen=True, eq=False)
class TurnPattern:
    """Where the c_k of turns have entries: a matrix (n, k), CSR.

    indptr, indices   of the matrix: by node, and by turn in each
    triangles, turn   (t,) numbers of the turns' triangles, and the turn of each
    position          (nodes t,) place in the data of each node of these triangles
    """

    indptr: np.ndarray
    indices: np.ndarray
    triangles: np.ndarray
    turn: np.ndarray
    position: np.ndarray

    @property
    def nodes(self) -> np.ndarray:
        """Node of each entry."""
        return np.repeat(np.arange(len(self.indptr) - 1), np.diff(self.indptr))


@lru_cache(maxsize=4)
def turn_pattern(topology: Topology, regions: tuple[int, ...]) -> TurnPattern:
    """The pattern of turns with these region numbers, for all places of the nodes."""
    mesh, count = topology.mesh, len(regions)
    number = np.full(max(mesh.region.max(), 0) + 2, -1)
    number[list(regions)] = np.arange(count)
    triangles = np.flatnonzero((mesh.region > 0) & (number[mesh.region] >= 0))
    turn = number[mesh.region[triangles]]
    entries, position = np.unique((mesh.triangles[triangles] * max(count, 1) + turn[:, None]).ravel(), return_inverse=True)
    nodes, indices = np.divmod(entries, max(count, 1))
    indptr = np.concatenate([[0], np.cumsum(np.bincount(nodes, minlength=mesh.size))])
    return TurnPattern(indptr.astype(np.int32), indices.astype(np.int32), triangles, turn, position.ravel())


def assemble_turns(mesh: Mesh, regions: np.ndarray, unit_turn: np.ndarray, unit_conductance: np.ndarray,
                   sigma: np.ndarray) -> tuple[csr_array, np.ndarray]:
    """c_k (n, k) and G_k (k,) of the turns with these region numbers, of integrals (m, nodes) and (m,) at one S/m."""
    pattern, count = turn_pattern(mesh.topology, tuple(regions.tolist())), len(regions)
    weight = sigma[pattern.triangles]
    data = np.bincount(pattern.position, weights=(unit_turn[pattern.triangles] * weight[:, None]).ravel(), minlength=len(pattern.indices))
    conductance = np.bincount(pattern.turn, weights=unit_conductance[pattern.triangles] * weight, minlength=count)
    return csr_array((data, pattern.indices, pattern.indptr), shape=(mesh.size, count)), conductance


def unit_conductance(mesh: Mesh, triangles: np.ndarray) -> np.ndarray:
    """Integral of 1 / (2 pi r) over triangles of turns; shape (k,)."""
    if not len(triangles):
        return np.zeros(0)
    points = gauss_points(mesh, triangles)
    return (points.dA / points.r).sum(axis=1) / (2 * math.pi)
