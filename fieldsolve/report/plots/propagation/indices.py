"""What matters: the sensitivity indices of each input as bars, for each of the main quantities."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.plots.styles import FONT, new_axes, new_figure

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Band, Bands

MAIN = ("peak current of", "peak field in bore", "radius ratio of", "radius of", "burst time of", "peak speed of", "peak radial force on",
        "peak temperature of", "reversal of")          # beginnings of names, by rank
MOST_PANELS, MOST_INPUTS, MOST_STACKED = 6, 8, 4
SHADES = ("0.15", "0.45", "0.7", "0.88")
HATCHES = ("", "////", "", "....")


def plot_indices(bands: Bands, axes=None, width: float = 7.2):
    """First-order and total indices of each input, a panel for each of the main quantities; returns the axes."""
    rows, inputs = main_quantities(bands, MOST_PANELS), _ranked_inputs(bands)
    panels = int(np.ceil(len(rows) / 2))
    if axes is None:
        figure = new_figure(width, panels * (0.62 + 0.18 * len(inputs)) + 0.5)
        axes = figure.subplots(panels, 2, sharex=True, sharey=True, squeeze=False)
        figure.supxlabel("share of the variance [%]: dark alone, light with the others", fontsize=FONT)
    flat = np.ravel(axes)
    for ax, row in zip(flat, rows, strict=False):
        _draw_bars(ax, row, inputs)
    for ax in flat[len(rows):]:
        ax.set_axis_off()
    flat[0].set_ylim(len(inputs) - 0.5, -0.5)
    flat[0].set_xlim(0, 100)
    return axes


def plot_main_shares(bands: Bands, size: tuple[float, float]):
    """The main quantities as bars that are divided among the inputs by their total indices, on new axes of a size in inches."""
    ax, rows, inputs = new_axes(*size), main_quantities(bands, 4), _ranked_inputs(bands)
    first, others = inputs[:MOST_STACKED - 1], inputs[MOST_STACKED - 1:]
    left = np.zeros(len(rows))
    named = [*((name, [row.total.get(name, 0.0) for row in rows]) for name in first),
             ("others", [sum(row.total.get(name, 0.0) for name in others) for row in rows])]
    whole = np.maximum(np.sum([shares for _, shares in named], axis=0), 1e-12)
    for (name, shares), shade, hatch in zip(named, SHADES, HATCHES, strict=False):
        if max(shares) > 0:
            widths = 100 * np.array(shares) / whole
            ax.barh(range(len(rows)), widths, left=left, color=shade, hatch=hatch, edgecolor="white", linewidth=0.5, label=name, height=0.7)
            left = left + widths
    ax.set_yticks(range(len(rows)), [short_name(row.name) for row in rows])
    ax.set(xlim=(0, 100), ylim=(len(rows) - 0.5, -0.5), xlabel="share of the variance [%]")
    ax.spines[["top", "right"]].set_visible(False)
    ax.legend(frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, handlelength=1.2, columnspacing=1.0, borderaxespad=0.1,
              fontsize=FONT)
    return ax


def main_quantities(bands: Bands, most: int) -> list[Band]:
    """The rows that matter most to a workshop, first of each kind."""
    ranked = [row for beginning in MAIN for row in bands.rows if row.name.startswith(beginning)]
    currents = [row for row in ranked if row.name.startswith("peak current of")][:2]
    others = {row.name.split(" of ")[0]: row for row in reversed(ranked) if row not in currents}
    if "radius ratio" in others:
        others.pop("radius", None)
    return [*currents, *(row for row in ranked if row in others.values())][:most]


def short_name(name: str) -> str:
    """A quantity's name for a narrow axis.

    >>> short_name("peak radial force on disc")
    'force on disc'
    """
    return name.removeprefix("peak ").removeprefix("radial ")


def _ranked_inputs(bands: Bands) -> list[str]:
    """Inputs by the sum of their total indices over the main quantities."""
    rows = main_quantities(bands, MOST_PANELS)
    sums = {name: sum(row.total[name] for row in rows) for name in rows[0].total} if rows else {}
    return sorted(sums, key=lambda name: -sums[name])[:MOST_INPUTS]


def _draw_bars(ax, row: Band, inputs: list[str]) -> None:
    places = np.arange(len(inputs))
    ax.barh(places, [100 * row.total[name] for name in inputs], color="0.8", height=0.7)
    ax.barh(places, [100 * row.first_order[name] for name in inputs], color="0.3", height=0.4)
    ax.set_yticks(places, inputs)
    ax.set_title(row.name, fontsize=FONT, loc="left")
    ax.spines[["top", "right"]].set_visible(False)
