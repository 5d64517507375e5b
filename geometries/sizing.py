"""Where cells must be small: the first guess from the shapes, later ones from a solved mesh."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geometries.outlines import Arc, Outline
from geometries.parts import CurrentSheet, Part, ZoneKey
from geometries.rows import Rows, finest_rows, first_rows

ARC_SIDES = 16          # curved edges on a full circle of the first mesh
SIDE_CELLS = 3          # cells on the shorter side of a straight-edged zone
THIN = 10.0             # length over thickness above which a rectangular zone is thin: meshed in rows of mapped cells
SINGLE_ROW = 4.0             # surface cells over thickness, from which on one row of quadratic triangles is enough
MIN_ROWS = 2          # rows across a thin zone, where no skin depth requires more
ALONG_CELLS = 10        # cells along a thin zone
WALL_CELLS = 1.5        # cells through the mean width of a zone with curved edges
GAP_CELLS = 0.6         # cells across a gap between outlines
TOUCHING = 1e-7         # metres below which a gap is none: the resolution of the mesher's geometry
GROWTH = 0.22           # growth of the cell size per metre of distance from the metal
END_GROWTH = 0.8        # the same around the ends of thin zones, which are small and may be many
OUTER_CELLS = 6         # cells along the radius of the mapped half disc
SHEET_CELLS = 12        # cells along a current sheet or its radius, whichever is shorter
FILAMENT_CELLS = 50     # cells between a filament and the axis or its nearest neighbour


@dataclass(frozen=True, eq=False)
class CellSizes:
    """Cell sizes at the corners of triangles, which a solved mesh requests of the next one.

    interior_corners, interior_sizes  coordinates (m, 3, 2) and sizes (m, 3) in m; in thin zones sizes along them
    exterior_corners, exterior_sizes  the same in the exterior (Kelvin) domain
    rows                              rows across each thin zone, by part name and zone number
    """

    interior_corners: np.ndarray
    interior_sizes: np.ndarray
    exterior_corners: np.ndarray
    exterior_sizes: np.ndarray
    rows: dict[ZoneKey, Rows]


def zone_cell_sizes(section, part_sizes: dict[str, float]) -> dict[ZoneKey, float]:
    """First guess of the cell size at the outline of each zone, in metres; of a thin zone the size along it.

    part_sizes   largest cell at the surface of a part in metres, by name; thin zones follow it by their rows
    """
    thin = thin_zones(section)
    sizes = {}
    for part in section.parts:
        for k, zone in enumerate(part.zones):
            along = max(_sides(zone.outline)) / ALONG_CELLS
            sizes[part.name, k] = along if (part.name, k) in thin else _shape_cell_size(zone.outline)
    gaps = _gaps(section, sizes)
    limits = {key: math.inf if key in thin else part_sizes.get(key[0], math.inf) for key in sizes}
    return {key: min(size, gaps[key] / GAP_CELLS, limits[key]) for key, size in sizes.items()}


def thin_zones(section) -> dict[ZoneKey, float]:
    """Thickness in metres of the zones to be meshed in mapped cells: thin rectangles of bodies and stranded windings.

    A part with a grid has none: its lines alone say where its cells lie.
    """
    return {(part.name, k): min(_sides(zone.outline)) for part in section.parts for k, zone in enumerate(part.zones)
            if (part.stranded or not part.is_coil) and not part.grid and zone.outline.is_rectangle and _is_thin(zone.outline)}


def end_cell_size(thickness: float, largest: float, rows: int) -> float:
    """First guess of the cell size at the ends of a thin zone of so many rows in metres; `largest` is that at the part's surface."""
    return min(thickness / (SIDE_CELLS if rows > 1 else 1), largest)


def zone_rows(section, part_sizes: dict[str, float], scale: float, sizes: CellSizes | None) -> dict[ZoneKey, Rows]:
    """Rows of cells across each thin zone: as its largest cell at the surface requires, and no coarser than a solved mesh requests.

    A solved mesh has no such rows in a zone whose cells kept to the lines of a grid.
    """
    surface = {key: part_sizes.get(key[0], math.inf) / thickness for key, thickness in thin_zones(section).items()}
    first = {key: first_rows(share, 1 if SINGLE_ROW < share < math.inf else MIN_ROWS, scale) for key, share in surface.items()}
    return {key: finest_rows(rows, sizes.rows[key]) if sizes and key in sizes.rows else rows for key, rows in first.items()}


