"""Flux density along straight lines, drawn with the metal that they run through."""
from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.field.plottable_field import PlottableField
from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.flux_map import magnitude
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, new_axes, powers_of_ten
from fieldsolve.report.sampling.outlines import default_extent, metal_spans

POINTS = 601
VISIBLE_SHARE = 0.01          # a component whose mean is smaller than this share of the other's is not drawn
COMPONENT_LABELS = {"B_r": "$B_r$", "B_z": "$B_z$", "|B|": "|B|"}
SPIKE_RATIO = 3.0             # a largest value beyond this many times the 98th percentile is a line current's and is cut


def plot_axis(field: PlottableField, ax=None):
    """B_z in tesla along the axis, over the section's height and beyond; returns the axes."""
    _, _, low, high = default_extent(field.section)
    z = np.linspace(low, high, POINTS)
    ax = new_axes(6, 4) if ax is None else ax
    _shade_metal(ax, [(low + a, low + b) for a, b in metal_spans(field.section, (0.0, low), (0.0, high))])
    _draw_components(ax, z, {"$B_z$": field.flux_density(np.zeros(POINTS), z)[1]})
    _label_axes(ax, "z [mm]", "on the axis")
    return ax


def plot_radius(field: PlottableField, z: float | None = None, ax=None):
    """B_z, and B_r where it is not zero, in tesla along r at height `z` in metres (mid-plane if None); returns the axes."""
    z = field.section.centre if z is None else z
    inner, outer, _, _ = default_extent(field.section)
    r = np.linspace(inner, outer, POINTS)
    B_r, B_z = field.flux_density(r, np.full(POINTS, z))
    ax = new_axes(6, 4) if ax is None else ax
    _shade_metal(ax, [(inner + a, inner + b) for a, b in metal_spans(field.section, (inner, z), (outer, z))])
    _draw_components(ax, r, {"$B_z$": B_z, **({"$B_r$": B_r} if np.abs(B_r).mean() > VISIBLE_SHARE * np.abs(B_z).mean() else {})})
    _label_axes(ax, "r [mm]", f"at z = {MM * z:.4g} mm")
    return ax


def plot_line(field: PlottableField, start: tuple[float, float], end: tuple[float, float], ax=None):
    """B_z and B_r in tesla along the straight line between two points (r, z) in metres; returns the axes."""
    share = np.linspace(0, 1, POINTS)
    r, z = (a + share * (b - a) for a, b in zip(start, end, strict=True))
    B_r, B_z = field.flux_density(r, z)
    ax = new_axes(6, 4) if ax is None else ax
    _shade_metal(ax, metal_spans(field.section, start, end))
    _draw_components(ax, share * math.dist(start, end), {"$B_z$": B_z, "$B_r$": B_r})
    _label_axes(ax, "distance [mm]", _line_text(start, end))
    return ax


def plot_line_compared(fields: Mapping[str, PlottableField], start: tuple[float, float], end: tuple[float, float], component: str = "B_z",
                       ax=None):
    """One component of B in tesla along the straight line between two points (r, z) in metres, for several fields; returns the axes.

    fields     each field under the label of its line, such as {"with the disc": ..., "without": ...}
    component  'B_r', 'B_z' or '|B|'; of phasors the amplitude, or the largest |B| over the cycle
    Grey bands are where the line runs in metal of any of the fields.
    """
    if component not in COMPONENT_LABELS:
        raise InputError(f"component = {component!r}: choose {', '.join(COMPONENT_LABELS)}")
    share = np.linspace(0, 1, POINTS)
    r, z = (a + share * (b - a) for a, b in zip(start, end, strict=True))
    ax = new_axes(6, 4) if ax is None else ax
    _shade_metal(ax, sorted({span for field in fields.values() for span in metal_spans(field.section, start, end)}))
    _draw_components(
        ax, share * math.dist(start, end), {name: _component(field.flux_density(r, z), component) for name, field in fields.items()}
    )
    phasors = any(np.iscomplexobj(field.flux_density(r[:1], z[:1])[1]) for field in fields.values())
    symbol = f"{'amplitude of ' if phasors and component != '|B|' else 'largest ' if phasors else ''}{COMPONENT_LABELS[component]}"
    ax.set_ylabel(f"{symbol}{' over the cycle' if phasors and component == '|B|' else ''} [T]")
    _label_axes(ax, "distance [mm]", _line_text(start, end))
    return ax


def _component(B: tuple[np.ndarray, np.ndarray], component: str) -> np.ndarray:
    return magnitude(*B) if component == "|B|" else B[("B_r", "B_z").index(component)]


def _line_text(start: tuple[float, float], end: tuple[float, float]) -> str:
    (r_0, z_0), (r_1, z_1) = (tuple(MM * x for x in point) for point in (start, end))
    return f"from (r, z) = ({r_0:.4g}, {z_0:.4g}) mm to ({r_1:.4g}, {z_1:.4g}) mm"


def _label_axes(ax, along: str, where: str) -> None:
    ax.set_xlabel(along)
    ax.set_title(where, fontsize=FONT)


def _shade_metal(ax, spans: list[tuple[float, float]]) -> None:
    """Grey bands where the line runs in metal, each with its borders."""
    for k, (a, b) in enumerate(spans):
        ax.axvspan(MM * a, MM * b, facecolor="0.87", edgecolor="0.6", linewidth=0.6, zorder=0, label="_" if k else "metal")


def _draw_components(ax, places: np.ndarray, components: dict[str, np.ndarray]) -> None:
    """Lines of different style over `places` in metres; of phasors the amplitudes."""
    phasors = any(map(np.iscomplexobj, components.values()))
    values = {name: np.abs(B) if phasors else B for name, B in components.items()}
    for (name, B), (style, shade) in zip(values.items(), LINE_STYLES * len(values), strict=False):
        ax.plot(MM * places, B, style, color=shade, linewidth=1.5, label=name)
    ax.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
    ax.set(xlim=(MM * places[0], MM * places[-1]), ylabel=_axis_label(list(values), phasors))
    ax.spines[["top", "right"]].set_visible(False)
    powers_of_ten(ax)
    _cut_spikes(ax, np.concatenate(list(values.values())))
    if len(ax.get_legend_handles_labels()[0]) > 1:
        ax.legend(frameon=False, fontsize=FONT)


def _axis_label(names: list[str], phasors: bool) -> str:
    return f"{'amplitude of ' if phasors else ''}{names[0] if len(names) == 1 else '$B$'} [T]"


def _cut_spikes(ax, values: np.ndarray) -> None:
    top = float(np.quantile(np.abs(values), 0.98))
    if np.abs(values).max() > SPIKE_RATIO * top > 0:
        low, high = min(0.0, float(values.min())), max(0.0, float(values.max()))
        ax.set_ylim(max(low, -1.2 * top), min(high, 1.2 * top))
