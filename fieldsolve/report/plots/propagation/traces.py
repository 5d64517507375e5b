"""The traces of a shot with their 95 % bands, and the bands alone, less the trace, beside them."""
from __future__ import annotations

from typing import TYPE_CHECKING

from fieldsolve.report.display_units import KILO, MM, US
from fieldsolve.report.plots.styles import FONT, new_figure

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Bands, TraceBand

MOST_TRACES = 4
SCALES = {"A": (KILO, "kA"), "V": (KILO, "kV"), "m": (MM, "mm")}


def plot_bands(bands: Bands, axes=None, width: float = 7.2, height: float = 1.75):
    """The main traces over time in microseconds, and at their right the band less the trace; returns the axes (traces, 2)."""
    traces = main_traces(bands)
    if axes is None:
        axes = new_figure(width, height * len(traces) + 0.3).subplots(len(traces), 2, sharex=True, squeeze=False, width_ratios=(3, 2))
    for (left, right), trace in zip(axes, traces, strict=True):
        _draw_trace(left, right, trace)
    axes[0][0].set_title("shot and its 95 % band", fontsize=FONT)
    axes[0][1].set_title("band less shot", fontsize=FONT)
    for ax in axes[-1]:
        ax.set_xlabel("time [µs]")
        ax.set_xlim(US * traces[0].times[0], US * traces[0].times[-1])
    return axes


def main_traces(bands: Bands) -> list[TraceBand]:
    """The first of each kind: current of a coil and of a body, field in a bore, radius or else voltage of a bank."""
    currents = [trace for trace in bands.traces if trace.quantity == "current"]
    others = {quantity: [trace for trace in bands.traces if trace.quantity == quantity]
              for quantity in ("field", "outer_radius", "voltage")}
    currents.sort(key=lambda trace: trace.place not in _coils(bands))
    found = [*currents[:2], *others["field"][:1], *others["outer_radius"][:1], *others["voltage"][:1]]
    return found[:MOST_TRACES]


def _coils(bands: Bands) -> set[str]:
    """Names in the rows that only coils have."""
    return {row.name.removeprefix("time of peak current of ") for row in bands.rows if row.name.startswith("time of peak current of ")}


def _draw_trace(left, right, trace: TraceBand) -> None:
    scale, unit = SCALES.get(trace.unit, (1.0, trace.unit))
    times = US * trace.times
    left.fill_between(times, scale * trace.low, scale * trace.high, color="0.6", linewidth=0)
    left.plot(times, scale * trace.value, color="black", linewidth=0.9)
    right.fill_between(times, scale * (trace.low - trace.value), scale * (trace.high - trace.value), color="0.8", linewidth=0)
    for line in (trace.low, trace.high):
        right.plot(times, scale * (line - trace.value), color="0.35", linewidth=0.8)
    left.set_ylabel(f"{trace.quantity.replace('_', ' ')}\nof {trace.place} [{unit}]" if trace.quantity != "field"
                    else f"field, {trace.place} [{unit}]")
    right.set_ylabel(f"[{unit}]")
    for ax in (left, right):
        ax.spines[["top", "right"]].set_visible(False)
        if ax is right or trace.quantity != "outer_radius":
            ax.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
