"""The largest |B| of a bore at an instant, read at points on the bore's border and narrowed down between them.

The series of a shot and the field at one of its instants read it alike, so that they agree to rounding.
"""
from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.gradient_recovery import recovered_values
from fieldsolve.field.fem.mesh_stack import MeshStack, as_stack
from fieldsolve.field.fem.point_location import locate, locate_in_each
from fieldsolve.field.fem.quadrature import sample
from fieldsolve.field.quantities.peak_field import (
    Peak,
    bore_lines,
    magnetic_edges,
    surface_edges,
    surface_nodes_inside,
)
from geometries.cross_section import Bore, CrossSection
from geometries.mesh import AIR, Mesh, Topology

STRONG_FIELD_SHARE = 0.93             # of the largest |B| by the triangles' own slopes, above which the recovered field is looked at
NEAR_LARGEST = 0.9              # share of the largest value from which a parabola is laid through a local maximum
MIN_BEND_COSINE = 0.9          # cosine of the bend at a point across which no parabola is laid
EDGE_CLEARANCE = 0.02           # of the bore's radius: nearer to magnetic metal with sharp edges, where |B| is unbounded, it is not read
MAX_SPACING_RATIO = 4.0         # of a point's distances to its neighbours: with more a parabola makes a peak of a small jump
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

    points                  all of them
    middle, before, after   numbers of points (k,);  back, ahead  their distances in metres
    """

    points: LocatedPoints
    middle: np.ndarray
    before: np.ndarray
    after: np.ndarray
    back: np.ndarray
    ahead: np.ndarray

    def where_strong(self, rough: np.ndarray, largest: float | np.ndarray | None = None) -> tuple[BoreBoundary, np.ndarray]:
        """Those points where a rough |B| (q,) is large beside the largest, with their neighbours, and their numbers among all.

        There alone recovered slopes are looked at: elsewhere only errors of theirs could make the largest |B|.
        """
        strong = rough >= STRONG_FIELD_SHARE * (rough.max() if largest is None else largest)
        kept, triples = strong.copy(), np.flatnonzero(strong[self.middle])
        kept[self.before[triples]] = kept[self.after[triples]] = True
        return self.subset(kept, triples), np.flatnonzero(kept)

    def subset(self, kept: np.ndarray, triples: np.ndarray) -> BoreBoundary:
        """Some of the points (q,), and triples of such, by number."""
        number, points = np.cumsum(kept) - 1, self.points
        return BoreBoundary(LocatedPoints(points.r[kept], points.z[kept], points.triangle[kept], points.place[kept]),
                            *(number[of_triple[triples]] for of_triple in (self.middle, self.before, self.after)),
                            self.back[triples], self.ahead[triples])

    def split(self, counts: np.ndarray) -> list[BoreBoundary]:
        """The boundaries of which this one consists, one after the other, with so many points each."""
        ends, found = np.cumsum(counts), []
        for end, count in zip(ends, counts, strict=True):
            chosen, own = slice(end - count, end), np.flatnonzero((self.middle >= end - count) & (self.middle < end))
            points = LocatedPoints(*(getattr(self.points, name)[chosen] for name in ("r", "z", "triangle", "place")))
            numbers = (of_triple[own] - (end - count) for of_triple in (self.middle, self.before, self.after))
            found.append(BoreBoundary(points, *numbers, self.back[own], self.ahead[own]))
        return found

    def peak(self, strength: np.ndarray) -> Peak:
        """Largest |B|, given at the points: of them, and of the vertices of the parabolas through each local maximum and its neighbours."""
        at, before, after = strength[self.middle], strength[self.before], strength[self.after]
        top = np.flatnonzero((at >= before) & (at >= after) & (at > NEAR_LARGEST * strength.max()))
        rise, fall = ((at - before) / self.back)[top], ((at - after) / self.ahead)[top]      # both >= 0
        width = (self.back + self.ahead)[top]
        slope = (rise * self.ahead[top] - fall * self.back[top]) / width                     # of the parabola, at the middle
        bend = (rise + fall) / width                                                         # minus half its second derivative
        curved = bend > 0
        heights = at[top] + np.divide(slope**2, 4 * bend, out=np.zeros_like(slope), where=curved)
        highest = int(strength.argmax())
        if heights.max(initial=-np.inf) <= strength[highest]:
            return Peak(float(strength[highest]), float(self.points.r[highest]), float(self.points.z[highest]))
        k = int(heights.argmax())
        r, z = self._beside(int(top[k]), float(slope[k] / (2 * bend[k])) if curved[k] else 0.0)
        return Peak(float(heights[k]), r, z)

    def _beside(self, k: int, distance: float) -> tuple[float, float]:
        """The place `distance` metres from the middle point of triple k, towards the one after it where positive."""
        other, reach = (self.after[k], self.ahead[k]) if distance > 0 else (self.before[k], self.back[k])
        share, start = abs(distance) / reach, self.middle[k]
        return tuple(float(x[start] + share * (x[other] - x[start])) for x in (self.points.r, self.points.z))


def bores_on(section: CrossSection, mesh: Mesh) -> dict[str, Bore]:
    """The bores by region, as the turns of their coils are on the mesh; none where a line current makes the field infinite."""
    if any(not part.zones for part in section.parts):
        return {}
    bounds = {region: part_bounds(mesh, section.coil_of_bore(region)) for region in section.bores}
    return {region: Bore(r_min, z_min, z_max) for region, (r_min, _, z_min, z_max) in bounds.items()}


def part_bounds(mesh: Mesh, name: str) -> tuple[float, float, float, float]:
    """Smallest and largest r, smallest and largest z of a part as it is on the mesh, metres."""
    r, z = mesh.nodes[_part_nodes(mesh.topology, name)].T
    return float(r.min()), float(r.max()), float(z.min()), float(z.max())


@lru_cache(maxsize=8)
def _part_nodes(topology: Topology, name: str) -> np.ndarray:
    """Numbers of the nodes of a part."""
    return np.unique(topology.mesh.triangles[topology.mesh.part_triangles(name)])


def sharp_magnetic_parts(section: CrossSection) -> tuple[str, ...]:
    """Names of the parts at whose edges |B| is unbounded."""
    return tuple(part.name for part in section.parts if len(magnetic_edges(part)))


def bore_peak(section: CrossSection, mesh: Mesh, region: str, total: np.ndarray) -> Peak:
    """Largest |B| of a bore, from the nodal u (n,) of the whole field in tesla."""
    return stacked_bore_peaks(section, as_stack(mesh), [bores_on(section, mesh)[region]], total)[0]


def stacked_bore_peaks(section: CrossSection, stack: MeshStack, bores: Sequence[Bore], total: np.ndarray) -> list[Peak]:
    """The same on each mesh of a stack, where the bore is as `bores` says, from the nodal u (t n,) of the whole fields."""
    boundary = bore_boundary(stack, bores, sharp_magnetic_parts(section))
    rough, owner = strength_by_triangles(stack, boundary.points, total), boundary.points.triangle // stack.count
    first = np.searchsorted(owner, np.arange(len(stack.meshes)))
    boundary = boundary.where_strong(rough, np.maximum.reduceat(rough, first)[owner])[0]
    points = boundary.points
    u, u_r, u_z = recovered_values(stack, total, points.triangle, points.place, points.r, points.z)
    strength, counts = np.hypot(points.r * u_z, 2 * u + points.r * u_r), np.bincount(points.triangle // stack.count)
    of_each = np.split(strength, np.cumsum(counts)[:-1])
    return [each.peak(values) for each, values in zip(boundary.split(counts), of_each, strict=True)]


def strength_by_triangles(mesh: Mesh | MeshStack, points: LocatedPoints, total: np.ndarray) -> np.ndarray:
    """|B| at points by the slopes of the triangles they are in; (q,)."""
    return np.hypot(*sample(mesh, points.triangle, points.place[:, None]).flux_density(total))[:, 0]


def bore_boundary(stack: MeshStack, bores: Sequence[Bore], unbounded: tuple[str, ...] = ()) -> BoreBoundary:
    """The borders of a bore on each mesh of a stack: lines along its cylinder and ends, and the surfaces of the bodies in it, in air.

    What is nearer than EDGE_CLEARANCE of the bore's radius to `unbounded` parts, at whose edges B has no bound, is left out.
    """
    candidates = [_candidates(mesh, bore) for mesh, bore in zip(stack.meshes, bores, strict=True)]
    on_lines = locate_in_each(stack, [lines for lines, _, _ in candidates], (AIR,))
    of_node, place_of_node = _nodes_in_air(stack.topology)
    located = [
        LocatedPoints(*np.concatenate([lines, mesh.nodes[surface]]).T, np.concatenate([triangle, of_node[surface] + i * stack.count]),
                      np.concatenate([place, place_of_node[surface]]))
        for i, (mesh, (lines, surface, _), (triangle, place)) in enumerate(zip(stack.meshes, candidates, on_lines, strict=True))
    ]
    before = np.cumsum([0, *(len(points.r) for points in located)])
    triples = np.concatenate([of_mesh + k for (_, _, of_mesh), k in zip(candidates, before, strict=False)])
    is_near = [_is_near(mesh, unbounded, points, EDGE_CLEARANCE * bore.radius)
               for mesh, points, bore in zip(stack.meshes, located, bores, strict=True)]
    points = concatenate_points(located)
    return _smooth_boundary(points, triples, (points.triangle >= 0) & ~np.concatenate(is_near))


def _candidates(mesh: Mesh, bore: Bore) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points (q, 2) on a bore's lines, nodes on the surfaces inside it, and triples (k, 3) of such one after the other, by number."""
    lines, surface = bore_lines(mesh, bore), surface_nodes_inside(mesh, bore)
    starts = np.cumsum([0, *map(len, lines)])
    number = np.full(mesh.size, -1)
    number[surface] = starts[-1] + np.arange(len(surface))
    on_surface = number[_surface_triples(mesh.topology)]
    on_lines = [np.arange(start, end - 2)[:, None] + np.arange(3) for start, end in itertools.pairwise(starts)]
    return np.concatenate(lines), surface, np.concatenate([*on_lines, on_surface[(on_surface >= 0).all(axis=1)]])


