"""The cross-section drawn in the mesher's geometry kernel: zones, air, and the exterior (Kelvin) domain on its arc."""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from geometries.cross_section import Section
from geometries.outlines import Arc, Line, Outline, Point, rectangle
from geometries.parts import ZoneKey


@dataclass(frozen=True, eq=False)
class Drawing:
    """The section in gmsh's geometry kernel, and the tags of what was drawn.

    radius         of the arc in m; None for a strip
    zone_surfaces  surfaces of each zone, by part name and zone number
    air, exterior  surfaces of the meshed air and of the exterior domain
    arc            curves between the two
    sheets         curves of each current sheet, and filaments the point of each, by part name
    """

    gmsh: Any
    section: Section
    radius: float | None
    zone_surfaces: dict[ZoneKey, list[int]]
    air: list[int]
    exterior: list[int]
    arc: list[int]
    sheets: dict[str, list[int]]
    filaments: dict[str, int]


def draw(gmsh: Any, section: Section, radius: float | None, lines: Iterable[Line] = (), cuts: Iterable[Point] = ()) -> Drawing:
    """Draw the frame, cut it by the zones, filaments and sheets, and lay the exterior domain on the arc.

    radius   of the arc in metres, None for a strip
    lines    by which zones are cut into several surfaces
    cuts     points (r, z) in which outlines are cut into several curves
    """
    pen = _Pen(gmsh.model.occ)
    zones = {(part.name, k): zone for part in section.parts for k, zone in enumerate(part.zones)}
    sheets = [part for part in section.parts if part.sheet]
    filaments = [part for part in section.parts if part.filament]
    frame = pen.surface(_frame(section, radius))
    tools = [(2, pen.surface(zone.outline)) for zone in zones.values()]
    tools += [(1, pen.edge(Line((p.sheet.radius, p.sheet.z_min), (p.sheet.radius, p.sheet.z_max)))) for p in sheets]
    tools += [(0, pen.point((p.filament.radius, p.filament.z))) for p in filaments]
    tools += [(1, pen.edge(line)) for line in (*_grid_lines(section), *lines)] + [(0, pen.point(cut)) for cut in cuts]
    pieces = gmsh.model.occ.fragment([(2, frame)], tools)[1] if tools else [[(2, frame)]]
    gmsh.model.occ.synchronize()
    tags = iter([[tag for _, tag in piece] for piece in pieces])
    everything = next(tags)
    zone_surfaces = {key: next(tags) for key in zones}
    metal = {tag for surfaces in zone_surfaces.values() for tag in surfaces}
    air = [tag for tag in everything if tag not in metal]
    arc, exterior = ([], []) if radius is None else _add_exterior(gmsh, section.centre, radius, air)
    return Drawing(gmsh=gmsh, section=section, radius=radius, zone_surfaces=zone_surfaces, air=air, exterior=exterior, arc=arc,
                   sheets={part.name: next(tags) for part in sheets}, filaments={part.name: next(tags)[0] for part in filaments})


def _grid_lines(section: Section) -> list[Line]:
    """The lines across parts that no cell may cross, without those on their borders."""
    grids = [part.grid for part in section.parts if part.grid]
    upright = [Line((r, z_lines[0]), (r, z_lines[-1])) for r_lines, z_lines in grids for r in r_lines[1:-1]]
    return upright + [Line((r_lines[0], z), (r_lines[-1], z)) for r_lines, z_lines in grids for z in z_lines[1:-1]]


def arcs(section: Section, radius: float | None) -> list[Arc]:
    """Every arc of the drawing: of the zones and of the open air."""
    outlines = [zone.outline for part in section.parts for zone in part.zones] + [_frame(section, radius)]
    return [edge for outline in outlines for edge in outline.edges if isinstance(edge, Arc)]


def _frame(section: Section, radius: float | None) -> Outline:
    if radius is None:
        return rectangle(section.inner_radius, section.outer_radius, section.z_min, section.z_max)
    quarter = math.pi / 2
    arcs = [Arc((0.0, section.centre), (radius, radius), start, start + quarter) for start in (-quarter, 0.0)]
    return Outline((*arcs, Line(arcs[1].end, arcs[0].start)))


def _add_exterior(gmsh: Any, centre: float, radius: float, air: list[int]) -> tuple[list[int], list[int]]:
    """A second half disc on the same arc, its axis running through the image of infinity; returns arc and surface."""
    kernel, model = gmsh.model.occ, gmsh.model
    border = model.getBoundary([(2, tag) for tag in air], oriented=False)
    arc = [tag for _, tag in border if abs(math.hypot(*_middle(model, tag) - [0, centre]) - radius) < 1e-6 * radius]
    ends = {tag: model.getValue(0, tag, []) for _, tag in model.getBoundary([(1, tag) for tag in arc], combined=True, oriented=False)}
    bottom, top = sorted(ends, key=lambda tag: ends[tag][1])
    image = kernel.addPoint(0, centre, 0)
    axis = [kernel.addLine(top, image), kernel.addLine(image, bottom)]
    exterior = kernel.addPlaneSurface([kernel.addCurveLoop(arc + axis)])
    kernel.synchronize()
    return arc, [exterior]


def _middle(model: Any, curve: int) -> np.ndarray:
    low, high = model.getParametrizationBounds(1, curve)
    return model.getValue(1, curve, [0.5 * (low[0] + high[0])])[:2]


class _Pen:
    """Draws outlines in the kernel; equal points are drawn once."""

    def __init__(self, kernel: Any):
        self.kernel, self.drawn = kernel, {}

    def point(self, at: tuple[float, float]) -> int:
        key = (round(at[0], 12), round(at[1], 12))
        if key not in self.drawn:
            self.drawn[key] = self.kernel.addPoint(at[0], at[1], 0)
        return self.drawn[key]

    def edge(self, edge: Line | Arc) -> int:
        start, end = self.point(edge.start), self.point(edge.end)
        if isinstance(edge, Line):
            return self.kernel.addLine(start, end)
        (r, z), (a, b) = edge.centre, edge.semi_axes
        centre = self.kernel.addPoint(r, z, 0)
        if a == b:
            return self.kernel.addCircleArc(start, centre, end)
        major = self.kernel.addPoint(r + (a if a > b else 0), z + (b if b > a else 0), 0)
        return self.kernel.addEllipseArc(start, centre, major, end)

    def surface(self, outline: Outline) -> int:
        return self.kernel.addPlaneSurface([self.kernel.addCurveLoop([self.edge(edge) for edge in outline.edges])])
