"""A mesh refined where it must be finer: edges longer than wanted are cut, without the mesher.

Cutting an edge cuts the triangles beside it, so no triangle is ever left with a node in the middle of an edge.  The edges that are too
long by most are cut first: cuts of all edges, which keep angles, come last.  After other cuts the small angles are made larger
(`mesh_improvement.py`).  New nodes of edges on circles and ellipses stand on these.  Regions, faces, sheets and the arc stay what they
are.  Mapped cells are not cut.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from geometries.cross_section import Section
from geometries.curved_edges import arc_edges_of, node_jacobians, preserve_areas
from geometries.drawing import arcs
from geometries.mapped import sort_into_columns
from geometries.mesh import EXTERIOR, Mesh
from geometries.mesh_improvement import Constraints, improved
from geometries.mesh_order import raised_mesh
from geometries.node_layout import edge_nodes
from geometries.node_numbers import renumber_nodes, stable_order
from geometries.outlines import Arc
from geometries.parts import ZoneKey
from geometries.triangle_edges import Edges, edges_of, find_edges, split_cells

TOO_LONG = math.sqrt(2)     # length of an edge over the wanted one from which on it is cut: its halves are then as much too short
TOLERATED = 1.25            # times that length may be left, where no longer edges are
FEW = 2e-3                  # share of edges longer than that which may be left
CLOSED = 0.75               # of the length from which on edges are cut, if both other edges of a triangle are
CLOSURES = 2                # rounds of such cuts, where no edge is cut again
MOST_HALVINGS = 8           # of an edge
PASSES = 12                 # at most


@dataclass(frozen=True, eq=False)
class _Corners:
    """The corners of a mesh's triangles, and those edges that mean something.

    nodes   (n, 2);  cells (m, 3) counter-clockwise
    origin  (m,) triangle of the mesh that each comes from
    chains  edges (k, 2) by what they are: ("circle", k) of the k-th circle or ellipse, ("arc", ""), ("face", name), ("sheet", name)
    fixed   (n,) nodes that are not moved
    """

    nodes: np.ndarray
    cells: np.ndarray
    origin: np.ndarray
    chains: dict[tuple[str, str | int], np.ndarray]
    fixed: np.ndarray


def refine_uniformly(section: Section, mesh: Mesh, order: int | None = None) -> Mesh:
    """Each triangle in four, all nodes of corners kept: a nested mesh, whose curved edges follow the outlines by their order.

    order   of the new triangles, default that of the mesh
    """
    circles = _circles(section, mesh)
    corners = _corners_of(mesh, circles)
    edges = edges_of(corners.cells, len(corners.nodes))
    cut = _cut(corners, edges, np.ones(len(edges.ends), dtype=bool), circles)
    mapped = {}
    for zone, triangles in mesh.mapped.items():
        members = np.flatnonzero(np.isin(cut.origin, triangles))
        mapped[zone] = members[sort_into_columns(cut.nodes[cut.cells[members]], 2 * triangles.shape[1])]
    return _raised(section, _six_node_mesh(section, mesh, cut, edges_of(cut.cells, len(cut.nodes)), circles, mapped), order or mesh.order)


def refine_locally(section: Section, mesh: Mesh, size: np.ndarray) -> Mesh | None:
    """A mesh whose edges are not much longer than the `size` (n,) wanted at the nodes, of which those at triangles' corners count.

    The sizes must grow gradually: where they jump angles become smaller.
    None where mapped cells would have to be cut, or where a curved edge turns a triangle inside out: then the mesher is needed.
    """
    circles, size = _circles(section, mesh), size[_corner_nodes(mesh)]
    corners, level = _corners_of(mesh, circles), MOST_HALVINGS
    edges = edges_of(corners.cells, len(corners.nodes))
    for number in range(PASSES):
        excess = _lengths(corners, edges) / (TOO_LONG * _middles(size, edges.ends))
        of_mapped = edges.of_cell[mesh.is_mapped[corners.origin]]
        if (excess[of_mapped] > 1).any():
            return None
        excess[of_mapped] = 0.0
        level = _next_level(excess, level)
        if level < 0 and (number > 0 or not (excess > 1).any()):
            break
        level = max(level, 0)                   # at first also where edges are too long by less than is tolerated
        marked = _marked(edges, excess / 2.0**level, CLOSURES if level == 0 else 0)
        corners = _cut(corners, edges, marked, circles)
        size = np.concatenate([size, _middles(size, edges.ends[marked])])
        if not marked.all():
            corners = _improved(mesh, corners, circles)
        edges = edges_of(corners.cells, len(corners.nodes))
    kept = np.full(len(mesh.triangles), -1)
    kept[corners.origin] = np.arange(len(corners.cells))
    mapped = {zone: kept[triangles] for zone, triangles in mesh.mapped.items()}
    refined = _six_node_mesh(section, mesh, corners, edges, circles, mapped)
    usable = (refined.area > 0).all() and (node_jacobians(refined.nodes[refined.triangles[refined.curved]]) > 0).all()
    return _raised(section, refined, mesh.order) if usable else None


def _next_level(excess: np.ndarray, largest: int) -> int:
    """The largest k with more than a few edges that are 2^k times too long, each of which would become 2^k; -1 if there are none."""
    return max((k for k in range(largest + 1) if 4**k * (excess > TOLERATED * 2.0**k).mean() >= FEW), default=-1)


def _marked(edges: Edges, excess: np.ndarray, closures: int) -> np.ndarray:
    """Edges whose length exceeds 1, and shorter ones where otherwise two edges of a triangle would be cut and the third not; (e,)."""
    marked = excess > 1
    for _ in range(closures):
        of_cell = edges.of_cell[marked[edges.of_cell].sum(axis=1) == 2]
        marked[of_cell[excess[of_cell] > CLOSED]] = True
    return marked


# ---- corners -----------------------------------------------------------------------------------------------------

def _circles(section: Section, mesh: Mesh) -> list[Arc]:
    """An arc of each circle or ellipse that edges may lie on."""
    return list({(arc.centre, arc.semi_axes): arc for arc in arcs(section, mesh.open_radius)}.values())


def _corner_nodes(mesh: Mesh) -> np.ndarray:
    return np.unique(mesh.triangles[:, :3])


def _corners_of(mesh: Mesh, circles: list[Arc]) -> _Corners:
    used = _corner_nodes(mesh)
    number = np.full(mesh.size, -1)
    number[used] = np.arange(len(used))
    chains = {("arc", ""): mesh.arc_edges[:, :2]}
    chains |= {("face", name): edges[:, :2] for name, edges in mesh.face_edges.items()}
    chains |= {("sheet", name): edges[:, :2] for name, edges in mesh.sheet_edges.items()}
    between = edge_nodes(mesh.order)[:, [0, 1, mesh.order // 2 + 1]]
    edges = mesh.triangles[mesh.curved][:, between].reshape(-1, 3)
    for k, circle in enumerate(circles):
        (_, _, on_circle), = arc_edges_of(mesh.nodes, edges, [circle])
        chains["circle", k] = np.unique(np.sort(edges[on_circle, :2], axis=1), axis=0)
    chains = {name: number[pairs] for name, pairs in chains.items()}
    ends = [np.flatnonzero(np.bincount(pairs.ravel(), minlength=1) == 1) for pairs in chains.values()]
    cells = number[mesh.triangles[:, :3]]
    fixed = np.zeros(len(used), dtype=bool)
    fixed[number[list(mesh.filament_node.values())]] = True
    fixed[cells[mesh.is_mapped]] = True
    fixed[np.concatenate(ends)] = True
    return _Corners(mesh.nodes[used], cells, np.arange(len(cells)), chains, fixed)


def _lengths(corners: _Corners, edges: Edges) -> np.ndarray:
    """Lengths of edges in metres, (e,)."""
    return np.hypot(*(corners.nodes[edges.ends[:, 1]] - corners.nodes[edges.ends[:, 0]]).T)


def _middles(values: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Means of values at nodes (n, ...) over the two ends of edges (e, 2); (e, ...)."""
    return 0.5 * (values[ends[:, 0]] + values[ends[:, 1]])


