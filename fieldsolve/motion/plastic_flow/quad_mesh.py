"""Bodies as quadrilaterals: rectangular zones cut along common lines, and points that ride on the cells."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.motion.plastic_flow.selective_mass_scaling import THIN
from geometries.parts import Part, ZoneKey

ROWS = 6                   # of cells across a body's shorter side, where it is stout
FEWEST = 2                 # rows across any zone that is not thin; each has two points of stress across it
STOUT = 45.0               # rows across times length over thickness, from which on there are fewer rows
ASPECT = 1.5               # of cells, the longer side along the body
MOST_ALONG = 60            # cells along a body, unless they would become shorter than ASPECT asks
TOUCHES = 1e-9             # of a body's size: two lines nearer than this are one
INSIDE = 1e-6              # of a cell's half length by which a point may lie outside it


@dataclass(frozen=True, eq=False)
class QuadMesh:
    """Quadrilaterals of revolution at rest, rectangles along r and z.

    nodes     (nodes, 2) r and z in m
    quads     (cells, 4) nodes of each, counter-clockwise from the lowest r and z
    zone      (cells,) number in `zones`
    zones     (part's name, number of the zone in it) of each zone
    on_axis   (nodes,) whether r = 0
    """

    nodes: np.ndarray
    quads: np.ndarray
    zone: np.ndarray
    zones: tuple[ZoneKey, ...]

    @property
    def on_axis(self) -> np.ndarray:
        return self.nodes[:, 0] == 0.0

    def nodes_of(self, part: str) -> np.ndarray:
        """Numbers of the nodes of one part."""
        return np.unique(self.quads[self.cells_of(part)])

    def cells_of(self, part: str) -> np.ndarray:
        """Numbers of the cells of one part."""
        return np.flatnonzero(np.array([name == part for name, _ in self.zones])[self.zone])


@dataclass(frozen=True, eq=False)
class Riders:
    """Points that move with the cells they lie in.

    nodes    (points, 4) nodes of each point's cell
    weights  (points, 4) the shape functions of these nodes there
    cell     (points,) number of the cell
    """

    nodes: np.ndarray
    weights: np.ndarray
    cell: np.ndarray

    def carried(self, values: np.ndarray) -> np.ndarray:
        """Positions or velocities (points, 2) of the points from those of the nodes (nodes, 2)."""
        return np.einsum("pk,pkx->px", self.weights, values[self.nodes])

    def forces(self, loads: np.ndarray, count: int) -> np.ndarray:
        """Forces (count, 2) on the nodes that do the same work as `loads` (points, 2) on the points."""
        spread = self.weights[:, :, None] * loads[:, None, :]
        return np.stack([np.bincount(self.nodes.ravel(), spread[:, :, k].ravel(), minlength=count) for k in (0, 1)], axis=1)


def quad_mesh(parts: Sequence[Part], fineness: float = 1.0) -> QuadMesh:
    """One mesh for all the bodies, each of rectangular zones that share nodes where they touch.

    fineness  2 halves the cells
    Raises InputError for a body whose zones are not rectangles along r and z.
    """
    return joined([mesh_of(part, *lines_of(part, fineness)) for part in parts])


def lines_of(part: Part, fineness: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Lines r and z in m along which a body is cut: every border of a zone, and evenly between them."""
    inner, outer, low, high = part.bounds
    sides = outer - inner, high - low
    rows = np.clip(round(STOUT * min(sides) / max(sides)), FEWEST, ROWS)
    short = min(sides) / rows
    along = max(ASPECT * short, max(sides) / MOST_ALONG)
    sizes = (short, along) if sides[0] < sides[1] else (along, short)
    boxes = np.array([_box(part, k) for k in range(len(part.zones))])
    return tuple(cut_evenly(borders.ravel(), size / fineness, FEWEST * fineness if size == short else 1)
                 for borders, size in zip((boxes[:, :2], boxes[:, 2:]), sizes, strict=True))


def cut_evenly(borders: np.ndarray, size: float, least: float = 1) -> np.ndarray:
    """Rising lines in m: the borders, and between neighbouring ones evenly spaced lines at most `size` apart, at least `least` cells.

    What is much thinner than `size` is one cell.
    """
    rising = np.unique(borders)
    rising = rising[np.concatenate([[True], np.diff(rising) > TOUCHES * np.ptp(rising)])]
    pieces = [np.linspace(a, b, int(np.ceil(max(1 if b - a < THIN * size else least, (b - a) / size - 1e-9))) + 1)[:-1]
              for a, b in pairwise(rising)]
    return np.concatenate([*pieces, rising[-1:]])


def mesh_of(part: Part, r_lines: np.ndarray, z_lines: np.ndarray) -> QuadMesh:
    """Cells between given lines in m, which hold every border of the part's zones; cells outside the zones are left out."""
    middle_r, middle_z = ((lines[:-1] + lines[1:]) / 2 for lines in (r_lines, z_lines))
    r, z = (values.ravel() for values in np.meshgrid(middle_r, middle_z, indexing="ij"))
    zone = np.full(len(r), -1)
    for k in range(len(part.zones)):
        inner, outer, low, high = _box(part, k)
        zone[(inner < r) & (r < outer) & (low < z) & (z < high)] = k
    number = np.arange(len(r_lines) * len(z_lines)).reshape(len(r_lines), len(z_lines))
    corners = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1).reshape(-1, 4)[zone >= 0]
    used, quads = np.unique(corners, return_inverse=True)
    nodes = np.stack(np.meshgrid(r_lines, z_lines, indexing="ij"), axis=-1).reshape(-1, 2)[used]
    return QuadMesh(nodes, quads.reshape(-1, 4), zone[zone >= 0], tuple((part.name, k) for k in range(len(part.zones))))


