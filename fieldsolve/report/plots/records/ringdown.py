"""The figure of a ring-down fit: measured and fitted current over the residual."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import US, prefix_of
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, stacked_axes

if TYPE_CHECKING:
    from fieldsolve.records.ringdown.result import RingDown

FINE = 2000                       # points of the fitted curve


def plot_ring_down(fit: RingDown, axes=None, width: float = 6.4, height: float = 2.6):
    """Measured and fitted current, and measured less fitted with the band of two standard deviations; returns the two axes."""
    top, bottom = stacked_axes(2, width, height) if axes is None else axes
    power, prefix = prefix_of(max(np.abs(trace.values).max() for trace in fit.traces))
    left_power, left_prefix = prefix_of(max(np.abs(residual).max() for residual in fit.residuals))
    scale, left = 10.0**-power, 10.0**-left_power
    for trace, waveform, residual, (style, _) in zip(fit.traces, fit.waveforms, fit.residuals, LINE_STYLES * len(fit.traces), strict=False):
        label = f"{trace.name}, " if len(fit.traces) > 1 else ""
        top.plot(US * trace.times, scale * trace.values, ".", color="0.6", markersize=1.5, label=f"{label}measured", rasterized=True)
        fine = np.linspace(trace.times[0], trace.times[-1], FINE)
        top.plot(US * fine, scale * waveform.at(fine), color="black", linestyle=style, linewidth=0.9,
                 label=f"{label}fitted")
        bottom.plot(US * trace.times, left * residual, ".", color="0.4", markersize=1.5, rasterized=True)
        half = np.pi / waveform.omega
        shown = np.arange(int(max((trace.times[-1] - waveform.start) / half, 0)) + 1)
        for zero in waveform.start + half * shown[:40]:
            bottom.axvline(US * zero, color="0.85", linewidth=0.6, zorder=0)
    for level in (-2, 2):
        bottom.axhline(left * level * fit.noise, color="black", linewidth=0.6, linestyle="--")
    top.set(ylabel=f"current [{prefix}A]")
    top.legend(frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, markerscale=5, fontsize=FONT, labelspacing=0.2)
    bottom.set(xlabel="time in the record [µs]", ylabel=f"measured less\nfitted [{left_prefix}A]")
    bottom.set_title("dashed: two standard deviations; grey lines: fitted zeros", fontsize=FONT)
    for ax in (top, bottom):
        ax.spines[["top", "right"]].set_visible(False)
    return top, bottom
