"""Where the banks' energy is over the time of a shot, stacked to 100 %."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import KILO, US
from fieldsolve.report.plots.styles import new_axes
from fieldsolve.report.plots.time_axes import style_axes

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FADED_ALPHA = 0.5             # how much what is beyond the model is faded
VISIBLE_SHARE = 0.005            # of the initial energy; what never exceeds it is stacked as one
GREYS = ("0.92", "0.75", "0.58", "0.85", "0.45", "0.98", "0.72", "0.65")
HATCHES = ("", "", "", "////", "", "", "\\\\\\\\", "....")


def plot_energy(shot: Shot, ax=None, most: int | None = None):
    """Stores and sinks in percent of the banks' initial energy, stacked, stores on top; returns the axes.

    most  how many stores and sinks stand apart, the largest ones; the others are stacked as one; None: all that can be seen
    The title gives what is left to 100 %: the unexplained energy, largest over the shot.
    """
    ax = new_axes(7.6, 4.4) if ax is None else ax
    layers = _energy_layers(shot, most)
    stack = ax.stackplot(US * shot.times, *layers.values(), colors=GREYS[:len(layers)] * 2, edgecolor="black", linewidth=0.5)
    for area, hatch in zip(stack, HATCHES * len(layers), strict=False):
        area.set_hatch(hatch)
    ax.set(ylim=(0.0, 100.0))
    ax.legend(stack[::-1], list(layers)[::-1], loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False,
              fontsize="small" if most is None else "x-small")
    style_axes(ax, shot, f"share of {KILO * shot.energy.scale:.4g} kJ [%]")
    if shot.validity_end is not None:
        ax.axvspan(US * shot.validity_end, US * shot.times[-1], color="white", alpha=FADED_ALPHA, zorder=3)
    ax.set_title(f"unexplained: at most {100 * shot.energy.residual:.2g} %", fontsize="small")
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
