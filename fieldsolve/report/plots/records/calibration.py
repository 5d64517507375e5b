"""Calibrated parameters beside what was known before, and the held-out shots' radii beside what was measured."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.inference.text import LABELS
from fieldsolve.report.display_units import US
from fieldsolve.report.plots.records.radius import MILLI
from fieldsolve.report.plots.styles import LINE_STYLES, key_above, new_figure

if TYPE_CHECKING:
    from fieldsolve.inference.calibration.calibrate import ModelCalibration

BAND_SHADES = ("0.75", "0.85")


def plot_calibration(found: ModelCalibration, width: float = 7.2, height: float = 2.6):
    """Intervals over the most probable value before, grey before and black after; right, the held-out shots' bands; returns the axes."""
    columns = 2 if found.held_out else 1
    left, *rest = axes = new_figure(width, height).subplots(1, columns, squeeze=False)[0]
    for row, name in enumerate(found.parameters):
        before, after = found.priors[name], found.parameters[name]
        scale = before.value or 1.0
        left.plot([before.low / scale, before.high / scale], [row, row], color="0.75", linewidth=7, solid_capstyle="butt")
        left.plot([after.low / scale, after.high / scale], [row, row], color="black", linewidth=2.5, solid_capstyle="butt")
    left.set_yticks(range(len(found.parameters)), [LABELS.get(name, name) for name in found.parameters])
    left.invert_yaxis()
    left.margins(y=0.15)
    left.set_xlabel("over the value before (grey: before, black: after; 95 %)")
    for ax in rest:
        _draw_held_out(ax, found)
    for ax in axes:
        ax.spines[["top", "right"]].set_visible(False)
    return axes


def _draw_held_out(ax, found: ModelCalibration) -> None:
    """Radius in mm of each held-out shot over time in microseconds, its band, and the radius that was measured after it."""
    count = len(found.held_out)
    for held, shade, (style, _) in zip(found.held_out, BAND_SHADES * count, LINE_STYLES * count, strict=False):
        times, radius = US * held.times, held.radius
        ax.fill_between(times, MILLI * radius.low, MILLI * radius.high, color=shade, linewidth=0)
        ax.plot(times, MILLI * radius.values, color="black", linewidth=1.0, linestyle=style, label=held.name)
        for name, value, _, _ in held.measured:
            if name.startswith("radius of"):
                ax.plot(times[-1], MILLI * value, marker="x", color="black", clip_on=False)
    ax.set_xlabel("time from the current's start [µs]")
    ax.set_ylabel("radius predicted [mm]")
    key_above(ax, 2 * len(found.held_out))
