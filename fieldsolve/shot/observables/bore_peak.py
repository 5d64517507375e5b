"""The largest |B| on a bore's border at every step, narrowed down between the points where it is read."""
from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import sample
from fieldsolve.field.quantities.peak_field import SAMPLES, bore_boundary_points, surface_nodes, surface_nodes_inside
from geometries.cross_section import Bore
from geometries.mesh import AIR, EDGE_NODES, Mesh, Topology

STRONG_FIELD_SHARE = 0.93           # of the largest |B| by the triangles' own slopes, above which the recovered field is looked at
MIN_BEND_COSINE = 0.9          # cosine of the bend at a point across which no parabola is laid
NODE_BARYCENTRIC = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]])


@dataclass(frozen=True, eq=False)
class LocatedPoints:
    """Points (q,) in metres and where in the mesh they were found."""

    r: np.ndarray
    z: np.ndarray
    triangle: np.ndarray
    place: np.ndarray


def locate_points(mesh: Mesh, places: np.ndarray, regions: tuple[int, ...] | None = None) -> LocatedPoints:
    """Places (q, 2), each in a triangle of the `regions`."""
    return LocatedPoints(*places.T, *locate(mesh, *places.T, regions))


def split_points(points: LocatedPoints) -> list[LocatedPoints]:
    """Each of them for itself."""
    return [LocatedPoints(*(getattr(points, name)[k:k + 1] for name in ("r", "z", "triangle", "place"))) for k in range(len(points.r))]


def concatenate_points(points: list[LocatedPoints]) -> LocatedPoints:
    """All of them, in order."""
    return LocatedPoints(*(np.concatenate([getattr(each, name) for each in points]) for name in ("r", "z", "triangle", "place")))


@dataclass(frozen=True, eq=False)
class BoreBoundary:
    """Points on the border of a region and, for those that lie on a smooth line, their neighbours on it.

    middle, before, after   numbers of points (k,);  back, ahead  their distances in metres
    """

    points: LocatedPoints
    middle: np.ndarray
    before: np.ndarray
    after: np.ndarray
    back: np.ndarray
    ahead: np.ndarray

    def peak_strength(self, strength: np.ndarray) -> float:
        """Largest |B|, given at the points: of them, and of the vertices of the parabolas through each local maximum and its neighbours."""
        at, before, after = strength[self.middle], strength[self.before], strength[self.after]
        top = (at >= before) & (at >= after) & (at > 0.9 * strength.max())
        rise, fall = ((at - before) / self.back)[top], ((at - after) / self.ahead)[top]      # both >= 0
        width = (self.back + self.ahead)[top]
        slope = (rise * self.ahead[top] - fall * self.back[top]) / width                     # of the parabola, at the middle
        bend = (rise + fall) / width                                                         # minus half its second derivative
        vertices = at[top] + np.divide(slope**2, 4 * bend, out=np.zeros_like(slope), where=bend > 0)
        return float(max(strength.max(), vertices.max(initial=0.0)))


def bore_boundary(mesh: Mesh, bore: Bore, u: np.ndarray | None = None, unbounded: tuple[str, ...] = ()) -> BoreBoundary:
    """The border of a bore: lines along its cylinder and ends, and the surfaces of the bodies in it, where they are in air.

    With a field u only the points where it is strong, by the triangles' own slopes, and those beside them: for metal that moves.
    Surfaces of `unbounded` parts, at whose edges B has no bound, are left out.
    """
    lines = bore_boundary_points(mesh, bore, SAMPLES if u is None else SAMPLES // 3)
    surface = surface_nodes_inside(mesh, bore)
    lines = lines[:len(lines) - len(surface)]
    surface = np.setdiff1d(surface, [node for name in unbounded for node in mesh.triangles[mesh.part_triangles(name)].ravel()])
    starts, lines = np.cumsum([0, *map(len, lines)]), np.concatenate(lines)
    triples = [np.arange(start, end - 2)[:, None] + np.arange(3) for start, end in itertools.pairwise(starts)]
    number = np.full(mesh.size, -1)
    number[surface] = starts[-1] + np.arange(len(surface))
    triples = np.concatenate([*triples, number[_surface_triples(mesh.topology)]])
    places = np.concatenate([lines, mesh.nodes[surface]])
    triangle, place = (np.concatenate([found, known[surface]]) for found, known in
                       zip(locate(mesh, *lines.T, (AIR,)), _nodes_in_air(mesh.topology), strict=True))
    kept = triangle >= 0
    triples = triples[(triples >= 0).all(axis=1)]
    triples = triples[kept[triples].all(axis=1)]
    if u is not None:
        kept, triples = _select_strong(mesh, triangle, place, kept, triples, u)
    renumbered = np.cumsum(kept) - 1
    before, middle, after = places[triples].swapaxes(0, 1)
    one, other = middle - before, after - middle
    back, ahead = np.linalg.norm(one, axis=1), np.linalg.norm(other, axis=1)
    smooth = (one * other).sum(axis=1) > MIN_BEND_COSINE * back * ahead
    before, middle, after = renumbered[triples[smooth]].T
    return BoreBoundary(LocatedPoints(*places[kept].T, triangle[kept], place[kept]), middle, before, after, back[smooth], ahead[smooth])


def _select_strong(mesh: Mesh, triangle: np.ndarray, place: np.ndarray, kept: np.ndarray, triples: np.ndarray,
                   u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Those of the points, and of the triples of them, where the triangles' own slopes make a strong field."""
    points = sample(mesh, triangle[kept], place[kept][:, None])
    strength = np.zeros(len(kept))
    strength[kept] = np.hypot(*points.flux_density(u))[:, 0]
    strong = kept & (strength >= STRONG_FIELD_SHARE * strength.max())
    triples = triples[strong[triples[:, 1]]]
    strong[triples] = True
    return strong, triples


@lru_cache(maxsize=2)
def _nodes_in_air(topology: Topology) -> tuple[np.ndarray, np.ndarray]:
    """A triangle of air at each node (n,), -1 where there is none, and the node's barycentric place in it (n, 3)."""
    mesh = topology.mesh
    air = np.flatnonzero(mesh.region == AIR)
    triangle, corner = np.full(mesh.size, -1), np.zeros(mesh.size, dtype=int)
    triangle[mesh.triangles[air]], corner[mesh.triangles[air]] = air[:, None], np.arange(6)
    return triangle, NODE_BARYCENTRIC[corner]


@lru_cache(maxsize=2)
def _surface_triples(topology: Topology) -> np.ndarray:
    """Triples of nodes one after the other along the borders of air and metal; shape (k, 3)."""
    mesh = topology.mesh
    on_surface = np.zeros(mesh.size, dtype=bool)
    on_surface[surface_nodes(topology)] = True
    edges = mesh.triangles[mesh.region == AIR][:, EDGE_NODES[:, [0, 2, 1]]].reshape(-1, 3)                 # along each edge
    edges = edges[on_surface[edges].all(axis=1)]
    ends = np.concatenate([edges[:, :2], edges[:, :0:-1]])                   # (corner, middle node) from either end
    ends = ends[np.argsort(ends[:, 0], kind="stable")]
    pair = np.flatnonzero(ends[1:, 0] == ends[:-1, 0])
    return np.concatenate([edges, np.column_stack([ends[pair, 1], ends[pair, 0], ends[pair + 1, 1]])])
