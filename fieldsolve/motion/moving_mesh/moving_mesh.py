"""The mesh of a moving cross-section: bodies move their nodes, the air's nodes follow, and poor air is meshed anew."""
from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array, csc_array, tril

from fieldsolve.field.linear_algebra.solvers import Factor, factorize
from geometries.air_mesh import number_air_last, remesh_air
from geometries.curved_edges import has_curved_edge, node_jacobians
from geometries.mesh import AIR, EDGE_NODES, Mesh
from geometries.triangle_edges import triangle_quality

MIN_AIR_QUALITY = 0.3         # of an air triangle's quality when meshed, below which the air is meshed anew
FAR_FROM_MOTION = 0.1        # of the metal's displacement: air that would follow it by less stays, and its matrices with it
MIN_SOLID_QUALITY = 0.001  # of a solid triangle's quality at the start, below which the field in it is no longer that of the metal


@dataclass(frozen=True, eq=False)
class MovingMesh:
    """A mesh whose air can be moved and meshed anew.

    reference_mesh  as its air was last meshed
    kept_count      number of its first nodes, which belong to bodies, arc and exterior domain and are kept
    solid_quality   (k,) of the triangles on those nodes, which come first, at the start
    movable         numbers of the nodes of parts that move
    """

    reference_mesh: Mesh
    kept_count: int
    solid_quality: np.ndarray
    movable: np.ndarray

    def deformed(self, kept_nodes: np.ndarray) -> Mesh:
        """Mesh with the kept nodes at positions (kept, 2) in m, and the air's nodes moved after them.

        Each coordinate's displacement d solves div(k grad d) = 0 in the air, k = 1 / (area of the triangle), so that small cells
        keep their shape; on the axis d_r = 0 and d_z is free; far from metal that moves d = 0.
        """
        shift = kept_nodes - self.reference_mesh.nodes[:self.kept_count]
        if not shift.any():
            return self.reference_mesh
        nodes = self.reference_mesh.nodes.copy()
        nodes[:self.kept_count] = kept_nodes
        for axis, (unknown, factor, coupling) in enumerate((self._off_axis, self._all_corners)):
            if shift[:, axis].any():
                nodes[unknown, axis] -= factor.back_substitution(coupling @ shift[:, axis])
        a, b, middle = self._air_middles
        nodes[middle] = 0.5 * (nodes[a] + nodes[b])
        curved = self.reference_mesh.curved.copy()
        curved[self._on_kept_edges] = has_curved_edge(nodes, self.reference_mesh.triangles[self._on_kept_edges])
        return replace(self.reference_mesh, nodes=nodes, curved=curved)

    def gather_forces(self, forces: np.ndarray) -> np.ndarray:
        """Forces on all nodes (n, 2) as forces on the kept ones (kept, 2): the transpose of `deformed`."""
        forces = forces.copy()
        a, b, middle = self._air_middles
        for axis, (unknown, factor, coupling) in enumerate((self._off_axis, self._all_corners)):
            half = np.bincount(np.concatenate([a, b]), weights=np.tile(0.5 * forces[middle, axis], 2), minlength=len(forces))
            forces[:, axis] += half
            forces[:self.kept_count, axis] -= coupling.T @ factor.back_substitution(forces[unknown, axis])
        return forces[:self.kept_count]

    def is_well_shaped(self, mesh: Mesh) -> bool:
        """Whether no air triangle is much worse shaped than when meshed, nor any triangle degenerate."""
        moving = self._moving
        return (bool((_quality(mesh, moving) > self._least_quality[moving]).all())
                and not len(_folded_triangles(mesh, moving[mesh.curved[moving]])))

    def degenerate_triangles(self, mesh: Mesh) -> np.ndarray:
        """Indices of the triangles that are turned inside out or, in bodies, nearly so."""
        solid = len(self.solid_quality)
        return np.union1d(_inverted_triangles(mesh), np.flatnonzero(_quality(mesh)[:solid] < self._least_quality[:solid]))

    def remeshed(self, mesh: Mesh) -> MovingMesh:
        """The same with the air meshed anew around the bodies as they are in `mesh`.  Raises MeshError where the mesher fails."""
        return replace(self, reference_mesh=remesh_air(mesh, self.kept_count))

    @cached_property
    def _air(self) -> np.ndarray:
        return np.flatnonzero(self.reference_mesh.region == AIR)

    @cached_property
    def _on_kept_edges(self) -> np.ndarray:
        """Moving triangles with an edge whose middle is kept: the others have straight edges."""
        return self._moving[(self.reference_mesh.triangles[self._moving, 3:] < self.kept_count).any(axis=1)]

    @cached_property
    def _moving(self) -> np.ndarray:
        """Triangles of which a corner, or in solids a node, moves."""
        moves = np.zeros(self.reference_mesh.size, dtype=bool)
        moves[self.movable] = moves[self._all_corners[0]] = True
        return np.flatnonzero(moves[self.reference_mesh.triangles.T].any(axis=0))

    @cached_property
    def _least_quality(self) -> np.ndarray:
        """Quality of each triangle below which it is too poor."""
        air = _quality(self.reference_mesh)[len(self.solid_quality):]
        return np.concatenate([MIN_SOLID_QUALITY * self.solid_quality, MIN_AIR_QUALITY * air])

    @cached_property
    def _air_middles(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Ends and middle nodes of the moving edges whose middle belongs to the air."""
        moving_air = np.intersect1d(self._air, self._moving)
        edges = self.reference_mesh.triangles[moving_air][:, EDGE_NODES].reshape(-1, 3)
        middle, first = np.unique(edges[:, 2], return_index=True)
        return tuple(edges[first[middle >= self.kept_count]].T)                       # each edge once, though two triangles have it

    @cached_property
    def _stiffness(self) -> csc_array:
        """Matrix of k grad d . grad d' on the air's corners, k = 1 / area."""
        corners, size = self.reference_mesh.corners[self._air], self.reference_mesh.size
        opposite = np.roll(corners, -1, axis=1) - np.roll(corners, 1, axis=1)                  # edges opposite each corner
        local = np.einsum("mai,mbi->mab", opposite, opposite) / (4 * self.reference_mesh.area[self._air] ** 2)[:, None, None]
        nodes = self.reference_mesh.triangles[self._air][:, :3]
        rows, columns = (np.broadcast_to(n, local.shape).ravel() for n in (nodes[:, :, None], nodes[:, None, :]))
        return csc_array(coo_array((local.ravel(), (rows, columns)), shape=(size, size)))

    @cached_property
    def _all_corners(self) -> tuple[np.ndarray, Factor, csc_array]:
        """The corners of air that move, those near metal that does."""
        corners = np.unique(self.reference_mesh.triangles[self._air][:, :3])
        unknown, factor, coupling = self._factorize_block(corners[corners >= self.kept_count])
        share = -factor.back_substitution(coupling @ np.isin(np.arange(self.kept_count), self.movable).astype(float))
        return self._factorize_block(unknown[share > FAR_FROM_MOTION])

    @cached_property
    def _off_axis(self) -> tuple[np.ndarray, Factor, csc_array]:
        corners = self._all_corners[0]
        return self._factorize_block(corners[self.reference_mesh.nodes[corners, 0] > 0])

    def _factorize_block(self, unknown: np.ndarray) -> tuple[np.ndarray, Factor, csc_array]:
        """The unknown nodes, the factor of their matrix, and their coupling to the kept nodes."""
        rows = self._stiffness[unknown]
        lower = csc_array(tril(rows[:, unknown]))
        lower.sort_indices()
        return unknown, factorize(lower), csc_array(rows[:, :self.kept_count])


def build_moving_mesh(mesh: Mesh, parts: Iterable[str] | None = None) -> MovingMesh:
    """The moving mesh that starts as `mesh`, renumbered, of a section of which some parts move, by name; None: all of them."""
    first, kept = number_air_last(mesh)
    names = {name for name, _ in first.regions} if parts is None else parts
    movable = np.unique(np.concatenate([first.triangles[first.part_triangles(name)].ravel() for name in names]))
    return MovingMesh(first, kept, _quality(first)[first.region != AIR], movable)


def _inverted_triangles(mesh: Mesh) -> np.ndarray:
    """Indices of the triangles that are turned inside out."""
    return np.union1d(np.flatnonzero(mesh.area <= 0), _folded_triangles(mesh, np.flatnonzero(mesh.curved)))


def _folded_triangles(mesh: Mesh, curved: np.ndarray) -> np.ndarray:
    """Those of some curved triangles that are turned inside out at one of their nodes."""
    return curved[(node_jacobians(mesh.nodes[mesh.triangles[curved]]) <= 0).any(axis=0)]


def _quality(mesh: Mesh, chosen: np.ndarray | slice = slice(None)) -> np.ndarray:
    """Quality of each triangle, or of some, by its corners, see `triangle_quality`; (m,)."""
    return triangle_quality(mesh.triangles[chosen, :3], mesh.nodes)
