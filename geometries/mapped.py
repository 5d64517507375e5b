"""Mapped cells in thin rectangular zones: rows across them, and the same nodes along both long sides.

A thin zone has a core of mapped cells and, where it ends in air or other metal, a block of ordinary cells, because there the field
varies as fast along the zone as across it.  The curves on opposite sides of a core are meshed alike, and so, through shared sides,
are those of a stack of layers.  Along a core the mesher's size field decides, across it the rows.
"""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from geometries.cross_section import AxialStrip, Section
from geometries.drawing import Drawing, draw
from geometries.errors import MeshError
from geometries.gmsh_session import empty_model
from geometries.outlines import Line, Outline, Point
from geometries.parts import ZoneKey
from geometries.rows import Rows

SAME_PLACE = 2e-7       # metres within which points of the drawing coincide; the kernel's own tolerance is 1e-7
THINNEST = 5e-7         # metres
MOST_DRAWINGS = 20
LINE = 1                # gmsh's number for straight elements of a curve
END_BLOCK = 2.0         # length of an end block over the thickness of the zone: there a field has fallen to exp(-2 pi) of its end's


@dataclass(frozen=True, eq=False)
class Curve:
    """A straight curve of the drawing: its tag, its two points from below or from the left."""

    tag: int
    points: tuple[int, int]
    start: np.ndarray
    end: np.ndarray

    @property
    def length(self) -> float:
        """In metres."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True, eq=False)
class ThinZone:
    """A thin zone in the drawing.

    core        tag of the surface that is meshed in mapped cells
    blocks      tags of the surfaces at its ends
    long_sides  curves of the core's lower and upper long side, each in order
    ends        the core's two short sides
    thickness   metres
    """

    core: int
    blocks: list[int]
    long_sides: tuple[list[Curve], list[Curve]]
    ends: tuple[Curve, Curve]
    thickness: float


# ---- drawing -----------------------------------------------------------------------------------------------------

def draw_thin_zones(gmsh: Any, section: Section, radius: float | None,
                    thickness: dict[ZoneKey, float]) -> tuple[Drawing, dict[ZoneKey, ThinZone]]:
    """Drawing of the section and its thin zones, drawn again until every point on a long side of a core has its opposite.

    thickness   of the thin zones in metres
    Raises MeshError where that cannot be.
    """
    for (name, k), thin_wall in thickness.items():
        if thin_wall < THINNEST:
            raise MeshError(f"{section.part(name).zones[k].name} of {name} is {1e6 * thin_wall:g} um thick, below the limit of "
                            f"{1e6 * THINNEST:g} um: make it thicker, or leave it out")
    lines = [line for name, k in thickness for line in _block_borders(section, section.part(name).zones[k].outline)]
    cuts: list[Point] = []
    for _ in range(MOST_DRAWINGS):
        drawing = draw(gmsh, section, radius, lines, cuts)
        thin = {key: _thin_zone(drawing, key, thickness[key]) for key in thickness}
        missing = [cut for zone in thin.values() for cut in _missing_cuts(zone)]
        if not missing and all(len(zone.long_sides[0]) == len(zone.long_sides[1]) for zone in thin.values()):
            for zone in thin.values():
                low, high = zone.ends
                gmsh.model.mesh.setTransfiniteSurface(zone.core, "Left", [*low.points, *high.points[::-1]])
            return drawing, thin
        cuts += missing
        empty_model(gmsh)
    raise MeshError(f"{', '.join(sorted({name for name, _ in thickness}))}: corners of parts that touch a thin layer come within "
                    f"{1e6 * SAME_PLACE:g} um of one another; move a part, or make corners meet")


def _block_borders(section: Section, outline: Outline) -> list[Line]:
    """Lines across a thin zone between its core and its blocks; an end on the axis or on the flat face of a strip has none.

    They are at round places, so that those of layers that are nearly as thick meet and leave no cells between them.
    """
    r_min, r_max, z_min, z_max = outline.bounds
    thickness = min(r_max - r_min, z_max - z_min)
    block, digits = END_BLOCK * thickness, -math.floor(math.log10(thickness / 2))
    if r_max - r_min > z_max - z_min:
        places = [r_max - block] + ([r_min + block] if r_min > 0 else [])
        return [Line((r, z_min), (r, z_max)) for r in (round(place, digits) for place in places)]
    places = [] if isinstance(section, AxialStrip) else [z_min + block, z_max - block]
    return [Line((r_min, z), (r_max, z)) for z in (round(place, digits) for place in places)]


def _thin_zone(drawing: Drawing, key: ZoneKey, thickness: float) -> ThinZone:
    surfaces = sorted(drawing.zone_surfaces[key], key=lambda tag: drawing.gmsh.model.occ.getMass(2, tag))
    curves = [_curve(drawing, tag) for _, tag in drawing.gmsh.model.getBoundary([(2, surfaces[-1])], oriented=False)]
    sides = [_sides(curves, axis) for axis in (0, 1)]
    along = int(np.ptp([curve.end for curve in curves], axis=0).argmax())
    return ThinZone(surfaces[-1], surfaces[:-1], sides[along], tuple(side[0] for side in sides[1 - along]), thickness)


def _sides(curves: list[Curve], axis: int) -> tuple[list[Curve], list[Curve]]:
    """Curves that run along an axis, on the lower and on the upper side of a rectangle, each in order."""
    running = sorted((c for c in curves if (c.end - c.start)[axis] > (c.end - c.start)[1 - axis]), key=lambda c: c.start[axis])
    middle = np.mean([(c.start + c.end)[1 - axis] / 2 for c in curves if c not in running])
    lower = [c.start[1 - axis] < middle for c in running]
    return tuple([c for c, is_lower in zip(running, lower, strict=True) if is_lower == wanted] for wanted in (True, False))


def _curve(drawing: Drawing, tag: int) -> Curve:
    model = drawing.gmsh.model
    ends = [(point, np.array(model.getValue(0, point, [])[:2])) for _, point in model.getBoundary([(1, tag)], oriented=False)]
    (first, start), (last, end) = sorted(ends, key=lambda item: item[1].sum())
    return Curve(tag, (first, last), start, end)


def _missing_cuts(zone: ThinZone) -> list[Point]:
    """Points of a long side that face the end of a curve on the opposite side and are not ends themselves."""
    missing = []
    for here, there in (zone.long_sides, zone.long_sides[::-1]):
        shift = here[0].start - there[0].start
        ends = np.array([curve.end for curve in here])
        places = [curve.end + shift for curve in there[:-1]]
        missing += [tuple(map(float, place)) for place in places if np.linalg.norm(ends - place, axis=1).min() > SAME_PLACE]
    return missing


# ---- meshing -----------------------------------------------------------------------------------------------------

def link_long_sides(drawing: Drawing, thin: Iterable[ThinZone]) -> None:
    """Have opposite curves of the long sides meshed alike, as that of them which the field of sizes would cut most finely."""
    mesh = drawing.gmsh.model.mesh
    groups = _groups(thin)
    if groups:
        mesh.generate(1)
        cells = {curve.tag: len(mesh.getElementsByType(LINE, curve.tag)[0]) for group in groups for curve in group}
        mesh.clear()
    for group in groups:
        first = max(group, key=lambda curve: cells[curve.tag])
        for other in group:
            if other is not first:
                mesh.setPeriodic(1, [other.tag], [first.tag], _map(first, other))


def _map(first: Curve, other: Curve) -> list[float]:
    """Rows of the affine map that takes one curve to another one beside it, which is as long but for rounding."""
    along = int((first.end - first.start).argmax())
    scale = np.ones(2)
    scale[along] = (other.end - other.start)[along] / (first.end - first.start)[along]
    shift = other.start - scale * first.start
    return [scale[0], 0, 0, shift[0], 0, scale[1], 0, shift[1], 0, 0, 1, 0, 0, 0, 0, 1]


def _groups(thin: Iterable[ThinZone]) -> list[list[Curve]]:
    """Curves that must be meshed alike: those that face one another, from core to core."""
    groups: list[dict[int, Curve]] = []
    for pair in (pair for zone in thin for pair in zip(*zone.long_sides, strict=True)):
        members = {curve.tag: curve for curve in pair}
        joined = [group for group in groups if group.keys() & members.keys()]
        groups = [group for group in groups if group not in joined]
        groups.append({tag: curve for group in [*joined, members] for tag, curve in group.items()})
    return [list(group.values()) for group in groups]


def set_rows(drawing: Drawing, thin: dict[ZoneKey, ThinZone], rows: dict[ZoneKey, Rows]) -> None:
    """Cut the short sides of the cores into rows."""
    for key, zone in thin.items():
        law = ("Bump", rows[key].ratio) if rows[key].ratio < 1 else ("Progression", 1.0)
        for curve in zone.ends:
            drawing.gmsh.model.mesh.setTransfiniteCurve(curve.tag, rows[key].count + 1, *law)


def sort_into_columns(corners: np.ndarray, rows: int) -> np.ndarray:
    """Order (columns, rows) of the triangles of a core, given by their corners (m, 3, 2), in columns of like ones; two make a cell."""
    across = int(np.ptp(corners, axis=(0, 1)).argmin())
    middle = corners.mean(axis=1)
    columns = np.argsort(middle[:, 1 - across]).reshape(-1, rows)
    return np.take_along_axis(columns, np.argsort(middle[columns, across], axis=1), axis=1)
