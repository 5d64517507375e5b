"""The current density in the metal, at an instant or its largest over the cycle, as a plane map, and which way each part's current runs."""
from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.field.plottable_field import PlottableCurrents
from fieldsolve.report.display_units import KILO, MM, PER_MM2
from fieldsolve.report.plots.styles import FONT, add_colour_scale, plane_axes
from fieldsolve.report.sampling.colour_levels import area_quantile_and_largest, band_colours, colour_levels, readable_ticks
from fieldsolve.report.sampling.outlines import Extent, draw_metal
from fieldsolve.report.sampling.thin_walls import describe_walls, mesh_as_drawn, thick_walls
from fieldsolve.report.sampling.two_sided_field import TwoSidedDensity, triangle_lattice, two_sided_current_density
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField

LIGHT, DARK = "#fdf8f0", "#8a4b08"      # of |J|: one hue, even in lightness
EDGE_PARTS = 3                               # pieces of a triangle's edge
VISIBLE_SHARE = 0.02  # metal in which |J| stays below this share of the part's largest may lie outside the picture
SLIMMEST = 0.5                          # width over height of a picture; of a longer body air beside it is shown
AXIS_SHARE = 0.3              # a picture that would begin below this share of the largest r begins on the axis
MARGIN = 0.06                           # around the metal, of the picture's larger side


def plot_current_density(field: PlottableCurrents, ax=None, extent: Extent | None = None):
    """|J| in A/mm^2 in the metal, largest over the cycle, with each part's current, its direction and largest |J|; returns the axes.

    field    solved at a frequency, or of a shot at one instant
    extent   r_min, r_max, z_min, z_max in metres; by default that of the metal in which current runs
    A direction at a frequency is that at the instant at which the driving current, or else the applied field, is largest.
    Raises InputError where there is no metal, for line currents have no current density.
    """
    weights, pieces = triangle_lattice(EDGE_PARTS)
    metal = {part.name: two_sided_current_density(field, field.mesh.part_triangles(part.name), weights)
             for part in field.section.parts if part.zones}
    if not metal:
        raise InputError("no part has a section in which a current density could be drawn")
    box = extent or _conducting_extent(metal)
    walls = thick_walls(field.mesh, metal, box)
    lines = len(metal) + 1 + bool(walls)
    ax = plane_axes(box, key=lines) if ax is None else ax
    drawn = {name: replace(density, **dict(zip("rz", walls[name].places(density.r, density.z), strict=True))) if name in walls else density
             for name, density in metal.items()}
    _fill_density(ax, [(density, density.places[:, pieces].reshape(-1, 3)) for density in drawn.values()], box)
    draw_metal(ax, field, width=0.8, mesh=mesh_as_drawn(field.mesh, walls))
    ax.set(xlim=(MM * box[0], MM * box[1]), ylim=(MM * box[2], MM * box[3]), aspect="equal", xlabel="r [mm]", ylabel="z [mm]")
    _add_legend(ax, field, metal, describe_walls(walls))
    return ax


def _fill_density(ax, metal: list[tuple[TwoSidedDensity, np.ndarray]], box: Extent) -> None:
    """|J| over the triangles of each part, on one scale for all up to the largest."""
    corners = [np.stack([density.r, density.z, PER_MM2 * np.abs(density.J_phi)])[:, triangles] for density, triangles in metal]  # (3, m, 3)
    top, largest = area_quantile_and_largest(*np.concatenate(corners, axis=1), box)
    scale, unit = (KILO, "kA/mm²") if largest >= 1 / KILO else (1.0, "A/mm²")
    levels = colour_levels(scale * top, scale * largest)
    for density, triangles in metal:
        filled = ax.tricontourf(MM * density.r, MM * density.z, triangles, scale * PER_MM2 * np.abs(density.J_phi),
                                **band_colours("current density", (LIGHT, DARK), levels))
    phasors = any(np.iscomplexobj(density.J_phi) for density, _ in metal)
    add_colour_scale(ax, filled, f"largest |J| over the cycle [{unit}]" if phasors else f"|J| [{unit}]", box, readable_ticks(levels))


def _conducting_extent(metal: dict[str, TwoSidedDensity]) -> Extent:
    """Extent of the metal in which current runs, in metres, and a margin; from the axis where it is near."""
    visible = {name: np.abs(density.J_phi) >= VISIBLE_SHARE * np.abs(density.J_phi).max() for name, density in metal.items()}
    r, z = (np.concatenate([getattr(density, axis)[visible[name]] for name, density in metal.items()]) for axis in "rz")
    margin = MARGIN * max(np.ptp(r), np.ptp(z))
    inner, outer, low, high = float(r.min()) - margin, float(r.max()) + margin, float(z.min()) - margin, float(z.max()) + margin
    inner = 0.0 if inner < AXIS_SHARE * r.max() else inner
    missing = max(0.0, SLIMMEST * (high - low) - (outer - inner))
    return max(0.0, inner - 0.5 * missing), max(outer + 0.5 * missing, outer + missing - inner), low, high


def _add_legend(ax, field: PlottableCurrents, metal: dict[str, TwoSidedDensity], note: str) -> None:
    """A line for each part above the picture."""
    from matplotlib.lines import Line2D

    phasors = any(np.iscomplexobj(density.J_phi) for density in metal.values())
    phase, instant = _reference_phase(field) if phasors else (0.0, "")
    currents = {name: complex(field.net_current(name)) for name in metal}
    entries = [Line2D([], [], linestyle="none", color="black", markersize=8, markeredgewidth=0,
                      marker=r"$\otimes$" if math.cos(cmath.phase(current) - phase) >= 0 else r"$\odot$") for current in currents.values()]
    texts = [
        f"{name}: {_current_text(field, name, current, phasors)}, |J| to {_density_text(PER_MM2 * np.abs(metal[name].J_phi).max())}"
        for name, current in currents.items()
    ]
    title = "$\\otimes$ into the page (+φ), $\\odot$ out of it" + (f", at the largest {instant}" if instant else "")
    title += f"\n{note}" if note else ""
    ax.legend(entries, texts, title=title, loc="lower left",
              bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=FONT, title_fontsize=FONT, alignment="left", handletextpad=0.3,
              borderpad=0.2, borderaxespad=0.2)


def _current_text(field: PlottableCurrents, name: str, current: complex, phasor: bool) -> str:
    per_turn = " per turn" if field.section.part(name).turns != 1 else ""
    if not phasor:
        return f"{display(abs(current), 'A')}{per_turn}"
    return f"{display(abs(current), 'A')}{per_turn} at {round(math.degrees(cmath.phase(current)))}°".replace("-", "−")


def _density_text(density: float) -> str:
    """A current density in A/mm^2 with three digits and its unit."""
    return f"{KILO * density:.3g} kA/mm²" if density >= 1 / KILO else f"{density:.3g} A/mm²"


def _reference_phase(field: HarmonicField) -> tuple[float, str]:
    """Phase and name of what drives the field: the coil with most ampere turns, else the applied field."""
    driven = driven_coils(field)
    if not driven:
        return cmath.phase(field.fine.problem.applied_field), "applied field"
    name = max(driven, key=lambda coil: abs(field.currents[coil]) * field.section.part(coil).turns)
    return cmath.phase(field.currents[name]), f"current of {name}"


def driven_coils(field: HarmonicField) -> list[str]:
    """Names of the coils with a given current or voltage."""
    return [*field.fine.problem.currents, *field.fine.problem.voltages]
