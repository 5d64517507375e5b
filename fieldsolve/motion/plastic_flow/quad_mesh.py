"""Quadrilateral meshes of bodies: rectangular zones cut along common lines, and points that move with the cells."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.motion.plastic_flow.selective_mass_scaling import THIN_ROW_RATIO
from geometries.parts import Part, ZoneKey

MAX_ROWS = 8                   # of cells across a body's shorter side, where it is compact
MIN_ROWS = 2                 # rows across any zone that is not thin; each has two points of stress across it
MAX_ASPECT_ROWS = 60.0               # rows across times length over thickness, from which on there are fewer rows
CELL_ASPECT = 1.0               # of cells, their side along the body over that across it: a blank that is pressed stretches them across
MAX_CELLS_ALONG = 60            # cells along a body, unless CELL_ASPECT makes them longer
MERGE_TOLERANCE = 1e-9             # of a body's size: two lines nearer than this are one
OUTSIDE_TOLERANCE = 1e-6              # of a cell's half length by which a point may lie outside it


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
class InterpolationPoints:
    """Points that move with the cells they lie in.

    nodes    (points, 4) nodes of each point's cell
    weights  (points, 4) the shape functions of these nodes there
    cell     (points,) number of the cell
    """

    nodes: np.ndarray
    weights: np.ndarray
    cell: np.ndarray

    def interpolate(self, values: np.ndarray) -> np.ndarray:
        """Positions or velocities (points, 2) of the points from those of the nodes (nodes, 2)."""
        return np.einsum("pk,pkx->px", self.weights, values[self.nodes])

    def scatter_forces(self, loads: np.ndarray, count: int) -> np.ndarray:
        """Forces (count, 2) on the nodes that do the same work as `loads` (points, 2) on the points."""
        spread = self.weights[:, :, None] * loads[:, None, :]
        return np.stack([np.bincount(self.nodes.ravel(), spread[:, :, k].ravel(), minlength=count) for k in (0, 1)], axis=1)


def mesh_parts(parts: Sequence[Part], fineness: float = 1.0) -> QuadMesh:
    """One mesh for all the bodies, each of rectangular zones that share nodes where they touch.

    fineness  2 halves the cells
    Raises InputError for a body whose zones are not rectangles along r and z.
    """
    return join_meshes([mesh_part(part, *grid_lines(part, fineness)) for part in parts])


def grid_lines(part: Part, fineness: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Lines r and z in m along which a body is cut: every border of a zone, and evenly between them."""
    inner, outer, low, high = part.bounds
    sides = outer - inner, high - low
    rows = np.clip(round(MAX_ASPECT_ROWS * min(sides) / max(sides)), MIN_ROWS, MAX_ROWS)
    short = min(sides) / rows
    along = max(CELL_ASPECT * short, max(sides) / MAX_CELLS_ALONG)
    sizes = (short, along) if sides[0] < sides[1] else (along, short)
    boxes = np.array([_zone_bounds(part, k) for k in range(len(part.zones))])
    return tuple(subdivide(borders.ravel(), size / fineness, MIN_ROWS * fineness if size == short else 1)
                 for borders, size in zip((boxes[:, :2], boxes[:, 2:]), sizes, strict=True))


def subdivide(borders: np.ndarray, size: float, min_cells: float = 1) -> np.ndarray:
    """Rising lines in m: the borders, and between neighbouring ones evenly spaced lines at most `size` apart, at least `min_cells` cells.

    What is much thinner than `size` is one cell.
    """
    sorted_borders = np.unique(borders)
    sorted_borders = sorted_borders[np.concatenate([[True], np.diff(sorted_borders) > MERGE_TOLERANCE * np.ptp(sorted_borders)])]
    pieces = [np.linspace(a, b, int(np.ceil(max(1 if b - a < THIN_ROW_RATIO * size else min_cells, (b - a) / size - 1e-9))) + 1)[:-1]
              for a, b in pairwise(sorted_borders)]
    return np.concatenate([*pieces, sorted_borders[-1:]])


