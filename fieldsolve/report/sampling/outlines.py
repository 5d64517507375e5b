"""Where the metal of a cross-section is: its outlines for a drawing, and its spans along a straight line."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.field.fem.reference_triangle import shape_functions
from fieldsolve.field.plottable_field import PlottableCurrents, PlottableField
from fieldsolve.report.display_units import MM
from geometries.cross_section import AxialStrip, CrossSection
from geometries.mesh import AIR, EDGE_NODES, Mesh
from geometries.outlines import Outline

if TYPE_CHECKING:
    from fieldsolve.shot.result.metal_history import MetalMap

ARC_SIDES = 256
PIECES = 8              # straight pieces of a curved edge
MARGIN = 1.3            # what is shown, relative to the section's extent

Extent = tuple[float, float, float, float]


def default_extent(section: CrossSection | AxialStrip) -> Extent:
    """The extent that is shown by default: r_min, r_max, z_min, z_max in metres."""
    if isinstance(section, AxialStrip):
        return section.inner_radius, section.outer_radius, section.z_min, section.z_max
    reach = MARGIN * section.extent
    return 0.0, reach, section.centre - reach, section.centre + reach


def shown_extent(field: PlottableField) -> Extent:
    """The extent that a map shows by default: the parts as they stand in the field's mesh, the axis, and some room around, in metres."""
    section = field.section
    if isinstance(section, AxialStrip):
        return default_extent(section)
    metal = field.mesh.nodes[np.unique(field.mesh.triangles[field.mesh.region > AIR])]
    boxes = [part.bounds for part in section.parts if not part.zones]
    boxes += [_bounds_of(metal)] if len(metal) else []
    outer, low, high = max(box[1] for box in boxes), min(box[2] for box in boxes), max(box[3] for box in boxes)
    room = (MARGIN - 1) * max(outer, high - low)
    return 0.0, outer + room, low - room, high + room


def _bounds_of(points: np.ndarray) -> Extent:
    (r_min, z_min), (r_max, z_max) = points.min(axis=0), points.max(axis=0)
    return float(r_min), float(r_max), float(z_min), float(z_max)


def draw_metal(ax, field: PlottableField | PlottableCurrents | MetalMap, *, tint: str | None = None, width: float = 1.3,
               mesh: Mesh | None = None) -> None:
    """Outlines of all zones as they stand in the field's mesh, dots for filaments, thick lines for current sheets, in millimetres.

    tint   fills the metal
    mesh   with nodes in other places than the field's
    """
    from matplotlib.collections import PolyCollection

    loops = zone_loops(mesh or field.mesh)
    ax.add_collection(PolyCollection(loops, facecolors=tint or "none", edgecolors="black", linewidths=width, zorder=3, joinstyle="round"))
    for part in field.section.parts:
        if part.filament:
            ax.plot(MM * part.filament.radius, MM * part.filament.z, "o", markersize=5, color="black", markeredgecolor="white", zorder=4)
        if part.sheet:
            ax.plot([MM * part.sheet.radius] * 2, [MM * part.sheet.z_min, MM * part.sheet.z_max], color="black", linewidth=3, zorder=3,
                    solid_capstyle="butt")


def edge_lines(mesh: Mesh, edges: np.ndarray) -> list[np.ndarray]:
    """Edges (k, 3) of ends and middle as lines of points in millimetres: two where the edge is straight, more where it is curved."""
    start, end, middle = np.moveaxis(MM * mesh.nodes[edges], 1, 0)
    bent = np.linalg.norm(middle - (start + end) / 2, axis=1) > 1e-6 * np.linalg.norm(end - start, axis=1)
    t = np.linspace(0, 1, PIECES + 1)
    value = shape_functions(np.stack([1 - t, t, 0 * t], axis=1))[:, [0, 1, 3]]
    curved = np.einsum("qa,aki->kqi", value, np.stack([start, end, middle])[:, bent])
    lines = list(np.stack([start, end], axis=1))
    for k, line in zip(np.flatnonzero(bent), curved, strict=True):
        lines[k] = line
    return lines


def zone_loops(mesh: Mesh) -> list[np.ndarray]:
    """Closed lines of points in millimetres round each zone, the zone at their left."""
    loops = []
    for number in range(1, len(mesh.regions) + 1):
        edges = mesh.triangles[mesh.region == number][:, EDGE_NODES].reshape(-1, 3)
        _, first, count = np.unique(edges[:, 2], return_index=True, return_counts=True)
        border = edges[first[count == 1]]                       # what only one of the zone's triangles has
        lines = edge_lines(mesh, border)
        loops += [np.concatenate([lines[loop[0]][:1], *(lines[k][1:] for k in loop)]) for loop in _loops(border)]
    return loops


def _loops(edges: np.ndarray) -> list[list[int]]:
    """Numbers of directed edges (k, 3), as many to each node as away from it, in closed rounds."""
    ends, leaving = edges[:, 1].tolist(), {}
    for k, start in enumerate(edges[:, 0].tolist()):
        leaving.setdefault(start, []).append(k)
    loops = []
    while leaving:
        start, loop = next(iter(leaving)), []
        node = start
        while not loop or node != start:
            loop.append(leaving[node].pop())
            if not leaving[node]:
                del leaving[node]
            node = ends[loop[-1]]
        loops.append(loop)
    return loops


def metal_spans(section: CrossSection | AxialStrip, start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    """Distances from `start`, in metres, between which the straight line to `end` runs in metal, one pair a zone."""
    spans = [_outline_spans(zone.outline, start, end) for part in section.parts for zone in part.zones]
    return sorted(span for zone in spans for span in zone)


def _outline_spans(outline: Outline, start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    from shapely import LineString, Point, Polygon

    common = Polygon(outline.polygon(ARC_SIDES)).intersection(LineString([start, end]))
    pieces = [piece for piece in getattr(common, "geoms", [common]) if piece.length > 1e-9 * math.dist(start, end)]
    origin = Point(start)
    distances = [[origin.distance(Point(corner)) for corner in piece.coords] for piece in pieces]
    return [(float(np.min(d)), float(np.max(d))) for d in distances]
