"""Air meshed anew around bodies that stay as they are: the part of a moving mesh that has no history."""
from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from geometries.curved_edges import has_curved_edge
from geometries.errors import MeshError
from geometries.gmsh_session import failures_as_mesh_errors, gmsh_session
from geometries.mesh import AIR, EDGE_NODES, Mesh, Topology

GROWTH = 0.3            # growth of the cell size per metre of distance from the kept edges
LARGEST = 1 / 8         # cell size in units of the open radius
TRIANGLE = 2            # gmsh's number for triangles of first order


@dataclass(frozen=True, eq=False)
class AirBoundary:
    """Edges (k, 3) around the air, each with the air on its left: end, end, middle; and whether it lies on the axis."""

    edges: np.ndarray
    on_axis: np.ndarray


def number_air_last(mesh: Mesh) -> tuple[Mesh, int]:
    """The same mesh with all but the air numbered first, triangles and nodes; and the number of nodes that the air does not own."""
    order = np.argsort(mesh.region == AIR, kind="stable")
    renumbered = np.argsort(order)
    kept = np.zeros(mesh.size, dtype=bool)
    kept[mesh.triangles[mesh.region != AIR]] = True
    nodes_order = np.argsort(~kept, kind="stable")
    number = np.argsort(nodes_order)
    first = replace(mesh, nodes=mesh.nodes[nodes_order], triangles=number[mesh.triangles[order]], region=mesh.region[order],
                    curved=mesh.curved[order], arc_edges=number[mesh.arc_edges],
                    mapped={zone: renumbered[cells] for zone, cells in mesh.mapped.items()})
    return first, int(kept.sum())


def remesh_air(mesh: Mesh, kept: int) -> Mesh:
    """A mesh numbered by `number_air_last` with new air: the first `kept` nodes and the triangles on them stay.

    Raises MeshError where the mesher gives up.
    """
    boundary = air_boundary(mesh)
    corners, places = _triangulate(mesh, boundary, kept)
    triangles, middles = _with_middles(np.concatenate([mesh.nodes[:kept], places]), corners, boundary)
    nodes = np.concatenate([mesh.nodes[:kept], places, middles])
    solid = int((mesh.region != AIR).sum())
    everything = np.concatenate([mesh.triangles[:solid], triangles])
    region = np.concatenate([mesh.region[:solid], np.full(len(triangles), AIR)])
    return replace(mesh, nodes=nodes, triangles=everything, region=region, curved=has_curved_edge(nodes, everything))


def air_boundary(mesh: Mesh) -> AirBoundary:
    """The edges of air triangles that no other air triangle has."""
    return _air_boundary(mesh.topology)


@lru_cache(maxsize=2)
def _air_boundary(topology: Topology) -> AirBoundary:
    mesh = topology.mesh
    air = mesh.triangles[mesh.region == AIR]
    edges = air[:, EDGE_NODES].reshape(-1, 3)
    key = np.sort(edges[:, :2], axis=1) @ np.array([mesh.size, 1])
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    single = edges[count[inverse.ravel()] == 1]
    return AirBoundary(single, (mesh.nodes[single[:, :2], 0] == 0).all(axis=1))


def boundary_loops(boundary: AirBoundary) -> list[np.ndarray]:
    """The boundary's edges in closed chains of edge numbers, the air on their left."""
    starts = {int(node): k for k, node in enumerate(boundary.edges[:, 0])}
    if len(starts) != len(boundary.edges):
        raise MeshError("two bodies touch in a single point, around which the air cannot be meshed anew: move them apart")
    left, found = set(range(len(boundary.edges))), []
    while left:
        chain = [left.pop()]
        while (after := starts[int(boundary.edges[chain[-1], 1])]) != chain[0]:
            left.remove(after)
            chain.append(after)
        found.append(np.array(chain))
    return found


