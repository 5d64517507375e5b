"""Where cells must be small: the first guess from the shapes, later ones from a solved mesh."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geometries.outlines import Arc, Outline
from geometries.parts import CurrentSheet, Part

ARC_SIDES = 16          # curved edges on a full circle of the first mesh
SIDE_CELLS = 3          # cells on the shorter side of a straight-edged zone
WALL_CELLS = 1.5        # cells through the mean width of a zone with curved edges
GAP_CELLS = 0.6         # cells across a gap between outlines
GROWTH = 0.22           # growth of the cell size per metre of distance from the metal
OUTER_CELLS = 6         # cells along the radius of the mapped half disc
SHEET_CELLS = 12        # cells along a current sheet or its radius, whichever is shorter
FILAMENT_CELLS = 50     # cells between a filament and the axis or its nearest neighbour


@dataclass(frozen=True, eq=False)
class CellSizes:
    """Cell size given at the corners of triangles: what a solved mesh asks of the next one.

    inner, outer   corner coordinates (m, 3, 2) and sizes (m, 3) on either sheet
    """

    inner_corners: np.ndarray
    inner_sizes: np.ndarray
    outer_corners: np.ndarray
    outer_sizes: np.ndarray


def zone_cell_sizes(section) -> list[float]:
    """First guess of the cell size at the outline of each zone, in the order of the parts, in metres."""
    outlines = [zone.outline for part in section.parts for zone in part.zones]
    shapes = [_shape_cell_size(outline) for outline in outlines]
    return [min(shape, gap / GAP_CELLS) for shape, gap in zip(shapes, _gaps(outlines), strict=True)]


def sheet_cell_size(sheet: CurrentSheet) -> float:
    """First guess of the cell size along a current sheet, in metres."""
    return min(sheet.radius, sheet.z_max - sheet.z_min) / SHEET_CELLS


def filament_cell_size(section, part: Part) -> float:
    """First guess of the cell size at a filament, in metres: follows its radius and its nearest neighbour."""
    r, z = part.filament.radius, part.filament.z
    others = [p.bounds for p in section.parts if p is not part]
    near = [math.hypot(max(b[0] - r, r - b[1], 0), max(b[2] - z, z - b[3], 0)) for b in others]
    return min([r, *[d for d in near if d > 0]]) / FILAMENT_CELLS


def _shape_cell_size(outline: Outline) -> float:
    """Cell size that resolves the outline's own shape."""
    sizes = [2 * math.pi * min(edge.semi_axes) / ARC_SIDES for edge in outline.edges if isinstance(edge, Arc)]
    if sizes:
        sizes.append(_mean_width(outline) / WALL_CELLS)
    r_min, r_max, z_min, z_max = outline.bounds
    if len(sizes) < len(outline.edges):
        sizes.append(min(r_max - r_min, z_max - z_min) / SIDE_CELLS)
    return min(sizes)


def _mean_width(outline: Outline) -> float:
    """Twice the area over the perimeter: the wall of a thin shell, the radius of a circle."""
    corners = outline.polygon()
    return 2 * outline.area / float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())


def _gaps(outlines: list[Outline]) -> list[float]:
    """Distance from each outline to the nearest other one, infinite where none is as near as its own width."""
    polygons = [outline.polygon(32) for outline in outlines]
    boxes = np.array([outline.bounds for outline in outlines]).reshape(-1, 4)
    gaps = []
    for i, polygon in enumerate(polygons):
        r_min, r_max, z_min, z_max = boxes[i]
        apart = np.hypot(np.maximum(0, np.maximum(boxes[:, 0] - r_max, r_min - boxes[:, 1])),
                         np.maximum(0, np.maximum(boxes[:, 2] - z_max, z_min - boxes[:, 3])))
        reach = min(r_max - r_min, z_max - z_min)
        near = [j for j in np.flatnonzero(apart < reach) if j != i]
        gaps.append(min([_distance(polygon, polygons[j]) for j in near], default=math.inf))
    return [gap if gap > 0 else math.inf for gap in gaps]


def _distance(a: np.ndarray, b: np.ndarray) -> float:
    """Smallest distance between corners of one polygon and edges of the other."""
    return min(_corners_to_edges(a, b), _corners_to_edges(b, a))


def _corners_to_edges(corners: np.ndarray, polygon: np.ndarray) -> float:
    start, along = polygon, np.roll(polygon, -1, axis=0) - polygon
    offset = corners[:, None] - start
    share = np.clip((offset * along).sum(axis=2) / (along**2).sum(axis=1), 0, 1)
    return float(np.linalg.norm(offset - share[:, :, None] * along, axis=2).min())
