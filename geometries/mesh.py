"""The mesh that the mesher makes and the solver reads: plain arrays, no mesher in sight."""
from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np

from geometries.node_layout import edge_nodes, order_of
from geometries.parts import ZoneKey
from geometries.pickling import fields_only
from geometries.plot import plot_mesh

AIR, EXTERIOR = 0, -1      # region numbers; zones count from 1 in the order of `regions`
EDGE_NODES = edge_nodes(2)    # ends and middle node of each edge of a triangle of an even order, counter-clockwise


@dataclass(frozen=True, eq=False, repr=False)
class Mesh:
    """Triangles of order 2, 3 or 4 over the half plane, the mapped outer half disc included.

    nodes         (n, 2)  r, z of the nodes, metres
    triangles     (m, 6)  corners counter-clockwise, then midpoints of edges 0-1, 1-2, 0-2; in order 4 (m, 15), those six first, in
                          order 3 (m, 10), see `node_layout.py`
    region        (m,)    AIR, EXTERIOR, or k + 1 for `regions[k]`
    regions       (part name, zone number) of each zone of metal
    curved        (m,)    True where an edge of the triangle is not straight
    open_radius   radius R of the arc, metres; None for a strip, which has no open space
    centre        z of the arc's centre
    arc_edges     (k, order + 1)  nodes of the edges between the two sheets: end, end, those between
    face_edges    nodes of the edges on a strip's faces, {'inner': (k, order + 1), 'outer': (k, order + 1)}
    sheet_edges   nodes of the edges that make up each current sheet, by part name
    filament_node node of each filament, by part name
    mapped        triangles of the mapped cells of each thin zone by part name and zone number: (columns, rows), each column of like
                  triangles, two columns a cell
    """

    nodes: np.ndarray
    triangles: np.ndarray
    region: np.ndarray
    regions: tuple[ZoneKey, ...]
    curved: np.ndarray
    open_radius: float | None
    centre: float
    arc_edges: np.ndarray
    face_edges: dict[str, np.ndarray]
    sheet_edges: dict[str, np.ndarray]
    filament_node: dict[str, int]
    mapped: dict[ZoneKey, np.ndarray] = field(default_factory=dict)

    __getstate__ = fields_only
    plot = plot_mesh

    def __repr__(self) -> str:
        room = "strip" if self.open_radius is None else f"open radius {self.open_radius:.4g} m"
        return f"Mesh({self.size} nodes, {len(self.triangles)} triangles, {len(self.regions)} zones of metal, {room})"

    @property
    def size(self) -> int:
        """Number of nodes, which is the number of unknowns."""
        return len(self.nodes)

    @property
    def order(self) -> int:
        """Degree of the polynomials in each triangle, which are also those of its curved edges."""
        return order_of(self.triangles.shape[1])

    @cached_property
    def corners(self) -> np.ndarray:
        """Corner coordinates of each triangle; shape (m, 3, 2)."""
        return self.corners_of(slice(None))

    def corners_of(self, triangles: np.ndarray | slice) -> np.ndarray:
        """Those of some triangles alone, by number; shape (..., 3, 2)."""
        return self.nodes[self.triangles[triangles, :3]]

    @cached_property
    def area(self) -> np.ndarray:
        """Area of the straight triangle through the corners; shape (m,)."""
        a, b, c = np.moveaxis(self.corners, 1, 0)
        (x, y), (s, t) = (b - a).T, (c - a).T
        return 0.5 * (x * t - y * s)

    @cached_property
    def is_mapped(self) -> np.ndarray:
        """True for the halves of mapped cells, which may be much longer than wide; shape (m,)."""
        found = np.zeros(len(self.triangles), dtype=bool)
        for triangles in self.mapped.values():
            found[triangles] = True
        return found

    @cached_property
    def cell_size(self) -> np.ndarray:
        """Edge of the equilateral triangle of the same area; of a mapped triangle its length along r or z; shape (m,)."""
        length = np.ptp(self.corners, axis=1).max(axis=1)
        return np.where(self.is_mapped, length, np.sqrt(4 / np.sqrt(3) * self.area))

    @property
    def topology(self) -> Topology:
        """What stays when the nodes move: a key of what is computed once for all places of the nodes.

        It is not kept: a mesh that held it would be in a cycle, and stay in memory until cycles are looked for.
        """
        return Topology(self)

    def zone_triangles(self, part: str) -> list[np.ndarray]:
        """Numbers of the triangles of each zone of `part`; read only."""
        return list(_zone_triangles(self.topology, part))

    def part_triangles(self, part: str) -> np.ndarray:
        """Numbers of all triangles of `part`; read only."""
        return _part_triangles(self.topology, part)


class Topology:
    """Regions and neighbours of a mesh's triangles, wherever its nodes are: equal for meshes that share the array of node numbers."""

    def __init__(self, mesh: Mesh):
        self.mesh = mesh

    def __hash__(self) -> int:
        return id(self.mesh.triangles)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Topology) and self.mesh.triangles is other.mesh.triangles


@lru_cache(maxsize=32)
def _zone_triangles(topology: Topology, part: str) -> tuple[np.ndarray, ...]:
    mesh = topology.mesh
    return tuple(_read_only(np.flatnonzero(mesh.region == k + 1)) for k, (name, _) in enumerate(mesh.regions) if name == part)


@lru_cache(maxsize=32)
def _part_triangles(topology: Topology, part: str) -> np.ndarray:
    return _read_only(np.concatenate([np.zeros(0, dtype=int), *_zone_triangles(topology, part)]))


def _read_only(array: np.ndarray) -> np.ndarray:
    array.flags.writeable = False
    return array


def ends_of_edges(triangles: np.ndarray, size: int) -> np.ndarray:
    """Corners at the ends of the edge of each middle node of six-node triangles, -1 for a corner; (n, 2)."""
    ends = np.full((size, 2), -1, dtype=np.int32)
    ends[triangles[:, 3:]] = triangles[:, :3][:, EDGE_NODES[:, :2]]
    return ends