def _triangulate(mesh: Mesh, boundary: AirBoundary, kept: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of the air by their corners (m, 3), and the positions of the new ones, which are numbered from `kept` on."""
    with gmsh_session() as gmsh, failures_as_mesh_errors():
        point_of = _draw(gmsh, mesh, boundary)
        _set_sizes(gmsh, mesh, boundary)
        gmsh.model.mesh.generate(2)
        tags, coordinates, _ = gmsh.model.mesh.getNodes()
        number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
        for node, point in point_of.items():
            number[gmsh.model.mesh.getNodes(0, point)[0][0]] = node
        new = tags[number[tags] < 0]
        number[new] = kept + np.arange(len(new))
        place = np.zeros((len(number), 2))
        place[tags] = coordinates.reshape(-1, 3)[:, :2]
        return number[gmsh.model.mesh.getElementsByType(TRIANGLE)[1]].reshape(-1, 3), place[new]


def _draw(gmsh, mesh: Mesh, boundary: AirBoundary) -> dict[int, int]:
    """Draw the air; edges of the boundary are lines of one cell, the axis is free.  Points by node number."""
    geo = gmsh.model.geo
    point_of = {int(node): geo.addPoint(*mesh.nodes[node], 0.0) for node in np.unique(boundary.edges[~boundary.on_axis, :2])}
    curve_loops = {}
    for chain in boundary_loops(boundary):
        tags = [geo.addLine(point_of[a], point_of[b]) for a, b in _lines(boundary, chain)]
        curve_loops[geo.addCurveLoop(tags)] = chain
    for outside, holes in _faces(mesh, boundary, curve_loops):
        geo.addPlaneSurface([outside, *holes])
    geo.synchronize()
    kept = {frozenset((point_of[int(a)], point_of[int(b)])) for a, b in boundary.edges[~boundary.on_axis, :2]}
    for _, tag in gmsh.model.getEntities(1):
        ends = frozenset(point for _, point in gmsh.model.getBoundary([(1, tag)], oriented=False))
        if ends in kept:
            gmsh.model.mesh.setTransfiniteCurve(tag, 2)
    return point_of


def _lines(boundary: AirBoundary, chain: np.ndarray) -> list[tuple[int, int]]:
    """Ends of the lines of a chain; its edges on the axis between two kept nodes are one line."""
    first = int(np.flatnonzero(~boundary.on_axis[chain])[0])
    lines, start = [], None
    for k in np.roll(chain, -first):
        a, b = map(int, boundary.edges[k, :2])
        if not boundary.on_axis[k]:
            if start is not None:
                lines.append((start, a))
            lines.append((a, b))
            start = None
        elif start is None:
            start = a
    if start is not None:
        lines.append((start, lines[0][0]))
    return lines


def _faces(mesh: Mesh, boundary: AirBoundary, curve_loops: dict[int, np.ndarray]) -> list[tuple[int, list[int]]]:
    """Each loop around air with the holes in it: loops that run clockwise, in the smallest loop that holds them."""
    from shapely import Polygon
    polygons = {loop: Polygon(mesh.nodes[boundary.edges[chain, 0]]) for loop, chain in curve_loops.items()}
    holes = {loop: [] for loop, polygon in polygons.items() if polygon.exterior.is_ccw}
    for loop in polygons.keys() - holes.keys():
        around = [face for face in holes if polygons[face].contains(polygons[loop].representative_point())]
        holes[min(around, key=lambda face: polygons[face].area)].append(loop)
    return list(holes.items())


def _set_sizes(gmsh, mesh: Mesh, boundary: AirBoundary) -> None:
    """Background sizes at the corners of the old air: they grow from the kept edges' own lengths."""
    air = mesh.triangles[mesh.region == AIR][:, :3]
    used, local = np.unique(air, return_inverse=True)
    ends = mesh.nodes[boundary.edges[~boundary.on_axis, :2]]
    length, middle = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), ends.mean(axis=1)
    (r, z), (r_edge, z_edge) = mesh.nodes[used].T, middle.T
    size = np.sqrt((r[:, None] - r_edge) ** 2 + (z[:, None] - z_edge) ** 2)
    size *= GROWTH
    size += (1 - 0.5 * GROWTH) * length
    size = np.maximum(size, length, out=size).min(axis=1)
    size = np.minimum(size, LARGEST * mesh.open_radius)[local.reshape(air.shape)]
    corners = mesh.nodes[air]
    data = np.concatenate([corners[:, :, 0], corners[:, :, 1], np.zeros_like(size), size], axis=1)
    view = gmsh.view.add("sizes")
    gmsh.view.addListData(view, "ST", len(data), data.ravel())
    field = gmsh.model.mesh.field.add("PostView")
    gmsh.model.mesh.field.setNumber(field, "ViewTag", view)
    gmsh.model.mesh.field.setAsBackgroundMesh(field)


def _with_middles(nodes: np.ndarray, corners: np.ndarray, boundary: AirBoundary) -> tuple[np.ndarray, np.ndarray]:
    """Six-node triangles, counter-clockwise, on the boundary's own middle nodes; and the positions of new middles, each half-way."""
    a, b, c = nodes[corners.T]
    clockwise = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    corners = np.where(clockwise[:, None], corners[:, [0, 2, 1]], corners)
    ends = np.sort(corners[:, EDGE_NODES[:, :2]].reshape(-1, 2), axis=1)
    given = np.sort(boundary.edges[~boundary.on_axis, :2], axis=1)
    size = len(nodes)
    keys, inverse = np.unique(ends @ np.array([size, 1]), return_inverse=True)
    middle = np.full(len(keys), -1)
    middle[np.searchsorted(keys, given @ np.array([size, 1]))] = boundary.edges[~boundary.on_axis, 2]
    new = middle < 0
    middle[new] = size + np.arange(new.sum())
    places = 0.5 * (nodes[keys[new] // size] + nodes[keys[new] % size])
    return np.concatenate([corners, middle[inverse.ravel()].reshape(-1, 3)], axis=1), places
