"""Where the banks' energy is over the time of a shot, stacked to 100 %, each store and sink with its name at its band."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import KILO, US
from fieldsolve.report.plots.styles import FONT, new_axes
from fieldsolve.report.plots.time_axes import style_axes

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FADED_ALPHA = 0.5             # how much what is beyond the model is faded
VISIBLE_SHARE = 0.005            # of the initial energy; what never exceeds it is stacked as one
SINK_COLOURS = ("#f6dfb8", "#b9762c", "#f3c3ab", "#8f4327", "#f4e59c", "#a08a1f", "#e7b7c6", "#8c3d63")     # light and dark in turn,
STORE_COLOURS = ("#cfe2f2", "#4b87b8", "#bfe3d6", "#2f7f6b", "#dacfeb", "#6d55a0", "#d5d5d5", "#5e5e5e")    # so that grey parts them
NAME_WIDTH = 0.58           # of a letter over its height
SIDE_ROOM = 0.17            # of the time at both ends, where no name stands in a band


def plot_energy(shot: Shot, ax=None, most: int | None = None):
    """Stores and sinks in percent of the banks' initial energy, stacked, stores on top; returns the axes.

    most  how many stores and sinks stand apart, the largest ones; the others are stacked as one; None: all that can be seen
    The title gives what is left to 100 %: the unexplained energy, largest over the shot.
    """
    ax = new_axes(7.6, 4.4) if ax is None else ax
    layers = _energy_layers(shot, most)
    ax.stackplot(US * shot.times, *layers.values(), colors=_colours(shot, layers), edgecolor="black", linewidth=0.4)
    ax.set(ylim=(0.0, 100.0))
    style_axes(ax, shot, f"share of {KILO * shot.energy.scale:.4g} kJ [%]")
    _name_bands(ax, US * shot.times, layers)
    if shot.validity_end is not None:
        ax.axvspan(US * shot.validity_end, US * shot.times[-1], color="white", alpha=FADED_ALPHA, zorder=3)
    ax.set_title(f"unexplained: at most {100 * shot.energy.residual:.2g} %", fontsize=FONT)
    return ax


def _energy_layers(shot: Shot, most: int | None) -> dict[str, np.ndarray]:
    """Percent of the initial energy by name, sinks first; what is small throughout is one layer."""
    shares = {name: 100 * values / shot.energy.scale for name, values in {**shot.energy.sinks, **shot.energy.stores}.items()}
    largest = {name: float(np.abs(share).max()) for name, share in shares.items()}
    small = [name for name, share in largest.items() if share < 100 * VISIBLE_SHARE]
    if most is not None:
        named = sorted(largest, key=lambda name: -largest[name])[:most]
        small = [name for name in largest if name in small or name not in named]
    layers = {name: share for name, share in shares.items() if name not in small}
    other = sum((shares[name] for name in small), start=np.zeros(len(shot.times)))
    return {"other": other, **layers} if np.abs(other).max() > 100 * VISIBLE_SHARE else layers


def _colours(shot: Shot, layers: dict[str, np.ndarray]) -> list[str]:
    """Warm colours of the sinks, cold ones of the stores, light and dark in turn in each."""
    sinks = [name for name in layers if name in shot.energy.sinks]
    stores = [name for name in layers if name in shot.energy.stores]
    found = dict(zip(sinks, SINK_COLOURS * len(layers), strict=False)) | dict(zip(stores, STORE_COLOURS * len(layers), strict=False))
    return [found.get(name, "white") for name in layers]


def _name_bands(ax, times: np.ndarray, layers: dict[str, np.ndarray]) -> None:
    """The name of each band in it where it is thickest, or where it is thin beside the axes, with a line to its end."""
    tops = dict(zip(layers, np.cumsum(list(layers.values()), axis=0), strict=True))
    letter = _letter_size(ax)
    placed: list[tuple[float, float, float]] = []
    beside = []
    for name in sorted(layers, key=lambda name: -layers[name].max()):
        place = _free_place(times / times[-1], layers[name], tops[name] - 0.5 * layers[name], len(name) * letter[0], letter[1], placed)
        if place:
            placed.append((*place, len(name) * letter[0]))
            ax.text(place[0] * times[-1], place[1], name, ha="center", va="center", fontsize=FONT, zorder=4,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.75})
        else:
            beside.append((float(np.clip(tops[name][-1] - 0.5 * layers[name][-1], 0, 100)), name))
    for height, (end, name) in zip(_spread([end for end, _ in beside], letter[1]), beside, strict=True):
        ax.annotate(name, (times[-1], end), xytext=(1.035, height / 100), textcoords="axes fraction", fontsize=FONT, va="center",
                    annotation_clip=False, arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": "0.4", "shrinkA": 1, "shrinkB": 0,
                                                       "relpos": (0.0, 0.5)})


def _letter_size(ax) -> tuple[float, float]:
    """Width of a letter as a share of the axes, about, and height of a line in percent of them."""
    from matplotlib import rcParams

    box, points = ax.bbox, rcParams["font.size"]
    pixels = points / 72 * ax.figure.dpi
    return NAME_WIDTH * pixels / (0.85 * box.width), 100 * 1.5 * pixels / box.height


def _free_place(share_of_time: np.ndarray, thickness: np.ndarray, middle: np.ndarray, width: float, height: float,
                placed: list[tuple[float, float, float]]) -> tuple[float, float] | None:
    """(share of the time, percent) where a band holds its name and no other name stands; None where there is no such place."""
    room = max(SIDE_ROOM, 0.5 * width)
    for k in np.argsort(-thickness, kind="stable"):
        x, y = float(share_of_time[k]), float(np.clip(middle[k], 0.5 * height, 100 - 0.5 * height))
        if thickness[k] < 1.15 * height:
            return None
        if room < x < 1 - room and all(abs(x - a) > 0.55 * (width + b) or abs(y - c) > 1.1 * height for a, c, b in placed):
            return x, y
    return None


def _spread(heights: list[float], least: float) -> list[float]:
    """Heights in percent, in rising order moved apart by `least` so that names do not overlap."""
    order = np.argsort(heights, kind="stable")
    placed = np.array(heights, dtype=float)[order]
    for k in range(1, len(placed)):
        placed[k] = max(placed[k], placed[k - 1] + least)
    placed[-1:] = np.minimum(placed[-1:], 100.0)
    for k in range(len(placed) - 2, -1, -1):
        placed[k] = min(placed[k], placed[k + 1] - least)
    found = np.empty(len(placed))
    found[order] = placed
    return found.tolist()
