"""How the error bounds of a field's goals fall over the meshes of its refinement."""
from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.styles import FONT, new_axes

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField
    from fieldsolve.field.static.field import StaticField

GOAL_STYLES = [(marker, line, colour) for line, colour in (("-", "black"), ("--", "0.45")) for marker in "os^D"]
MOST_GOALS = len(GOAL_STYLES)       # goals with a line and a name of their own; those with the largest bounds at the end


def plot_convergence(field: StaticField | HarmonicField, ax=None):
    """Error bounds of the goals, relative to their scales, over the unknowns of the meshes; returns the axes.

    field   with `convergence` and `accuracy`, such as a StaticField or a HarmonicField
    The first mesh has no bound yet: its hollow mark is the estimate by the dual-weighted residual.
    """
    ax = new_axes(7.5, 4.6) if ax is None else ax
    steps = field.convergence
    names = sorted(steps[-1].bounds, key=lambda name: -_relative_bound(steps[-1], name))
    for name, (marker, line, colour) in zip(names, GOAL_STYLES, strict=False):
        _draw_goal(ax, steps, name, marker=marker, linestyle=line, color=colour, label=goal_label(name))
    for k, name in enumerate(names[MOST_GOALS:]):
        label = f"{len(names) - MOST_GOALS} with smaller bounds" if not k else None
        _draw_goal(ax, steps, name, marker=".", linestyle=":", color="0.7", label=label)
    ax.axhline(field.accuracy, color="black", linewidth=0.8, linestyle=(0, (1, 2)), label=f"accuracy {field.accuracy:g}")
    ax.set(xscale="log", yscale="log", xlabel="unknowns", ylabel="error bound over scale of the goal")
    _label_unknowns(ax, [step.unknowns for step in steps])
    ax.grid(color="0.88", linewidth=0.6, which="major")
    ax.spines[["top", "right"]].set_visible(False)
    ax.legend(frameon=False, fontsize=FONT, loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0,
              title="hollow: estimate, no bound yet", title_fontsize=FONT, alignment="left")
    return ax


def goal_label(name: str) -> str:
    """A goal's name in words, with its unit.

    >>> goal_label("axis -0.01305"), goal_label("inductance coil coil"), goal_label("peak bore")
    ('B at z = −13.05 mm on the axis', 'inductance of coil', 'peak field, bore')
    """
    kind, _, rest = name.partition(" ")
    first, _, second = rest.partition(" ")
    words = {"peak": f"peak field, {rest}", "inductance": f"inductance of {first}" if second in ("", first) else
             f"mutual inductance of {first} and {second}"}
    if kind == "axis":
        return f"B at z = {MM * float(rest):.4g} mm on the axis".replace("-", "−")
    return words.get(kind, name)


def _relative_bound(step: RefinementStep, name: str) -> float:
    """Error bound of a goal over its scale; its estimate where no bound is known."""
    bound = step.bounds[name]
    return (bound if math.isfinite(bound) else step.estimates[name]) / step.scales[name]


def _draw_goal(ax, steps: Sequence[RefinementStep], name: str, *, marker: str, color: str, **options) -> None:
    """A line through the meshes on which the goal was there; where no bound was known its mark is hollow."""
    steps = [step for step in steps if name in step.bounds]
    unknowns, bounds = [step.unknowns for step in steps], [_relative_bound(step, name) for step in steps]
    ax.plot(unknowns, bounds, color=color, linewidth=1.1, zorder=3, marker=marker, markersize=5, **options)
    hollow = [k for k, step in enumerate(steps) if not math.isfinite(step.bounds[name])]
    ax.plot([unknowns[k] for k in hollow], [bounds[k] for k in hollow], linestyle="none", marker=marker, markersize=5, color=color,
            markerfacecolor="white", zorder=3.5)


def _label_unknowns(ax, unknowns: list[int]) -> None:
    """A tick at each mesh, with its number of unknowns."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    ax.xaxis.set_major_locator(FixedLocator(unknowns))
    ax.xaxis.set_major_formatter(FixedFormatter([f"{count:,}".replace(",", " ") for count in unknowns]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xlim(min(unknowns) / 1.15, max(unknowns) * 1.15)
