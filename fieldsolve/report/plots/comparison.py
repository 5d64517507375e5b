"""A measured current over the computed one on the same axes, and the difference below."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.records.comparison.trace import Trace
from fieldsolve.report.display_units import KILO, US
from fieldsolve.report.plots.styles import key_above, stacked_axes

if TYPE_CHECKING:
    from fieldsolve.records.comparison.compare import Comparison

MOST_POINTS = 4000          # of a line; of more samples the smallest and the largest in each piece are drawn


def plot_comparison(comparison: Comparison, axes=None, width: float = 6.4, height: float = 2.4):
    """Both currents in kA over time in microseconds from the current's start, and computed less measured; returns the two axes."""
    top, bottom = axes = stacked_axes(2, width, height) if axes is None else axes
    measured, residual = (envelope(trace) for trace in (comparison.measured, comparison.residual))
    end = comparison.computed.times[-1] if len(comparison.computed.times) else 0.0
    top.plot(US * measured.times, KILO * measured.values, color="0.6", linewidth=2.2, label=f"measured, {comparison.record_name[:40]}")
    top.plot(US * comparison.computed.times, KILO * comparison.computed.values, color="black", linewidth=1.2, label="computed")
    for row in comparison.rows:
        if row.name.startswith("zero crossing"):
            top.plot(US * np.array([row.computed, row.measured]), [0.0, 0.0], "|", color="black", markersize=9)
    key_above(top, 2)
    bottom.plot(US * residual.times, KILO * residual.values, color="black", linewidth=0.8)
    for ax, label in ((top, f"current of {comparison.coil} [kA]"), (bottom, "computed less\nmeasured [kA]")):
        ax.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
        ax.set_ylabel(label)
        ax.spines[["top", "right"]].set_visible(False)
    bottom.set_xlabel("time from the current's start [µs]")
    bottom.set_xlim(US * max(-0.1 * end, measured.times[0] if len(measured.times) else 0.0), US * end)
    return axes


def envelope(trace: Trace) -> Trace:
    """A trace for drawing: all samples of a short one, of a long one the smallest and the largest of each piece."""
    count = len(trace.times) // (MOST_POINTS // 2)
    if count < 2:
        return trace
    size = len(trace.times) // count * count
    values, times = trace.values[:size].reshape(-1, count), trace.times[:size].reshape(-1, count)
    return Trace(np.repeat(times[:, 0], 2), np.column_stack([values.min(axis=1), values.max(axis=1)]).ravel())
