"""Whether parts can stand together: names, sizes, and no metal where other metal is."""
from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache, partial
from itertools import pairwise
from typing import Any

import numpy as np

from geometries.checks import MOST_ZONES, ROUNDING, label, millimetres
from geometries.errors import GeometryError
from geometries.outlines import Outline
from geometries.parts import Part, Zone

RESERVED = ("bore", "centre", "gap")        # names of regions and points in results
ARC_SIDES = 1024                            # chords of a full turn where overlaps are measured

Bounds = tuple[float, float, float, float]  # smallest and largest r, smallest and largest z
Member = tuple[Part, Zone]


def as_parts(parts: Iterable[Part]) -> tuple[Part, ...]:
    """The parts as a tuple; GeometryError if there is none or one is something else."""
    if isinstance(parts, Part):
        raise GeometryError(f"parts is one part: give a list, [{parts.name}]")
    if not isinstance(parts, Iterable):
        raise GeometryError(f"parts = {parts!r} is not a list: give a list of parts, such as [coil, disc]")
    found = tuple(parts)
    if not found:
        raise GeometryError("parts is empty: give at least one part, such as a solenoid")
    for k, part in enumerate(found):
        if not isinstance(part, Part):
            raise GeometryError(f"parts[{k}] = {part!r} is not a part: make it with a builder, such as solenoid(...) or disc(...)")
    return found


def check_fit(parts: Sequence[Part]) -> None:
    """Raise GeometryError unless names differ, every part can exist, and no two overlap.  A shared boundary is not an overlap."""
    _check_names(parts)
    zones = sum(len(part.zones) for part in parts)
    if zones > MOST_ZONES or len(parts) > MOST_ZONES:
        raise GeometryError(f"{len(parts)} parts of {zones} zones are above the limit of {MOST_ZONES}: "
                            "give windings, whose turns are not drawn one by one, and fewer parts")
    for part in parts:
        _check_part(part)
    _check_overlaps([(part, zone) for part in parts for zone in part.zones])
    _check_turn_gaps(parts)
    _check_lines(parts)


def _check_names(parts: Sequence[Part]) -> None:
    names = [label(part.name) for part in parts]
    for name, count in Counter(names).items():
        if count > 1:
            raise GeometryError(f"{count} parts are named {name}: give name= to one of them, name='{name} 2', say")
        if name in RESERVED or name.startswith("bore of "):
            raise GeometryError(f"a part cannot be named {name}, which results use for a region of air: give another name=")


def _check_part(part: Part) -> None:
    if not part.zones and part.filament is None and part.sheet is None:
        raise GeometryError(f"{part.name} is empty: give it at least one zone, or make it with a builder")
    with np.errstate(invalid="ignore"):
        boxes = [zone.outline.bounds for zone in part.zones] or [part.bounds]
    for box in boxes:
        if not np.isfinite(box).all():
            raise GeometryError(f"{part.name} has a length that is not finite (r and z bounds {box}): give finite lengths in metres")
        if box[0] < 0:
            raise GeometryError(f"{part.name} reaches across the axis to r = {millimetres(box[0])}: r must be at least 0, "
                                "so make it thinner or its radius larger")
    for zone in part.zones:
        if zone.outline.area <= 0:
            raise GeometryError(f"{zone.name} of {part.name} has area {zone.outline.area:g} m2: its outline must run counter-clockwise "
                                "and enclose an area")


def _meets(box: Bounds, boxes: np.ndarray) -> np.ndarray:
    """Which of the `boxes`, shape (n, 4), share more than a boundary with `box`."""
    slack = ROUNDING * max(np.abs(boxes).max(), np.abs(box).max())
    r, z = _depth(box, boxes.T)
    return (r > slack) & (z > slack)


def _depth(a: Bounds, b: Any) -> tuple[Any, Any]:
    """How far two bounds (or one and many) reach into one another along r and along z."""
    return np.minimum(a[1], b[1]) - np.maximum(a[0], b[0]), np.minimum(a[3], b[3]) - np.maximum(a[2], b[2])


@lru_cache(maxsize=1024)
def _polygon(outline: Outline) -> Any:
    from shapely import Polygon
    return Polygon(outline.polygon(ARC_SIDES))


def clearance(first: Part, second: Part) -> float:
    """Smallest distance between the zones of two parts, metres."""
    return min(float(_polygon(zone.outline).distance(_polygon(other.outline))) for zone in first.zones for other in second.zones)


def touching_zones(first: Part, second: Part) -> tuple[str, str] | None:
    """Names of a zone of each part that share a piece of their boundaries or a point, or None where metal is everywhere apart."""
    for zone in first.zones:
        for other in second.zones:
            slack = ROUNDING * max(zone.outline.bounds[1], other.outline.bounds[1])
            if _polygon(zone.outline).distance(_polygon(other.outline)) <= slack:
                return zone.name, other.name
    return None


def _overlap(first: Outline, second: Outline) -> tuple[float, Bounds] | None:
    """Area and bounds of what two outlines share, or None if that is a boundary only."""
    shared = _polygon(first).intersection(_polygon(second))
    if shared.area <= ROUNDING * min(first.area, second.area):
        return None
    r_min, z_min, r_max, z_max = shared.bounds
    return shared.area, (r_min, r_max, z_min, z_max)


def _check_overlaps(members: list[Member]) -> None:
    """Raise for the first pair of parts whose zones overlap, with all their overlaps counted."""
    found = defaultdict(list)
    for (part, zone), (other, rival) in _close_pairs(members):
        shared = _overlap(zone.outline, rival.outline)
        if shared:
            found[part.name, other.name].append((shared, (part, zone), (other, rival)))
    for overlaps in found.values():
        raise GeometryError(_overlap_message(overlaps))