def joined(meshes: Sequence[QuadMesh]) -> QuadMesh:
    """Several bodies as one mesh, their nodes apart."""
    nodes = np.cumsum([0] + [len(mesh.nodes) for mesh in meshes])
    zones = np.cumsum([0] + [len(mesh.zones) for mesh in meshes])
    return QuadMesh(np.concatenate([mesh.nodes for mesh in meshes]),
                    np.concatenate([mesh.quads + first for mesh, first in zip(meshes, nodes[:-1], strict=True)]),
                    np.concatenate([mesh.zone + first for mesh, first in zip(meshes, zones[:-1], strict=True)]),
                    tuple(zone for mesh in meshes for zone in mesh.zones))


def riders(mesh: QuadMesh, points: np.ndarray, ends: np.ndarray | None = None) -> Riders:
    """Points (points, 2) in m as they lie in the mesh at rest.

    ends  (points, 2, 2) two places in the cell of each point, half-way between which it stays; None: the point itself
    Raises InputError for a point in no cell.
    """
    corners = mesh.nodes[mesh.quads]
    centre, half = (corners[:, 2] + corners[:, 0]) / 2, (corners[:, 2] - corners[:, 0]) / 2
    place = (points[:, None, :] - centre) / half                                 # -1 to 1 in the point's own cell
    outside = np.abs(place).max(axis=2)
    cell = outside.argmin(axis=1)
    rows = np.arange(len(points))
    if len(points) and (worst := outside[rows, cell]).max() > 1 + INSIDE:
        r, z = points[worst.argmax()]
        raise InputError(f"the point r = {r * 1e3:g} mm, z = {z * 1e3:g} mm lies in no cell of the bodies: only points of the metal ride")
    followed = points[:, None] if ends is None else ends
    xi, eta = np.moveaxis((followed - centre[cell][:, None]) / half[cell][:, None], 2, 0)
    weights = np.stack([(1 - xi) * (1 - eta), (1 + xi) * (1 - eta), (1 + xi) * (1 + eta), (1 - xi) * (1 + eta)], axis=2) / 4
    return Riders(mesh.quads[cell], weights.mean(axis=1), cell)


def _box(part: Part, k: int) -> tuple[float, float, float, float]:
    """Smallest and largest r, smallest and largest z of a zone that is a rectangle."""
    outline = part.zones[k].outline
    inner, outer, low, high = outline.bounds
    if not outline.is_rectangle:
        raise InputError(f"{part.name}, {part.zones[k].name}: only a body of rectangles along r and z can flow, such as a disc, washer, "
                         "clad disc, ring and core or tube; hold it still or let it move as one")
    return inner, outer, low, high
