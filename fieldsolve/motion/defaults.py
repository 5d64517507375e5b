"""Default motions of a shot: bodies flow, turns stretch and burst."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from fieldsolve.materials.material import Material
from fieldsolve.motion.contract import DeformingMotion, Motion
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.hoops.motion import HoopMotion
from fieldsolve.motion.plastic_flow.motion import FlowMotion
from geometries.cross_section import CrossSection
from geometries.parts import Part

FULL_FINENESS_ACCURACY, LEAST_FINENESS = 1.7e-3, 0.5


def cell_fineness(accuracy: float) -> float:
    """Cells of what flows for a relative accuracy of a shot: errors go with their square, and below half the rows bending is lost."""
    return max(LEAST_FINENESS, min(1.0, math.sqrt(FULL_FINENESS_ACCURACY / accuracy)))


def default_motions(section: CrossSection, former: Former | None = None,
                    fineness: float = 1.0) -> tuple[dict[str, Motion], dict[str, str]]:
    """The motion of every part that can move, and the reason in words why the others are held still; both by name.

    former    what the coils' turns are wound on or cast in, shared evenly among the turns that move
    fineness  of the cells of what flows
    """
    reasons = {part.name: _reason_fixed(part) for part in section.parts}
    turns = sum(len(part.zones) for part in section.parts if part.is_coil and not reasons[part.name])
    motions = {part.name: HoopMotion(former and former.portion(len(part.zones) / turns)) if part.is_coil else FlowMotion(fineness)
               for part in section.parts if not reasons[part.name]}
    return motions, {name: reason for name, reason in reasons.items() if reason}


def with_grids(section: CrossSection, motions: Mapping[str, Motion]) -> CrossSection:
    """The section with the lines that no triangle of the field may cross: those between the cells of a motion."""
    grids = {name: motion.grid(section.part(name)) for name, motion in motions.items() if isinstance(motion, DeformingMotion)}
    return replace(section, parts=tuple(replace(part, grid=grids[part.name]) if grids.get(part.name) else part for part in section.parts))


def max_cell_sizes(section: CrossSection, motions: Mapping[str, Motion]) -> dict[str, float]:
    """Largest cell in m at the surface of the parts whose motion limits it, by name."""
    sizes = {name: motion.max_cell_size(section.part(name)) for name, motion in motions.items() if isinstance(motion, DeformingMotion)}
    return {name: size for name, size in sizes.items() if math.isfinite(size)}


def refine_motions(motions: Mapping[str, Motion], factor: float = 2.0) -> dict[str, Motion]:
    """The same motions with cells of 1/factor of the size."""
    return {name: motion.refined(factor) if isinstance(motion, DeformingMotion) else motion for name, motion in motions.items()}


def _reason_fixed(part: Part) -> str:
    """Why a part cannot move, in words; empty if it can."""
    metals: list[Material | None] = [zone.material for zone in part.zones]
    if not part.zones or part.stranded:
        return "it is not a single conductor"
    incomplete = [metal.name if metal else "its metal" for metal in metals if metal is None or metal.mechanical is None]
    if incomplete:
        return f"{incomplete[0]} has no mechanical data"
    if any(metal.remanence for metal in metals):
        return "its metal is a magnet"
    if not part.is_coil and not all(zone.outline.is_rectangle for zone in part.zones):
        return "it is made of other shapes than rectangles"
    return ""
