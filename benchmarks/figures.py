"""Figures of computed against closed form, with the deviations in a panel below."""
from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.figure import Figure

GROUPS = {                                                          # group -> module with FIGURES: file name -> its panels
    "statics": "benchmarks.static_figures",
    "harmonic": "benchmarks.harmonic_figures",
}
ACCURACY = 1e-4                                                     # of a solve where its panel gives none
STYLES = (("-", "o"), ("--", "s"), (":", "^"))                      # closed form's line, computed marker: distinct without colour
SETTINGS = {"font.size": 9, "axes.grid": True, "grid.alpha": 0.3, "savefig.dpi": 160}


@dataclass(frozen=True)
class Curve:
    """One computed curve: places `x`, values there, and closed form on `x_fine` and on `x`.

    scale   what deviations are relative to, shape of x
    """

    label: str
    x: np.ndarray
    computed: np.ndarray
    exact: np.ndarray
    x_fine: np.ndarray
    exact_fine: np.ndarray
    scale: np.ndarray


@dataclass(frozen=True)
class Panel:
    """Curves over one another, the axis labels with their units, what deviations refer to, and the requested accuracy: a grey band."""

    title: str
    x_label: str
    y_label: str
    reference: str
    curves: tuple[Curve, ...]
    scales: tuple[str, str] = ("linear", "linear")
    accuracy: float = ACCURACY


def draw_all(directory: Path, groups: Iterable[str]) -> Iterator[Path]:
    """Draw the figures of the groups into `directory` (made if missing) as PNG; yields the files as they are written."""
    directory.mkdir(parents=True, exist_ok=True)
    modules = [import_module(GROUPS[group]) for group in groups if group in GROUPS]
    for name, panels in ((name, panels) for module in modules for name, panels in module.FIGURES.items()):
        path, shown = directory / f"{name}.png", panels()
        with matplotlib.rc_context(SETTINGS):
            draw(shown).savefig(path)
        yield path


def draw(panels: tuple[Panel, ...]) -> Figure:
    """Figure of the panels side by side, each over its deviations."""
    figure = Figure(figsize=(5.2 * len(panels), 5.4), layout="constrained")
    axes = figure.subplots(2, len(panels), squeeze=False, sharex="col", height_ratios=(2.2, 1))
    for (upper, lower), panel in zip(axes.T, panels, strict=True):
        _draw_panel(upper, lower, panel)
    return figure


def _draw_panel(upper, lower, panel: Panel) -> None:
    for curve, (line, marker) in zip(panel.curves, STYLES, strict=False):
        upper.plot(curve.x_fine, curve.exact_fine, line, color="black", linewidth=1.1, label=f"{curve.label}, closed form")
        hollow = {"marker": marker, "linestyle": "none", "markersize": 5, "markerfacecolor": "white", "markeredgecolor": "black"}
        upper.plot(curve.x, curve.computed, **hollow, label=f"{curve.label}, computed")
        lower.plot(curve.x, (curve.computed - curve.exact) / curve.scale, **hollow)
    lower.axhspan(-panel.accuracy, panel.accuracy, color="0.85", zorder=0, label="requested accuracy")
    upper.set(title=panel.title, ylabel=panel.y_label, xscale=panel.scales[0], yscale=panel.scales[1])
    lower.set(xlabel=panel.x_label, ylabel=f"deviation /\n{panel.reference} (1)", xscale=panel.scales[0])
    lower.ticklabel_format(axis="y", style="sci", scilimits=(0, 0))
    upper.legend(fontsize=8)
    lower.legend(fontsize=8)


def curve(label, x, computed, closed_form, scale=None, fine=None) -> Curve:
    """Curve with the closed form (a function of x) also on a fine grid; deviations relative to the exact value or `scale`."""
    x, computed, exact = np.asarray(x), np.asarray(computed, dtype=float), closed_form(np.asarray(x))
    x_fine = np.linspace(x.min(), x.max(), 400) if fine is None else fine
    return Curve(label, x, computed, exact, x_fine, closed_form(x_fine), np.abs(exact) if scale is None else scale * np.ones_like(x))
