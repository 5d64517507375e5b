"""The rig on the sheet: coil and bodies at rest, to scale, with the dimensions that a person checks with a caliper."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.styles import FONT, axis_line, new_axes
from geometries.parts import Part

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.shot.result.shot import Shot

STEP = 0.13             # between lines of dimensions, of the picture's larger side
SIZE = (3.5, 2.36)      # inches on paper
EXTENSION = {"color": "0.5", "linewidth": 0.5}


def plot_rig(shot: Shot | Case, size: tuple[float, float] = SIZE):
    """The half section at rest in millimetres: diameters measured from the axis, heights beside it; returns the axes."""
    ax = new_axes(*size)
    parts = [part for part in shot.section.parts if part.zones]
    for part in parts:
        for zone in part.zones:
            r, z = MM * zone.outline.polygon(48).T
            ax.fill(r, z, facecolor="0.88" if part.is_coil else "0.65", edgecolor="black", linewidth=0.8)
    box = [MM * bound for bound in shot.section.bounds]
    step = STEP * max(box[1], box[3] - box[2])
    _diameters(ax, parts, box, step)
    _heights(ax, parts, box, step)
    axis_line(ax)
    ax.set(xlabel="r [mm]", ylabel="z [mm]", aspect="equal", xlim=(0, None))
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def _diameters(ax, parts: list[Part], box, step: float) -> None:
    """From the axis to edges: above the section to the bore of each coil, below it to hole and rim of each body."""
    above = [(part, MM * part.bounds[0], "bore") for part in parts if part.is_coil]
    below = [(part, MM * r, word) for part in parts if not part.is_coil
             for r, word in zip(part.bounds[:2], ("hole", ""), strict=True) if r > 0]
    for side, entries in ((1, above), (-1, below)):
        for number, (part, r, word) in enumerate(entries, start=1):
            z = (box[3] if side > 0 else box[2]) + side * number * step
            edge = MM * part.bounds[3 if side > 0 else 2]
            ax.plot([r, r], [edge, z + 0.2 * side * step], **EXTENSION)
            _arrow(ax, (0.0, z), (r, z))
            ax.text(0.15 * step, z + 0.1 * step, f"{_short(part)} {word and word + ' '}⌀{2 * r:.4g}", fontsize=FONT, va="bottom")
    room = 0.8 * step
    ax.set_ylim(box[2] - len(below) * step - room, box[3] + len(above) * step + 2 * room)


def _heights(ax, parts: list[Part], box, step: float) -> None:
    """Height of each coil and thickness or length of each body, outside of all."""
    for number, part in enumerate(parts, start=1):
        _, outer, low, high = (MM * bound for bound in part.bounds)
        r = box[1] + number * 1.1 * step
        for z in (low, high):
            ax.plot([outer, r + 0.2 * step], [z, z], **EXTENSION)
        _arrow(ax, (r, low), (r, high))
    labels = "\n".join(f"{_short(part)} {'tall' if part.is_coil or _is_long(part) else 'thick'} "
                       f"{MM * (part.bounds[3] - part.bounds[2]):.4g}{_wall(part)}" for part in parts)
    ax.text(box[1] + (len(parts) + 0.6) * 1.1 * step, MM * 0.5 * (parts[0].bounds[2] + parts[0].bounds[3]), labels, fontsize=FONT,
            ha="left", va="center")
    ax.set_xlim(0, box[1] + (len(parts) + 0.6) * 1.1 * step)


def _arrow(ax, start: tuple[float, float], end: tuple[float, float]) -> None:
    ax.annotate("", end, start, arrowprops={"arrowstyle": "<->", "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 6})


def _is_long(part: Part) -> bool:
    return part.bounds[3] - part.bounds[2] > part.bounds[1] - part.bounds[0]


def _wall(part: Part) -> str:
    """Wall of a hollow body, turns of a coil."""
    if part.is_coil:
        return f", {part.turns:g} turns"
    return f", wall {MM * (part.bounds[1] - part.bounds[0]):.4g}" if part.bounds[0] > 0 and _is_long(part) else ""


def _short(part: Part) -> str:
    return part.name if len(part.name) <= 16 else f"{part.name[:13]}..."
