"""The plane map of a field: flux lines over the magnitude of B, with the outlines of the metal."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field.plottable_field import PlottableField
from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.styles import FONT, add_colour_scale, axis_line, plane_axes
from fieldsolve.report.sampling.colour_levels import area_quantile_and_largest, band_colours, colour_levels, readable_ticks
from fieldsolve.report.sampling.outlines import Extent, draw_metal, shown_extent
from fieldsolve.report.sampling.triangulation import FieldTriangulation, triangulate_field
from fieldsolve.units import display

LIGHT, DARK = "#f5f8fb", "#2e69a3"      # of |B|: one hue, even in lightness; black lines stay readable on the darkest
LINES, MOST_LINES = 24, 40              # flux lines: about, and at most where a line current crowds them
MOST_OVER_TOP = 1.0                     # times the field of most of the area: up to there the colours go beside a line current


def plot_field(field: PlottableField, ax=None, extent: Extent | None = None):
    """Flux lines, with equal flux between neighbours, over |B| in tesla, with the outlines of the metal; returns the axes.

    extent   r_min, r_max, z_min, z_max in metres, meshed or not; by default the metal where it stands, the axis and some room around
    Of phasors |B| is the largest over the cycle and the lines are those of the instant at which the flux is largest.
    Where a few places tower over the rest the bands of colour grow by 1, 2, 5 up to the largest |B|; beside a line current, whose field
    has no largest value, the colours end before and the colour bar's arrow says so.
    """
    box = extent or shown_extent(field)
    ax = plane_axes(box) if ax is None else ax
    shown = triangulate_field(field, box)
    _fill_magnitude(ax, shown, box, any(part.filament or part.sheet for part in field.section.parts))
    _draw_flux_lines(ax, shown, box)
    draw_metal(ax, field)
    if box[0] <= 0:
        axis_line(ax)
    margin = 0.02 * (box[1] - box[0]) if box[0] == 0 else 0.0
    ax.set(xlim=(MM * (box[0] - margin), MM * box[1]), ylim=(MM * box[2], MM * box[3]), aspect="equal", xlabel="r [mm]", ylabel="z [mm]")
    return ax


def magnitude(B_r: np.ndarray, B_z: np.ndarray) -> np.ndarray:
    """|B|; of phasors the largest over the cycle, sqrt((|B_r|^2 + |B_z|^2 + |B_r^2 + B_z^2|) / 2)."""
    squares = np.abs(B_r) ** 2 + np.abs(B_z) ** 2
    return np.sqrt((squares + np.abs(B_r**2 + B_z**2)) / 2)


def _fill_magnitude(ax, shown: FieldTriangulation, box: Extent, unbounded: bool) -> None:
    B = magnitude(shown.B_r, shown.B_z)
    top, largest = _box_quantile_and_largest(shown, B, box)
    levels = colour_levels(top, largest, MOST_OVER_TOP * top if unbounded else math.inf)
    filled = ax.tricontourf(MM * shown.r, MM * shown.z, shown.triangles, B, extend="max" if largest > levels[-1] else "neither",
                            **band_colours("flux density", (LIGHT, DARK), levels))
    label = "largest |B| over the cycle [T]" if np.iscomplexobj(shown.B_z) else "|B| [T]"
    add_colour_scale(ax, filled, label + (", above it near the line current" if largest > levels[-1] else ""), box, readable_ticks(levels))


def _draw_flux_lines(ax, shown: FieldTriangulation, box: Extent) -> None:
    """Flux lines at half-odd multiples of a round step, so that none lies on the axis; the step stands above the map."""
    flux = _flux_at_peak(shown.flux)
    low, high = -_box_quantile_and_largest(shown, -flux, box)[0], _box_quantile_and_largest(shown, flux, box)[0]
    if not high > low:
        return
    step = _round_step((high - low) / LINES)
    first, last = math.ceil(flux.min() / step - 0.5), math.floor(flux.max() / step - 0.5)
    numbers = np.arange(max(first, round(low / step) - MOST_LINES), min(last, round(high / step) + MOST_LINES) + 1)
    ax.tricontour(MM * shown.r, MM * shown.z, shown.triangles, flux, levels=step * (numbers + 0.5), colors="black", linewidths=0.6,
                  linestyles="solid")
    ax.set_title(f"flux lines every {display(step, 'Wb').replace(' u', ' µ')}", fontsize=FONT)


def _flux_at_peak(flux: np.ndarray) -> np.ndarray:
    """Flux; of phasors at the instant at which its mean square is largest."""
    return (flux * np.exp(-0.5j * np.angle(np.sum(flux**2)))).real if np.iscomplexobj(flux) else flux


def _round_step(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return float(next(m * power for m in (1, 2, 5, 10) if m * power >= step * (1 - 1e-12)))


def _box_quantile_and_largest(shown: FieldTriangulation, values: np.ndarray, box: Extent) -> tuple[float, float]:
    """Value that is not exceeded in most of the box's area, and the largest in the box."""
    return area_quantile_and_largest(shown.r[shown.triangles], shown.z[shown.triangles], values[shown.triangles], box)
