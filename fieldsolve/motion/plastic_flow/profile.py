"""The section of a body that has flowed: its outline and its thickness."""
from __future__ import annotations

import numpy as np

from fieldsolve.motion.plastic_flow.quad_mesh import QuadMesh

RIM = 0.1                  # of the outer radius: the ring over which the rim's thickness is a mean
SLICES = 50                # of that ring


def outline(mesh: QuadMesh, part: str) -> np.ndarray:
    """Nodes around the section of a part, counter-clockwise, edges on the axis included; `positions[outline]` is its polygon."""
    quads = mesh.quads[mesh.cells_of(part)]
    edges = np.stack([quads, np.roll(quads, -1, axis=1)], axis=-1).reshape(-1, 2)
    inner = {tuple(edge) for edge in edges[:, ::-1].tolist()}
    following = {first: second for first, second in edges.tolist() if (first, second) not in inner}
    path = [min(following)]
    while (node := following[path[-1]]) != path[0]:
        path.append(node)
    return np.array(path)


def thickness(mesh: QuadMesh, positions: np.ndarray, part: str, radius: np.ndarray) -> np.ndarray:
    """Length of metal along z in m at each radius in m, the sum of the chords of its cells; 0 in a hole and beyond the rim.

    positions (nodes, 2) m; radius and result (n,)
    """
    return chords(positions[mesh.quads[mesh.cells_of(part)]], np.maximum(radius, 1e-9 * positions[:, 0].max()))


def chords(polygons: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Sum in m of the chords along z of convex polygons (cells, corners, 2) at each radius in m; shape of `radius`."""
    r = np.asarray(radius, dtype=float)
    low, high = polygons[:, :, 0].min(axis=1), polygons[:, :, 0].max(axis=1)
    place, cell = np.nonzero((low < r[:, None]) & (high >= r[:, None]))                    # the cells that each radius passes through
    first, r = polygons[cell], r[place, None]
    second = np.roll(first, -1, axis=1)
    crosses = (first[:, :, 0] < r) != (second[:, :, 0] < r)                       # (passed, corners)
    run = second[:, :, 0] - first[:, :, 0]
    share = (r - first[:, :, 0]) / np.where(run == 0, 1.0, run)
    z = first[:, :, 1] + share * (second[:, :, 1] - first[:, :, 1])
    chord = np.where(crosses, z, -np.inf).max(axis=1) - np.where(crosses, z, np.inf).min(axis=1)
    return np.bincount(place, chord, len(radius))


def thicknesses(mesh: QuadMesh, positions: np.ndarray, part: str) -> dict[str, float]:
    """Thickness in m at the `axis`, at `mid-radius` (half the largest radius) and at the `rim` (mean over the outer tenth of it)."""
    outer = positions[mesh.nodes_of(part), 0].max()
    slices = outer * (1 - RIM + RIM * (np.arange(SLICES) + 0.5) / SLICES)
    at_axis, middle, *rim = thickness(mesh, positions, part, np.array([0.0, outer / 2, *slices]))
    return {"axis": float(at_axis), "mid-radius": float(middle), "rim": float(np.mean(rim))}


def radii(mesh: QuadMesh, positions: np.ndarray, part: str) -> tuple[float, float]:
    """Smallest and largest radius in m of a part's nodes: its hole and its rim."""
    r = positions[mesh.nodes_of(part), 0]
    return float(r.min()), float(r.max())