def mesh_part(part: Part, r_lines: np.ndarray, z_lines: np.ndarray) -> QuadMesh:
    """Cells between given lines in m, which hold every border of the part's zones; cells outside the zones are left out."""
    middle_r, middle_z = ((lines[:-1] + lines[1:]) / 2 for lines in (r_lines, z_lines))
    r, z = (values.ravel() for values in np.meshgrid(middle_r, middle_z, indexing="ij"))
    zone = np.full(len(r), -1)
    for k in range(len(part.zones)):
        inner, outer, low, high = _zone_bounds(part, k)
        zone[(inner < r) & (r < outer) & (low < z) & (z < high)] = k
    number = np.arange(len(r_lines) * len(z_lines)).reshape(len(r_lines), len(z_lines))
    corners = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1).reshape(-1, 4)[zone >= 0]
    used, quads = np.unique(corners, return_inverse=True)
    nodes = np.stack(np.meshgrid(r_lines, z_lines, indexing="ij"), axis=-1).reshape(-1, 2)[used]
    return QuadMesh(nodes, quads.reshape(-1, 4), zone[zone >= 0], tuple((part.name, k) for k in range(len(part.zones))))


def join_meshes(meshes: Sequence[QuadMesh]) -> QuadMesh:
    """Several bodies as one mesh, their nodes apart."""
    nodes = np.cumsum([0] + [len(mesh.nodes) for mesh in meshes])
    zones = np.cumsum([0] + [len(mesh.zones) for mesh in meshes])
    return QuadMesh(np.concatenate([mesh.nodes for mesh in meshes]),
                    np.concatenate([mesh.quads + first for mesh, first in zip(meshes, nodes[:-1], strict=True)]),
                    np.concatenate([mesh.zone + first for mesh, first in zip(meshes, zones[:-1], strict=True)]),
                    tuple(zone for mesh in meshes for zone in mesh.zones))


def interpolation_points(mesh: QuadMesh, points: np.ndarray, ends: np.ndarray | None = None) -> InterpolationPoints:
    """Points (points, 2) in m of the mesh at rest, as they move with its cells.

    ends  (points, 2, 2) two positions in the cell of each point, half-way between which it stays; None: the point itself
    Raises InputError for a point in no cell.
    """
    corners = mesh.nodes[mesh.quads]
    centre, half = (corners[:, 2] + corners[:, 0]) / 2, (corners[:, 2] - corners[:, 0]) / 2
    place = (points[:, None, :] - centre) / half                                 # -1 to 1 in the point's own cell
    outside = np.abs(place).max(axis=2)
    cell = outside.argmin(axis=1)
    rows = np.arange(len(points))
    if len(points) and (worst := outside[rows, cell]).max() > 1 + OUTSIDE_TOLERANCE:
        r, z = points[worst.argmax()]
        raise InputError(f"the point r = {r * 1e3:g} mm, z = {z * 1e3:g} mm lies in no cell of the bodies: "
                         "only points of the metal move with it")
    anchors = points[:, None] if ends is None else ends
    xi, eta = np.moveaxis((anchors - centre[cell][:, None]) / half[cell][:, None], 2, 0)
    weights = np.stack([(1 - xi) * (1 - eta), (1 + xi) * (1 - eta), (1 + xi) * (1 + eta), (1 - xi) * (1 + eta)], axis=2) / 4
    return InterpolationPoints(mesh.quads[cell], weights.mean(axis=1), cell)


def _zone_bounds(part: Part, k: int) -> tuple[float, float, float, float]:
    """Smallest and largest r, smallest and largest z of a zone that is a rectangle."""
    outline = part.zones[k].outline
    inner, outer, low, high = outline.bounds
    if not outline.is_rectangle:
        raise InputError(f"{part.name}, {part.zones[k].name}: only a body of rectangles along r and z can flow, such as a disc, washer, "
                         "clad disc, ring and core or tube; hold it still or let it move as a rigid body")
    return inner, outer, low, high