def _cut(corners: _Corners, edges: Edges, marked: np.ndarray, circles: list[Arc]) -> _Corners:
    """The marked edges (e,) cut at their middles, on circles at the middle of the arc."""
    n, count = len(corners.nodes), int(marked.sum())
    middle = np.full(len(edges.ends), -1)
    middle[marked] = n + np.arange(count)
    places = _middles(corners.nodes, edges.ends[marked])
    chains = {}
    for name, pairs in corners.chains.items():
        at = middle[find_edges(edges, pairs, n)]
        cut = at >= 0
        if name[0] == "circle":
            places[at[cut] - n] = circles[name[1]].reached_from(places[at[cut] - n])
        halves = np.stack([pairs[cut, 0], at[cut], at[cut], pairs[cut, 1]], axis=1).reshape(-1, 2)
        chains[name] = np.concatenate([pairs[~cut], halves])
    nodes = np.concatenate([corners.nodes, places])
    cells, parent = split_cells(corners.cells, middle[edges.of_cell], nodes)
    fixed = np.concatenate([corners.fixed, np.zeros(count, dtype=bool)])
    return _Corners(nodes, cells, corners.origin[parent], chains, fixed)


def _improved(mesh: Mesh, corners: _Corners, circles: list[Arc]) -> _Corners:
    """The corners with larger small angles; mapped cells stay."""
    region = np.where(mesh.is_mapped, -1, mesh.region - EXTERIOR)[corners.origin]
    on_circles = [(np.unique(pairs), circles[k]) for (kind, k), pairs in corners.chains.items() if kind == "circle"]
    constraints = Constraints(region, np.concatenate(list(corners.chains.values())), on_circles, corners.fixed)
    cells, nodes = improved(corners.cells, corners.nodes, constraints)
    return replace(corners, cells=cells, nodes=nodes)


