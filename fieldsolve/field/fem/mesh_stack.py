"""Meshes that differ in the places of their nodes alone, side by side as one: what is read off all of them is read at once."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geometries.mesh import Mesh, Topology


@dataclass(frozen=True, eq=False)
class MeshStack:
    """Meshes of one topology: node k of mesh i is node `i size + k` of the stack, and its triangles are numbered likewise.

    `nodes`, `triangles` and what is known of these are as those of a mesh; fields of all nodes stand one after the other, too.
    """

    meshes: tuple[Mesh, ...]

    @cached_property
    def nodes(self) -> np.ndarray:
        """(t n, 2) places of the nodes in metres."""
        return np.concatenate([mesh.nodes for mesh in self.meshes])

    @cached_property
    def triangles(self) -> np.ndarray:
        """(t m, nodes of a triangle) numbers in the stack."""
        first = self.meshes[0]
        return np.concatenate([first.triangles + i * first.size for i in range(len(self.meshes))])

    @cached_property
    def region(self) -> np.ndarray:
        """(t m,) region of each triangle."""
        return np.tile(self.meshes[0].region, len(self.meshes))

    @cached_property
    def curved(self) -> np.ndarray:
        """(t m,) whether each triangle has a curved edge."""
        return np.concatenate([mesh.curved for mesh in self.meshes])

    @property
    def order(self) -> int:
        """Degree of the polynomials in each triangle."""
        return self.meshes[0].order

    def corners_of(self, triangles: np.ndarray) -> np.ndarray:
        """Corners of some triangles in metres; (..., 3, 2)."""
        return self.nodes[self.triangles[triangles, :3]]

    @property
    def topology(self) -> Topology:
        """What all the meshes have in common."""
        return self.meshes[0].topology

    @property
    def size(self) -> int:
        """Number of nodes of each mesh."""
        return self.meshes[0].size

    @property
    def count(self) -> int:
        """Number of triangles of each mesh."""
        return len(self.meshes[0].triangles)


def as_stack(mesh: Mesh | MeshStack) -> MeshStack:
    """A mesh as a stack of one; a stack as it is."""
    return mesh if isinstance(mesh, MeshStack) else MeshStack((mesh,))