def sheet_cell_size(sheet: CurrentSheet) -> float:
    """First guess of the cell size along a current sheet, in metres."""
    return min(sheet.radius, sheet.z_max - sheet.z_min) / SHEET_CELLS


def filament_cell_size(section, part: Part) -> float:
    """First guess of the cell size at a filament, in metres: follows its radius and its nearest neighbour."""
    r, z = part.filament.radius, part.filament.z
    others = [p.bounds for p in section.parts if p is not part]
    near = [math.hypot(max(b[0] - r, r - b[1], 0), max(b[2] - z, z - b[3], 0)) for b in others]
    return min([r, *[d for d in near if d > 0]]) / FILAMENT_CELLS


def _sides(outline: Outline) -> tuple[float, float]:
    r_min, r_max, z_min, z_max = outline.bounds
    return r_max - r_min, z_max - z_min


def _is_thin(outline: Outline) -> bool:
    return max(_sides(outline)) > THIN * min(_sides(outline))


def _shape_cell_size(outline: Outline) -> float:
    """Cell size that resolves the outline's own shape."""
    sizes = [2 * math.pi * min(edge.semi_axes) / ARC_SIDES for edge in outline.edges if isinstance(edge, Arc)]
    if sizes:
        sizes.append(_mean_width(outline) / WALL_CELLS)
    if len(sizes) < len(outline.edges):
        sizes.append(min(_sides(outline)) / SIDE_CELLS)
    return min(sizes)


def _mean_width(outline: Outline) -> float:
    """Twice the area over the perimeter: the wall of a thin shell, the radius of a circle."""
    corners = outline.polygon()
    return 2 * outline.area / float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())


def _gaps(section, sizes: dict[ZoneKey, float]) -> dict[ZoneKey, float]:
    """Distance from each zone to the nearest other one across air, infinite where none is so near that it matters to such cells.

    The zones of a body count as one, and what touches it leaves no gap; each turn of a coil counts alone.
    """
    zones = {(part.name, k): zone.outline for part in section.parts for k, zone in enumerate(part.zones)}
    owner = {(part.name, k): (part.name, k if part.is_coil else 0) for part in section.parts for k in range(len(part.zones))}
    polygons = {key: outline.polygon(32) for key, outline in zones.items()}
    low_r, high_r, low_z, high_z = np.array([outline.bounds for outline in zones.values()]).reshape(-1, 4).T
    distances: dict[tuple[ZoneKey, ZoneKey], float] = {}
    for key, outline in zones.items():
        r_min, r_max, z_min, z_max = outline.bounds
        apart = np.hypot(np.maximum(0, np.maximum(low_r - r_max, r_min - high_r)), np.maximum(0, np.maximum(low_z - z_max, z_min - high_z)))
        near = [other for other, is_near in zip(zones, apart < GAP_CELLS * sizes[key], strict=True) if is_near]
        distances |= {(key, other): _distance(polygons[key], polygons[other]) for other in near if owner[other] != owner[key]}
    touching = {(owner[one], owner[other]) for (one, other), distance in distances.items() if distance <= TOUCHING}
    gaps = dict.fromkeys(zones, math.inf)
    for (one, other), distance in distances.items():
        if (owner[one], owner[other]) not in touching and (owner[other], owner[one]) not in touching:
            gaps[one] = min(gaps[one], distance)
    return gaps


def _distance(a: np.ndarray, b: np.ndarray) -> float:
    """Smallest distance between corners of one polygon and edges of the other."""
    return min(_corners_to_edges(a, b), _corners_to_edges(b, a))


def _corners_to_edges(corners: np.ndarray, polygon: np.ndarray) -> float:
    start, along = polygon, np.roll(polygon, -1, axis=0) - polygon
    offset = corners[:, None] - start
    share = np.clip((offset * along).sum(axis=2) / (along**2).sum(axis=1), 0, 1)
    return float(np.linalg.norm(offset - share[:, :, None] * along, axis=2).min())
