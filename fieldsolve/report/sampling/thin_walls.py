"""Walls too thin for a picture, drawn thicker: positions of a thin part moved away from its middle surface."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from geometries.mesh import EDGE_NODES, Mesh

LEAST_SHARE = 0.012         # of the picture's larger side: a thinner wall is drawn that thick
MOST_OF_GAP = 0.8           # of the gap to the next metal that a thickened wall may fill
ROUND_FACTORS = (1, 2, 3, 5)    # times powers of ten: by how much a wall is drawn thicker

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class ThickWall:
    """A thin part drawn `factor` times as thick.

    axis     along which the wall is thickened: 0 along r, as of a tube, 1 along z, as of a plate
    along    (k,) rising coordinates in m along the other axis, and `middle` (k,) that of the middle surface there along `axis`
    """

    factor: float
    axis: int
    along: np.ndarray
    middle: np.ndarray

    def places(self, r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where points of the wall are drawn, m."""
        across, along = (r, z) if self.axis == 0 else (z, r)
        middle = np.interp(along, self.along, self.middle)
        drawn = middle + self.factor * (across - middle)
        return (drawn, z) if self.axis == 0 else (r, drawn)


def thick_walls(mesh: Mesh, names, box: Box) -> dict[str, ThickWall]:
    """The parts whose wall a picture of a box (r_min, r_max, z_min, z_max) in m would not show, and how each is drawn thicker."""
    side = max(box[1] - box[0], box[3] - box[2])
    found = {name: _thick_wall(mesh, name, LEAST_SHARE * side) for name in names}
    return {name: wall for name, wall in found.items() if wall is not None}


def mesh_as_drawn(mesh: Mesh, walls: Mapping[str, ThickWall]) -> Mesh:
    """A mesh with the nodes of its thin walls where they are drawn."""
    nodes = mesh.nodes.copy()
    for name, wall in walls.items():
        chosen = np.unique(mesh.triangles[mesh.part_triangles(name)])
        nodes[chosen] = np.stack(wall.places(*mesh.nodes[chosen].T), axis=1)
    return replace(mesh, nodes=nodes) if walls else mesh


def describe_walls(walls: Mapping[str, ThickWall]) -> str:
    """What is drawn thicker, in words; nothing where nothing is."""
    return ", ".join(f"{name} drawn {wall.factor:g} times as thick" for name, wall in walls.items())


def _thick_wall(mesh: Mesh, name: str, least: float) -> ThickWall | None:
    loop = _border(mesh, name)
    if loop is None:
        return None
    points = mesh.nodes[loop]
    axis = int(np.ptp(points[:, 0]) > np.ptp(points[:, 1]))
    along, thickness, middle = _faces(points, axis)
    typical = float(np.median(thickness))
    if not 0 < typical < least or np.ptp(along) < least:
        return None
    factor = _round_down(max(1.0, min(least, typical + MOST_OF_GAP * _gap(mesh, name)) / typical))
    return ThickWall(factor, axis, along, middle) if factor > 1 else None


def _border(mesh: Mesh, name: str) -> np.ndarray | None:
    """Nodes once round a part of one piece, in order; None for a part of several."""
    edges = mesh.triangles[mesh.part_triangles(name)][:, EDGE_NODES].reshape(-1, 3)
    if not len(edges):
        return None
    _, first, count = np.unique(edges[:, 2], return_index=True, return_counts=True)
    following = {int(a): (int(middle), int(b)) for a, b, middle in edges[first[count == 1]]}
    node, path = min(following), []
    for _ in range(len(following)):
        if node not in following:
            return None
        middle, after = following[node]
        path += [node, middle]
        node = after
    return np.array(path) if node == path[0] and len(set(path)) == len(path) else None


def _faces(points: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coordinates along a wall, its thickness and its middle there, from the points round it."""
    along, across = points[:, 1 - axis], points[:, axis]
    start, end = sorted((int(along.argmin()), int(along.argmax())))
    faces = [np.arange(start, end + 1), np.append(np.arange(end, len(points)), np.arange(0, start + 1))]
    common = np.unique(along)
    values = []
    for face in faces:
        order = face[np.argsort(along[face], kind="stable")]
        values.append(np.interp(common, along[order], across[order]))
    for k in (0, -1):                                                   # the end faces, on which many points have one coordinate along
        ends = across[along == common[k]]
        values[0][k], values[1][k] = ends.min(), ends.max()
    return common, np.abs(values[0] - values[1]), 0.5 * (values[0] + values[1])


def _gap(mesh: Mesh, name: str) -> float:
    """Distance in m from a part to the nearest other metal; infinite where there is none."""
    from scipy.spatial import cKDTree

    own = np.unique(mesh.triangles[mesh.part_triangles(name)])
    others = [np.unique(mesh.triangles[mesh.part_triangles(other)]) for other in {part for part, _ in mesh.regions} - {name}]
    if not others:
        return float("inf")
    return float(cKDTree(mesh.nodes[np.concatenate(others)]).query(mesh.nodes[own])[0].min())


def _round_down(factor: float) -> float:
    """The largest of 1, 2, 3, 5 times a power of ten that is not above a factor of at least 1."""
    steps = [float(m * 10**power) for power in range(4) for m in ROUND_FACTORS]
    return max(step for step in steps if step <= max(factor, 1.0))