def _smooth_boundary(points: LocatedPoints, triples: np.ndarray, kept: np.ndarray) -> BoreBoundary:
    """Those of the points that are kept, and of the triples of such those across which the border is smooth and evenly spaced."""
    places, triples = np.column_stack([points.r, points.z]), triples[kept[triples].all(axis=1)]
    before, middle, after = places[triples.T]
    one, other = middle - before, after - middle
    back, ahead = np.hypot(*one.T), np.hypot(*other.T)
    even = np.maximum(back, ahead) < MAX_SPACING_RATIO * np.minimum(back, ahead)
    smooth = even & ((one * other).sum(axis=1) > MIN_BEND_COSINE * back * ahead)
    before, middle, after = triples.T
    return BoreBoundary(points, middle, before, after, back, ahead).subset(kept, np.flatnonzero(smooth))


def _is_near(mesh: Mesh, parts: tuple[str, ...], points: LocatedPoints, distance: float) -> np.ndarray:
    """Whether each of the points is nearer than a distance to a node of some parts; (q,)."""
    if not parts:
        return np.zeros(len(points.r), dtype=bool)
    from scipy.spatial import cKDTree  # slow to load, and most bores have no such edges

    nodes = np.unique(np.concatenate([mesh.triangles[mesh.part_triangles(name)].ravel() for name in parts]))
    return cKDTree(mesh.nodes[nodes]).query(np.column_stack([points.r, points.z]))[0] < distance


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
    edges = surface_edges(topology)
    ends = np.concatenate([edges[:, :2], edges[:, :0:-1]])                   # (corner, middle node) from either end
    ends = ends[np.argsort(ends[:, 0], kind="stable")]
    pair = np.flatnonzero(ends[1:, 0] == ends[:-1, 0])
    return np.concatenate([edges, np.column_stack([ends[pair, 1], ends[pair, 0], ends[pair + 1, 1]])])
