"""A body before and after a shot, cut along its axis, with dimension lines."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.styles import FONT, axis_line, new_axes
from fieldsolve.shot.result.dimensions import Dimensions, has_dimensions
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

ROOM = 0.45             # of the larger side around the body, for the dimension lines
TINT = "0.82"
ABOVE_ARROW = 4.0       # points: words above a dimension line, clear of its heads
SAME_PLACE = 0.05       # of the radius: thickest nearer to the axis than that is thickest at the axis
ARROW = {"arrowstyle": "<->", "linewidth": 0.9, "shrinkA": 0, "shrinkB": 0}


@known_keywords
def plot_dimensions(shot: Shot, name: str | None = None, ax=None):
    """A flat body at the end of a shot, cut along its axis, with the dimensions that a calliper measures; the start dashed.

    Parameters
    ----------
    shot : Shot
    name : str, optional
        Part; the first flat body that moved by default.
    ax : matplotlib axes, optional
        Where to draw; new ones by default.

    Returns
    -------
    axes

    Raises
    ------
    InputError
        Where no flat body moved.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=2, bore_radius=10.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> disc = geo.disc(radius=10e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=2e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=5e-6, accuracy=3e-2, error_bounds=False)
    >>> plot_dimensions(shot).get_ylabel()
    'z [mm]'
    """
    name = name or first_flat_body(shot)
    dimensions = shot.dimensions(name)
    before, after = shot.profile(name, 0.0), shot.profile(name, float(shot.times[-1]))
    outer = max(float(loop[:, 0].max()) for profile in (before, after) for loop in profile.outlines)
    low, high = (pick(float(pick(loop[:, 1])) for profile in (before, after) for loop in profile.outlines) for pick in (min, max))
    room = ROOM * max(outer, high - low)
    ax = new_axes(7.6, 1.4 + 6.0 * (high - low + 2 * room) / (2 * (outer + room))) if ax is None else ax
    for side in (1, -1):
        for loop in after.outlines:
            ax.fill(side * MM * loop[:, 0], MM * loop[:, 1], facecolor=TINT, edgecolor="black", linewidth=1.0, zorder=2)
        for loop in before.outlines:
            ax.plot(*(MM * np.append(loop, loop[:1], axis=0) * (side, 1)).T, color="0.4", linewidth=0.8, linestyle=(0, (4, 3)), zorder=3)
    axis_line(ax)
    _draw_thicknesses(ax, dimensions, after, high, room)
    _draw_diameters(ax, dimensions, low, room)
    ax.set(aspect="equal", xlim=(-MM * (outer + room), MM * (outer + room)), ylim=(MM * (low - room), MM * (high + room)),
           xlabel="r [mm]", ylabel="z [mm]")
    ax.set_xticks(ticks := [tick for tick in ax.get_xticks() if abs(tick) <= MM * (outer + room)], [f"{abs(tick):g}" for tick in ticks])
    ax.set_title(f"{name} at {1e6 * shot.times[-1]:.3g} µs, dashed at the start; lengths in mm", fontsize=FONT)
    return ax


def first_flat_body(shot: Shot) -> str:
    """Name of the first flat body that moved.  Raises InputError where none did."""
    from fieldsolve.errors import InputError

    for name in shot.bodies:
        if has_dimensions(shot, name):
            return name
    raise InputError("no flat body moved in this shot; solve it with motion=True, or give a disc, a washer or a plate")


def _draw_thicknesses(ax, dimensions: Dimensions, profile, high: float, room: float) -> None:
    """Arrows across the metal: at the axis, at half the radius, where there is most, and over the rim's tenth; words in rows above."""
    outer = 0.5 * float(dimensions.largest_diameter)
    largest = dimensions.largest_thickness_radius
    places = [("rim's tenth", 0.95 * outer, dimensions.rim_thickness), ("half radius", 0.5 * outer, dimensions.mid_radius_thickness),
              ("largest", -largest if largest > SAME_PLACE * outer else None, dimensions.largest_thickness),
              ("axis", 0.0, dimensions.axis_thickness)]
    shown = [place for place in places if place[1] is not None and place[2] is not None]
    for row, (word, radius, thickness) in enumerate(shown):
        low, top = _span(profile, abs(radius))
        x, z = MM * radius, MM * (high + room * (0.1 + 0.2 * row))
        ax.annotate("", (x, MM * low), (x, MM * top), arrowprops=ARROW, zorder=4)
        ax.plot([x, x], [MM * top, z], color="0.5", linewidth=0.6, zorder=1)
        ax.text(x, z, f" {word} {MM * float(thickness):.2f}", ha="left" if radius >= 0 else "right", va="bottom", fontsize=FONT)


def _span(profile, radius: float) -> tuple[float, float]:
    """Lowest and highest metal in m at a radius, from the outlines; the next corner's where the line misses them."""
    heights = []
    for loop in profile.outlines:
        first, second = loop, np.roll(loop, -1, axis=0)
        crosses = (first[:, 0] <= radius) != (second[:, 0] <= radius)
        share = (radius - first[crosses, 0]) / (second[crosses, 0] - first[crosses, 0])
        heights += list(first[crosses, 1] + share * (second[crosses, 1] - first[crosses, 1]))
        if radius == 0.0:
            heights += list(loop[loop[:, 0] <= 1e-9 * loop[:, 0].max(), 1])
    if not heights:
        corners = np.concatenate(profile.outlines)
        heights = list(corners[np.abs(corners[:, 0] - radius).argsort()[:2], 1])
    return float(min(heights)), float(max(heights))


def _draw_diameters(ax, dimensions: Dimensions, low: float, room: float) -> None:
    """Dimension lines below: over the corners and at the middle of the rim."""
    for row, (word, diameter) in enumerate([("over the corners", dimensions.diameter_at_corners),
                                            ("at the rim's middle", dimensions.diameter_at_middle)]):
        half, z = 0.5 * MM * float(diameter), MM * (low - room * (0.38 + 0.4 * row))
        ax.annotate("", (-half, z), (half, z), arrowprops=ARROW, zorder=4)
        for side in (1, -1):
            ax.plot([side * half] * 2, [z, 0.0], color="0.5", linewidth=0.6, zorder=1)
        ax.annotate(f"diameter {2 * half:.2f} {word}", (0.0, z), xytext=(0.0, ABOVE_ARROW), textcoords="offset points", ha="center",
                    va="bottom", fontsize=FONT, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5}, zorder=3)
