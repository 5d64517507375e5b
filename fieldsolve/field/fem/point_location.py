"""Which triangle holds a point, and where in it."""
from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from fieldsolve.field.fem.mesh_stack import MeshStack
from fieldsolve.field.fem.reference_triangle import shape_functions_and_gradients
from fieldsolve.field.fem.triangle_neighbours import triangles_around
from geometries.mesh import EXTERIOR, Mesh, Topology

NEAREST = 10            # triangles tried first, by their centroids
NEAREST_FIRST, INSIDE = 3, 1e-6     # of them, those tried first: a point so far inside one of them is in no other
FEW = 3                 # points for which no tree is built
ON_EDGE = 1e-9          # barycentric depth from which on a point is in a triangle, or on its edge
MAX_NEWTON_STEPS = 6    # from the straight triangle to the place in a curved one
SMALL_STEP = 1e-9       # barycentric step after which the place is known to rounding, for the next is its square
MAX_PAIRS = 40_000      # points times boxes compared at once: points along a line have few boxes round them all
MAX_BOXES = 4_000_000   # points times triangles up to which all boxes are looked through, which takes less than a tree


def locate(mesh: Mesh, r: np.ndarray, z: np.ndarray, regions: tuple[int, ...] | None = None,
           slack: float = 1e-9, first: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Triangle number (q,), -1 where there is none, and barycentric coordinates (q, 3) of points.

    A point on an edge is in one of the triangles beside it: in that of `first` (q,), numbers of triangles to look into before all
    others, where it is inside this one.
    `regions` narrows the search to some regions of the mesh, so that a point on a border is looked up on the wanted side and the
    exterior domain is separated from the inner one; None is the whole inner one.  A point is inside down to a barycentric -slack.
    """
    chosen, points = _triangles_in(mesh.topology, regions), np.column_stack([r, z])
    triangle, place = np.full(len(points), -1), np.zeros((len(points), 3))
    if first is not None:
        triangle, place = _deepest(mesh, first[:, None], points, slack)
        triangle[first < 0] = -1
    unresolved = np.flatnonzero(triangle < 0)
    if 0 < len(unresolved) * len(chosen) <= MAX_BOXES:
        triangle[unresolved], place[unresolved] = _in_boxes(mesh, regions, points[unresolved], slack)
        return triangle, place
    if len(unresolved) > FEW:
        near = chosen[_tree(mesh, regions).query(points[unresolved], k=min(NEAREST, len(chosen)))[1].reshape(len(unresolved), -1)]
        triangle[unresolved], place[unresolved] = _deepest(mesh, near[:, :NEAREST_FIRST], points[unresolved], -INSIDE)
        near, unresolved = near[triangle[unresolved] < 0], unresolved[triangle[unresolved] < 0]
        triangle[unresolved], place[unresolved] = _deepest(mesh, near, points[unresolved], slack)
    for k in np.flatnonzero(triangle < 0):               # rare: few points, a large cell beside many small ones, or outside
        low, high = _boxes(mesh, regions)
        boxes = np.flatnonzero(((points[k] >= low) & (points[k] <= high)).all(axis=1))
        if len(boxes):
            triangle[k:k + 1], place[k:k + 1] = _deepest(mesh, chosen[None, boxes], points[k:k + 1], slack)
    return triangle, place


def locate_in_each(stack: MeshStack, places: Sequence[np.ndarray],
                   regions: tuple[int, ...] | None = None) -> list[tuple[np.ndarray, np.ndarray]]:
    """Triangles, numbered as in a stack, and barycentric coordinates of points (q, 2) looked up in each of its meshes, as by `locate`.

    From mesh to mesh nodes and points move little: they are first looked for in the triangles that they are in on the first mesh, and
    around these.
    """
    known, _ = locate(stack.meshes[0], *places[0].T, regions)
    counts, points = np.array([len(each) for each in places]), np.concatenate(places)
    near = np.concatenate([known if len(each) == len(known) else np.full(len(each), -1) for each in places])
    number = np.repeat(np.arange(len(places)), counts)
    triangle, place = _locate_near(stack, number, near, points, regions)
    for i in np.unique(number[triangle < 0]):
        at = np.flatnonzero((triangle < 0) & (number == i))
        found, place[at] = locate(stack.meshes[i], *points[at].T, regions)
        triangle[at] = np.where(found < 0, -1, found + i * stack.count)
    ends = np.cumsum(counts)[:-1]
    return list(zip(np.split(triangle, ends), np.split(place, ends), strict=True))


def _locate_near(stack: MeshStack, number: np.ndarray, near: np.ndarray, points: np.ndarray,
                 regions: tuple[int, ...] | None) -> tuple[np.ndarray, np.ndarray]:
    """The points of meshes by number (q,) in or around the triangles `near` (q,), -1 for none; -1 where they may be elsewhere, too.

    A point well inside a triangle is in no other, and all that have one on their edges with the triangle near it are around that.
    """
    triangle, place = _deepest(stack, (number * stack.count + near)[:, None], points, -INSIDE)
    triangle[near < 0] = -1
    beside = np.flatnonzero((triangle < 0) & (near >= 0))
    around, point = triangles_around(stack.topology, near[beside])
    allowed = np.isin(around, _triangles_in(stack.topology, regions))
    pairs = np.unique(point[allowed] * stack.count + around[allowed])
    point, around = np.divmod(pairs, stack.count)
    found, inside = _best_of(stack, point, around + number[beside[point]] * stack.count, points[beside], ON_EDGE)
    certain = (found >= 0) & ((inside.min(axis=1) >= INSIDE) | (place[beside].min(axis=1) >= -ON_EDGE))
    triangle[beside[certain]], place[beside[certain]] = found[certain], inside[certain]
    return triangle, place


@lru_cache(maxsize=16)
def _triangles_in(topology: Topology, regions: tuple[int, ...] | None) -> np.ndarray:
    """Triangles of the regions."""
    region = topology.mesh.region
    return np.flatnonzero(region != EXTERIOR if regions is None else np.isin(region, regions))


@lru_cache(maxsize=16)
def _boxes(mesh: Mesh, regions: tuple[int, ...] | None) -> tuple[np.ndarray, np.ndarray]:
    """Bounding boxes of the triangles of the regions."""
    nodes = mesh.nodes[mesh.triangles[_triangles_in(mesh.topology, regions)].T]
    low, high = nodes.min(axis=0), nodes.max(axis=0)
    margin = 0.05 * (high - low)
    return low - margin, high + margin


def _in_boxes(mesh: Mesh, regions: tuple[int, ...] | None, points: np.ndarray, slack: float) -> tuple[np.ndarray, np.ndarray]:
    """Of the triangles whose boxes hold a point the one in which it lies; on an edge that with the nearest centroid; for each point."""
    low, high = _boxes(mesh, regions)
    point, box = _boxes_round([side.copy() for side in (*low.T, *high.T)], np.arange(len(low)), points)
    candidates = _triangles_in(mesh.topology, regions)[box]
    return _best_of(mesh, point, candidates, points, slack)


def _best_of(mesh: Mesh | MeshStack, point: np.ndarray, candidates: np.ndarray, points: np.ndarray,
             slack: float) -> tuple[np.ndarray, np.ndarray]:
    """Of pairs of a point, by number, and a triangle that of each point (q, 2) that holds it; on an edge that with the nearest centroid."""
    place = _barycentric(mesh, candidates, points[point])
    depth = place.min(axis=1)
    distance = np.hypot(*(mesh.corners_of(candidates).mean(axis=1) - points[point]).T)
    order = np.lexsort((-distance, np.minimum(depth + ON_EDGE, 0.0), point))          # the best of each point comes last
    last = order[np.flatnonzero(np.diff(point[order], append=-1))]
    last = last[depth[last] >= -slack]
    triangle, places = np.full(len(points), -1), np.zeros((len(points), 3))
    triangle[point[last]], places[point[last]] = candidates[last], place[last]
    return triangle, places


def _boxes_round(bounds: list[np.ndarray], among: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of a point and a box that holds it, by point, as numbers of both.

    bounds  the lowest r, z and the highest r, z of the boxes;  among  numbers of the boxes that are looked through
    """
    low_r, low_z, high_r, high_z = (side[among] for side in bounds)
    (r_min, z_min), (r_max, z_max) = points.min(axis=0), points.max(axis=0)
    near = np.flatnonzero((low_r <= r_max) & (high_r >= r_min) & (low_z <= z_max) & (high_z >= z_min))
    if len(points) > 1 and len(points) * len(near) > MAX_PAIRS:
        half = len(points) // 2
        first, second = (_boxes_round(bounds, among[near], some) for some in (points[:half], points[half:]))
        return np.concatenate([first[0], half + second[0]]), np.concatenate([first[1], second[1]])
    r, z = points.T[..., None]
    point, box = np.nonzero((low_r[near] <= r) & (r <= high_r[near]) & (low_z[near] <= z) & (z <= high_z[near]))
    return point, among[near[box]]


@lru_cache(maxsize=16)
def _tree(mesh: Mesh, regions: tuple[int, ...] | None):
    """A tree of the centroids of the regions' triangles."""
    from scipy.spatial import cKDTree
    a, b, c = np.moveaxis(mesh.corners_of(_triangles_in(mesh.topology, regions)), 1, 0)
    return cKDTree((a + b + c) / 3)


def _deepest(mesh: Mesh | MeshStack, candidates: np.ndarray, points: np.ndarray, slack: float) -> tuple[np.ndarray, np.ndarray]:
    """The candidate (q, c) in which each point lies deepest."""
    place = _barycentric(mesh, candidates, points[:, None])
    depth = np.minimum(np.minimum(place[..., 0], place[..., 1]), place[..., 2])
    best = depth.argmax(axis=1)
    rows = np.arange(len(points))
    found = depth[rows, best] >= -slack
    return np.where(found, candidates[rows, best], -1), place[rows, best]


def _barycentric(mesh: Mesh | MeshStack, triangles: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Barycentric coordinates of points in triangles: Newton from the straight triangle, exact there at once."""
    first, second, third = np.moveaxis(mesh.corners_of(triangles), -2, 0)
    a, b, offset = second - first, third - first, points - first
    place = _shifted(np.broadcast_to([1.0, 0.0, 0.0], (*triangles.shape, 3)), a, b, offset)
    curved = mesh.curved[triangles]
    target = np.broadcast_to(points, offset.shape)[curved]
    x = mesh.nodes[mesh.triangles[triangles[curved]]]
    at = place[curved]
    for _ in range(MAX_NEWTON_STEPS if len(at) else 0):
        value, slope = shape_functions_and_gradients(at, mesh.order)
        slope, gap = slope @ x, target - (value[:, None] @ x)[:, 0]
        before, at = at, _shifted(at, slope[:, 0], slope[:, 1], gap)
        if not np.abs(at - before).max() > SMALL_STEP:              # also where it is not a number
            break
    place[curved] = at
    return place


def _shifted(place: np.ndarray, a: np.ndarray, b: np.ndarray, gap: np.ndarray) -> np.ndarray:
    """Barycentric coordinates moved by the (r, z) offset `gap`, where `a` and `b` are the reference directions."""
    determinant = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    s = (gap[..., 0] * b[..., 1] - gap[..., 1] * b[..., 0]) / determinant
    t = (a[..., 0] * gap[..., 1] - a[..., 1] * gap[..., 0]) / determinant
    return np.stack([place[..., 0] - s - t, place[..., 1] + s, place[..., 2] + t], axis=-1)
