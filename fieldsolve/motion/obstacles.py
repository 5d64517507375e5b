"""What ends a motion: bodies that come too near to another part or to the end of the air, holes that close, cells that fold."""
from __future__ import annotations

from functools import lru_cache

import numpy as np

from fieldsolve.motion.contract import Body
from fieldsolve.motion.moving_mesh.moving_mesh import MovingMesh
from geometries.air_mesh import air_boundary
from geometries.mesh import Mesh, Topology

MESHED_RADIUS_SHARE = 0.95         # of the radius of the meshed air, beyond which a body leaves it
MIN_HOLE_CELLS = 2.0        # widths of the cells beside a hole: below, the energy of its flux is wrong by 0.5 % of a bank's
MIN_HOLE_SHARE = 0.05       # of the initial radius of a hole: below it the hole counts as closed
MIN_GAP = 0.02         # of a body's thickness: nearer to another part than this the run ends, because no mesh fits between


def describe_obstacle(bodies: tuple[Body, ...], moving: MovingMesh, mesh: Mesh, ahead: Mesh) -> str:
    """Why the bodies cannot go from where they are in `mesh` to where they are in `ahead`, in words."""
    degenerate = moving.degenerate_triangles(ahead)
    for body in bodies:
        folded = np.intersect1d(degenerate, body.triangle_indices)
        if len(folded):
            r, z = mesh.corners[folded[0]].mean(axis=0)
            return (f"{body.name} is folded at r = {1e3 * r:.2f} mm, z = {1e3 * z:.2f} mm, "
                    "moved there beyond what its cells can follow")
    return describe_contact(bodies, mesh) or "a body moves too fast"


def describe_contact(bodies: tuple[Body, ...], mesh: Mesh) -> str | None:
    """What a moving body has come too near to, in words; None if nothing."""
    radius = mesh.open_radius
    for body in bodies:
        r, z = mesh.nodes[body.nodes].T
        if radius is not None and np.hypot(r, z - mesh.centre).max() > MESHED_RADIUS_SHARE * radius:
            return f"{body.name} reaches {1e3 * MESHED_RADIUS_SHARE * radius:.3g} mm from the middle, where the meshed air ends"
    closed_hole = next((reason for body in bodies if (reason := _describe_closed_hole(body, mesh))), None)
    if closed_hole:
        return closed_hole
    for body in bodies:
        on_surface, other = _facing_surfaces(mesh.topology, body)
        nodes = mesh.nodes[on_surface]
        other = other[_is_near(mesh.nodes[other], nodes, MIN_GAP * body.thickness)] if len(nodes) else other[:0]
        if not len(other):
            continue
        distance = _distances(nodes, mesh.nodes[other[:, 0]], mesh.nodes[other[:, 1]])
        k = np.unravel_index(int(distance.argmin()), distance.shape)
        if distance[k] < MIN_GAP * body.thickness:
            r, z = nodes[k[0]]
            return f"{body.name} comes within {1e6 * distance[k]:.0f} um of another part at r = {1e3 * r:.2f} mm, z = {1e3 * z:.2f} mm"
    return None


@lru_cache(maxsize=32)
def _facing_surfaces(topology: Topology, body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Nodes on a body's border with the air, and the edges (k, 2) of all other metal's."""
    border = air_boundary(topology.mesh)
    edges = border.edges[~border.on_axis]
    of_body = np.isin(edges[:, 0], body.nodes)
    return np.unique(edges[of_body, :2]), edges[~of_body & ~np.isin(edges[:, 0], topology.mesh.arc_edges), :2]


def _describe_closed_hole(body: Body, mesh: Mesh) -> str | None:
    """That the hole of a body is closed, in words: the flux left in it is compressed beside cells that are too wide to follow it."""
    if body.initial_positions[:, 0].min() == 0:
        return None
    inner = body.nodes[mesh.nodes[body.nodes, 0].argmin()]
    r, z = mesh.nodes[inner]
    around = body.triangle_indices[(mesh.triangles[body.triangle_indices] == inner).any(axis=1)]
    width = np.ptp(mesh.corners_of(around)[:, :, 0], axis=1).max()
    if r > max(MIN_HOLE_CELLS * width, MIN_HOLE_SHARE * body.initial_positions[:, 0].min()):
        return None
    return (f"the hole of {body.name} closes: {1e3 * r:.2f} mm left at z = {1e3 * z:.2f} mm, beside cells {1e3 * width:.2f} mm wide, "
            "which cannot follow the flux that is compressed in it (finer ones can for longer)")


def _is_near(edges: np.ndarray, points: np.ndarray, reach: float) -> np.ndarray:
    """Which edges (k, 2, 2) come within reach of the box round some points; (k,)."""
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach
    return ((edges.max(axis=1) >= low) & (edges.min(axis=1) <= high)).all(axis=1)


def _distances(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of each point from each straight edge; shape (points, edges)."""
    along, offset = end - start, points[:, None] - start
    share = np.clip((offset * along).sum(axis=2) / (along**2).sum(axis=1), 0, 1)
    return np.linalg.norm(offset - share[:, :, None] * along, axis=2)
