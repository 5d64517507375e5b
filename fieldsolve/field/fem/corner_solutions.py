"""What u has near a corner of metal that no polynomial has, for fits to its nodal values in air.

Where metal that carries a current ends in a corner, B is finite and continuous, but its derivatives grow like log |x - corner|.  With
zeta = x - corner as a complex number, the real and imaginary parts of zeta^n log zeta, n >= 2, solve Laplace's equation in air.  With
polynomials they make up u within a skin depth of the corner, whatever its angle.  The cut of the logarithm lies in the metal.
Where two metals meet at the border with air, u has the same terms.
"""
from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.mesh_stack import MeshStack
from geometries.mesh import AIR, EDGE_NODES, Mesh, Topology

POWERS = (2, 3)          # n of the terms zeta^n log zeta
TERMS = 2 * len(POWERS)
MIN_TURN = np.radians(20)       # of the border at a corner; arcs turn by less between two cells


@dataclass(frozen=True, eq=False)
class MetalCorners:
    """Corners of metal beside air.

    of_cell     (m,) number of the corner at one of the vertices of a triangle of air; -1: none, -2: several
    node        (k,) node of each corner
    neighbours  (k, 2) nodes after and before it on the border, which has the metal on its right
    """

    of_cell: np.ndarray
    node: np.ndarray
    neighbours: np.ndarray

    def offsets(self, nodes: np.ndarray, corners: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """r + i z of places (q, n, 2) from corners (q,) with nodes (n, 2) as they are, metres; outward unit vectors and radii (q, 1)."""
        tip, edges = (nodes[chosen[corners]] @ np.array([1, 1j]) for chosen in (self.node, self.neighbours))
        edges = (edges - tip[:, None]) / np.abs(edges - tip[:, None])
        along = edges[:, :1] - edges[:, 1:]
        return places @ np.array([1, 1j]) - tip[:, None], 1j * along / np.abs(along), tip.real[:, None]


@lru_cache(maxsize=4)
def metal_corners(mesh: Mesh) -> MetalCorners:
    """Where the border of metal, as it is on the mesh now, turns by MIN_TURN and more around it, or two metals meet."""
    before_last, before, simple, after, after_next, is_joint = _border_nodes(mesh.topology)
    x = np.ascontiguousarray(mesh.nodes).view(complex)[:, 0]                    # r + i z
    tangent = 4 * x[after] - 3 * x[simple] - x[after_next], 3 * x[simple] - 4 * x[before] + x[before_last]
    turn = np.angle(tangent[1] / tangent[0])
    is_corner = (turn > MIN_TURN) | (is_joint & (turn > -MIN_TURN))
    return _corners_at(mesh.topology, is_corner.tobytes())


@lru_cache(maxsize=4)
def _corners_at(topology: Topology, is_corner: bytes) -> MetalCorners:
    """The corners at some of the border's nodes, those marked in the bytes: nearly always the same ones while the nodes move."""
    _, before, simple, after, _, _ = _border_nodes(topology)
    chosen, number = np.frombuffer(is_corner, dtype=bool), np.full(topology.mesh.size, -1)
    number[simple[chosen]] = np.arange(chosen.sum())
    return MetalCorners(_corner_of_cells(topology.mesh, number), simple[chosen], np.column_stack([after, before])[chosen])


def stacked_corners(stack: MeshStack) -> MetalCorners:
    """The corners of all meshes of a stack, numbered like its nodes and triangles."""
    found = [metal_corners(mesh) for mesh in stack.meshes]
    if len(found) == 1:
        return found[0]
    before = np.cumsum([0, *(len(corners.node) for corners in found)])
    return MetalCorners(np.concatenate([np.where(corners.of_cell >= 0, corners.of_cell + k, corners.of_cell)
                                        for corners, k in zip(found, before, strict=False)]),
                        np.concatenate([corners.node + i * stack.size for i, corners in enumerate(found)]),
                        np.concatenate([corners.neighbours + i * stack.size for i, corners in enumerate(found)]))


@lru_cache(maxsize=4)
def _border_nodes(topology: Topology) -> tuple[np.ndarray, ...]:
    """Nodes of the border with the two before and the two after each on it, in their order, and whether two metals meet at each; (k,).

    One edge of the border leaves each of them, and one reaches it.
    """
    mesh = topology.mesh
    start, end, middle = _border_edges(mesh)
    leaving, arriving = (np.full(mesh.size, -1) for _ in range(2))
    leaving[start], arriving[end] = np.arange(len(start)), np.arange(len(end))
    simple = np.flatnonzero((np.bincount(start, minlength=mesh.size) == 1) & (np.bincount(end, minlength=mesh.size) == 1))
    ahead, behind = leaving[simple], arriving[simple]
    return start[behind], middle[behind], simple, middle[ahead], end[ahead], _is_joint(mesh)[simple]


def _corner_of_cells(mesh: Mesh, number: np.ndarray) -> np.ndarray:
    """The corner that each triangle of air has among its vertices, or else among those of its neighbours; numbered nodes (n,)."""
    air = mesh.region == AIR
    vertices = mesh.triangles[:, :3]
    own, several = _only_one(np.where(air[:, None], number[vertices], -1))
    near = np.full(mesh.size, -1)
    for column in vertices[own >= 0].T:
        near[column] = own[own >= 0]
    beside, _ = _only_one(np.where(air[:, None], near[vertices], -1))
    return np.where(several, -2, np.where(own >= 0, own, beside))


def _only_one(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The number >= 0 in each row (m, 3), -1 where there is none or where they differ, and whether they do; each (m,)."""
    largest = numbers.max(axis=1)
    differ = ((numbers >= 0) & (numbers != largest[:, None])).any(axis=1)
    return np.where(differ, -1, largest), differ


def _border_edges(mesh: Mesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start, end and middle node of the edges between air and metal, air on their left; each (e,)."""
    in_metal = np.zeros(mesh.size, dtype=bool)
    in_metal[mesh.triangles[mesh.region > AIR, 3:]] = True
    start, end, middle = mesh.triangles[mesh.region == AIR][:, EDGE_NODES].reshape(-1, 3).T
    border = in_metal[middle]
    return start[border], end[border], middle[border]


def _is_joint(mesh: Mesh) -> np.ndarray:
    """Whether triangles of two zones of metal meet at a node; (n,)."""
    metal = mesh.region > AIR
    pairs = np.unique(mesh.triangles[metal, :3] * (len(mesh.regions) + 1) + mesh.region[metal, None])
    return np.bincount(pairs // (len(mesh.regions) + 1), minlength=mesh.size) > 1


def corner_terms(offset: np.ndarray, outward: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Values (..., TERMS) at points r + i z from corners (...,) at a radius; `outward` their complex unit vectors."""
    zeta, log = _turned(offset, outward)
    terms = _real_and_imaginary(np.stack([zeta**n * log for n in POWERS], axis=-1))
    return terms * _decline(offset, radius)[..., None]


def corner_slopes(offset: np.ndarray, outward: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Derivatives by r and z of `corner_terms`; (2, ..., TERMS)."""
    zeta, log = _turned(offset, outward)
    derivative = np.stack([zeta**(n - 1) * (n * log + 1) for n in POWERS], axis=-1) * outward.conjugate()[..., None]
    slopes = np.stack([_real_and_imaginary(derivative), _real_and_imaginary(1j * derivative)]) * _decline(offset, radius)[..., None]
    slopes[0] -= 1.5 * corner_terms(offset, outward, radius) / (radius + offset.real)[..., None]
    return slopes


def _decline(offset: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """(r / radius)^(-3/2), by which a solution of (1/r^3)(r^3 u_r)_r + u_zz = 0 differs from one of Laplace's equation in the plane."""
    return (1 + offset.real / radius) ** -1.5


def _turned(offset: np.ndarray, outward: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """zeta with its cut opposite to `outward`, and its logarithm, 0 at the corner."""
    zeta = offset * outward.conjugate()
    return zeta, np.log(np.where(zeta == 0, 1.0, zeta))


def _real_and_imaginary(values: np.ndarray) -> np.ndarray:
    return np.concatenate([values.real, values.imag], axis=-1)