def _close_pairs(members: list[Member]) -> Iterator[tuple[Member, Member]]:
    """Pairs of zones whose bounds overlap."""
    boxes = np.array([zone.outline.bounds for _, zone in members]).reshape(-1, 4)
    for k, member in enumerate(members[:-1]):
        for other in np.flatnonzero(_meets(tuple(boxes[k]), boxes[k + 1:])):
            yield member, members[k + 1 + other]


def _overlap_message(overlaps: list[tuple[tuple[float, Bounds], Member, Member]]) -> str:
    """What overlaps, where, by how much, and what to do."""
    area = 1e6 * sum(shared[0] for shared, _, _ in overlaps)
    r_min, r_max, z_min, z_max = (f"{1e3 * edge:.6g}" for edge in _union(shared[1] for shared, _, _ in overlaps))
    (part, zone), (other, rival) = overlaps[0][1:]
    if part is other:
        first, second = (f"{zone.name} of {part.name}", zone.outline.bounds), (rival.name, rival.outline.bounds)
    else:
        first, second = (part.name, part.bounds), (other.name, other.bounds)
    return (f"{first[0]} and {second[0]} overlap at r = {r_min} to {r_max} mm, z = {z_min} to {z_max} mm ({area:.3g} mm2): "
            + _remedy(first, second))


def _union(boxes: Iterable[Bounds]) -> Bounds:
    r_min, r_max, z_min, z_max = zip(*boxes, strict=True)
    return min(r_min), max(r_max), min(z_min), max(z_max)


def _remedy(first: tuple[str, Bounds], second: tuple[str, Bounds]) -> str:
    """How the inner of two overlapping (name, bounds) can be made to fit, or how far one must move along z, whichever is less."""
    (near, inner), (far, outer) = sorted([first, second], key=lambda named: named[1][0])
    shift = min(inner[3] - outer[2], outer[3] - inner[2])
    if inner[0] == outer[0] or shift < inner[1] - outer[0]:
        return f"move one of them along z by at least {millimetres(shift)}, or make one smaller"
    return (f"{near} reaches r = {millimetres(inner[1])}, {far} begins at r = {millimetres(outer[0])}: "
            f"make {near} smaller or the bore of {far} larger")


def _check_turn_gaps(parts: Sequence[Part]) -> None:
    """Raise if a body reaches in between the neighbouring turns of a coil: the wire passes there on its way to the next turn."""
    coils, bodies = [p for p in parts if p.is_coil and len(p.zones) > 1], [p for p in parts if not p.is_coil and p.zones]
    for coil in coils:
        for body in bodies:
            if _meets(coil.bounds, np.array([body.bounds]))[0] and _reaches_between_turns(body, coil):
                raise GeometryError(f"{body.name} reaches in between the turns of {coil.name}: "
                                    + _remedy((body.name, body.bounds), (coil.name, coil.bounds)))


def _reaches_between_turns(body: Part, coil: Part) -> bool:
    from shapely import union_all
    outlines = [zone.outline for zone in coil.zones]
    paths = [union_all([_polygon(a), _polygon(b)]).convex_hull for a, b in pairwise(outlines) if _side_by_side(a.bounds, b.bounds)]
    metals = [(_polygon(zone.outline), zone.outline.area) for zone in body.zones]
    return any(path.intersection(metal).area > ROUNDING * min(path.area, area) for path in paths for metal, area in metals)


def _side_by_side(a: Bounds, b: Bounds) -> bool:
    """Whether two turns stand one above the other, or one about the other, as along one layer."""
    slack = ROUNDING * max(a[1], b[1])
    return abs(a[0] - b[0]) < slack or abs(a[2] - b[2]) < slack


def _check_lines(parts: Sequence[Part]) -> None:
    """Raise if a filament or a sheet lies inside metal or upon another one."""
    lines = [part for part in parts if part.filament or part.sheet]
    for k, line in enumerate(lines):
        if line.bounds[0] <= 0:
            raise GeometryError(f"{line.name} has radius {millimetres(line.bounds[0])}, which must be above 0: give a positive radius")
        for part in parts:
            if any(map(partial(_line_in, line), part.zones)):
                raise GeometryError(f"{line.name}, a {line.shape} at r = {millimetres(line.bounds[0])}, lies inside "
                                    f"the metal of {part.name}: give it another radius or height")
        for other in lines[k + 1:]:
            if _lines_meet(line.bounds, other.bounds):
                raise GeometryError(f"{line.name} and {other.name} lie upon one another at r = {millimetres(line.bounds[0])}: "
                                    "give one of them another radius or height")


def _line_in(line: Part, zone: Zone) -> bool:
    """Whether a sheet lies inside the zone, or a filament inside or upon its outline."""
    r, _, low, high = line.bounds
    r_min, r_max, z_min, z_max = zone.outline.bounds
    slack = ROUNDING * r_max * (1 if line.filament else -1)
    if not (r_min - slack <= r <= r_max + slack and low <= z_max + slack and high >= z_min - slack):
        return False
    from shapely import LineString, Point
    track = Point(r, low) if line.filament else LineString([(r, low), (r, high)])
    return bool(_polygon(zone.outline).buffer(slack).intersects(track))


def _lines_meet(a: Bounds, b: Bounds) -> bool:
    """Whether two filaments or sheets share more than an end."""
    slack = ROUNDING * max(a[1], b[1])
    gap = max(a[2], b[2]) - min(a[3], b[3])
    has_points = a[2] == a[3] or b[2] == b[3]
    return abs(a[0] - b[0]) <= slack and (gap <= slack if has_points else gap < -slack)
