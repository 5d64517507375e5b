"""Where the metal of a cross-section is: its outlines for a drawing, and its spans along a straight line."""
from __future__ import annotations

import math

import numpy as np

from geometries.cross_section import AxialStrip, CrossSection
from geometries.outlines import Outline

ARC_SIDES = 256
MARGIN = 1.3            # what is shown, relative to the section's extent
MM = 1e3                # millimetres in a metre

Box = tuple[float, float, float, float]


def default_box(section: CrossSection | AxialStrip) -> Box:
    """What is shown unless told otherwise: r_min, r_max, z_min, z_max in metres."""
    if isinstance(section, AxialStrip):
        return section.inner_radius, section.outer_radius, section.z_min, section.z_max
    reach = MARGIN * section.extent
    return 0.0, reach, section.centre - reach, section.centre + reach


def draw_metal(ax, section: CrossSection | AxialStrip, *, tint: str = "none", width: float = 1.3) -> None:
    """Outlines of all zones, dots for filaments and thick lines for current sheets, in millimetres; `tint` fills the metal."""
    for part in section.parts:
        for zone in part.zones:
            ax.fill(*(MM * zone.outline.polygon(ARC_SIDES).T), facecolor=tint, edgecolor="black", linewidth=width, zorder=3)
        if part.filament:
            ax.plot(MM * part.filament.radius, MM * part.filament.z, "o", markersize=5, color="black", markeredgecolor="white", zorder=4)
        if part.sheet:
            ax.plot([MM * part.sheet.radius] * 2, [MM * part.sheet.z_min, MM * part.sheet.z_max], color="black", linewidth=3, zorder=3,
                    solid_capstyle="butt")


def metal_spans(section: CrossSection | AxialStrip, start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    """Distances from `start`, in metres, between which the straight line to `end` runs in metal, one pair a zone."""
    spans = [_crossings(zone.outline, start, end) for part in section.parts for zone in part.zones]
    return sorted(span for zone in spans for span in zone)


def _crossings(outline: Outline, start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    from shapely import LineString, Point, Polygon

    common = Polygon(outline.polygon(ARC_SIDES)).intersection(LineString([start, end]))
    pieces = [piece for piece in getattr(common, "geoms", [common]) if piece.length > 1e-9 * math.dist(start, end)]
    origin = Point(start)
    distances = [[origin.distance(Point(corner)) for corner in piece.coords] for piece in pieces]
    return [(float(np.min(d)), float(np.max(d))) for d in distances]
