"""The radius that a trace tells beside the prediction, and what the fit leaves of the current."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.display_units import KILO, US
from fieldsolve.report.plots.styles import key_above, stacked_axes

if TYPE_CHECKING:
    from fieldsolve.inference.radius import RadiusFromTrace

MILLI = 1e3                 # millimetres in a metre


def plot_radius_from_trace(seen: RadiusFromTrace, axes=None, width: float = 6.4, height: float = 2.4):
    """Radius in mm with its 95 % band over time in microseconds, and the current's residual in kA; returns the two axes."""
    top, bottom = axes = stacked_axes(2, width, height) if axes is None else axes
    times = US * seen.times
    before = seen.prediction
    top.fill_between(times, MILLI * before.low, MILLI * before.high, color="0.9", linewidth=0, label="predicted without the record, 95 %")
    top.plot(times, MILLI * before.values, color="0.5", linewidth=1.0, linestyle="--", label="predicted")
    top.fill_between(times, MILLI * seen.low, MILLI * seen.high, color="0.65", linewidth=0, label="from the trace, 95 %")
    top.plot(times, MILLI * seen.radius, color="black", linewidth=1.2, label="from the trace")
    key_above(top, 4)
    top.set_ylabel(f"radius of {seen.part} [mm]")
    start = seen.parameters["start_time"].value
    bottom.plot(US * (seen.residual.times - start), KILO * seen.residual.values, color="black", linewidth=0.8)
    bottom.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
    bottom.set_ylabel("measured less\nfitted [kA]")
    bottom.set_xlabel("time from the current's start [µs]")
    bottom.set_xlim(0.0, times[-1])
    for ax in (top, bottom):
        ax.spines[["top", "right"]].set_visible(False)
    return axes