# ---- meshes ------------------------------------------------------------------------------------------------------

def _raised(section: Section, mesh: Mesh, order: int) -> Mesh:
    return mesh if order == 2 else raised_mesh(mesh, order, arcs(section, mesh.open_radius))


def _six_node_mesh(section: Section, mesh: Mesh, corners: _Corners, edges: Edges, circles: list[Arc],
                   mapped: dict[ZoneKey, np.ndarray]) -> Mesh:
    """The mesh on these corners with these edges; of `mapped` the triangles are numbered as the cells are."""
    n = len(corners.nodes)
    middles = _middles(corners.nodes, edges.ends)
    on_circles = {k: find_edges(edges, pairs, n) for (kind, k), pairs in corners.chains.items() if kind == "circle"}
    for k, numbers in on_circles.items():
        middles[numbers] = circles[k].reached_from(middles[numbers])
    triangles = np.column_stack([corners.cells, n + edges.of_cell])
    nodes, number = renumber_nodes(np.concatenate([corners.nodes, middles]), triangles)
    triangles = number[triangles]
    nearby = stable_order(triangles.min(axis=1))
    triangles, place = triangles[nearby], np.argsort(nearby) if mapped else nearby
    on_circle = np.zeros(len(edges.ends), dtype=bool)
    on_circle[np.concatenate([np.zeros(0, dtype=int), *on_circles.values()])] = True
    curved = on_circle[edges.of_cell[nearby]].any(axis=1)
    nodes = preserve_areas(nodes, triangles[curved], arcs(section, mesh.open_radius))

    def chain(kind: str, name: str) -> np.ndarray:
        pairs = corners.chains[kind, name]
        return number[np.column_stack([pairs, n + find_edges(edges, pairs, n)])]
    old = np.searchsorted(_corner_nodes(mesh), list(mesh.filament_node.values())).astype(int)
    filaments = dict(zip(mesh.filament_node, number[old].tolist(), strict=True))
    return replace(mesh, nodes=nodes, triangles=triangles, region=mesh.region[corners.origin[nearby]], curved=curved,
                   arc_edges=chain("arc", ""), face_edges={name: chain("face", name) for name in mesh.face_edges},
                   sheet_edges={name: chain("sheet", name) for name in mesh.sheet_edges}, filament_node=filaments,
                   mapped={zone: place[cells] for zone, cells in mapped.items()})
