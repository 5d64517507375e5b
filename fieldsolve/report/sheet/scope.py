"""The oscilloscope before the shot: the scales to set, and the trace to expect on its screen."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.report.plots.styles import FONT, LINE_STYLES, new_axes
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.rig.card import Card
    from fieldsolve.shot.result.shot import Shot

COLUMNS, ROWS = 10, 8      # divisions of a screen
LARGEST_PEAK_ROWS = 3.5            # of its upper four that a peak may fill
SIGNALS = {"Rogowski coil": "rogowski", "shunt": "shunt", "pick-up loop": "loop", "divider": "divider"}   # instruments: word of a label
SIGNAL_NAMES = ("rogowski", "shunt", "loop", "divider")      # in the names of the card's figures that are voltages at a scope


@dataclass(frozen=True, eq=False)
class ScopeChannel:
    """What one channel shows: predicted peak and scale a division in `unit`, and the trace where it is computed, else None."""

    label: str
    peak: float
    unit: str
    scale: float
    trace: np.ndarray | None = None

    @property
    def facts(self) -> dict[str, Any]:
        """For JSON."""
        return {"channel": self.label, "peak": self.peak, "unit": self.unit, "scale_per_division": self.scale}


def scope_channels(shot: Shot, card: Card) -> list[ScopeChannel]:
    """The time axis first, then current of the coil, voltages of the banks, signals of the card's instruments; not what stays at zero."""
    computed = [("current", name, "A") for name in shot.coils[:1]] + [("voltage", place, "V") for place in shot.bank_places]
    shown = [(f"{quantity} of {place}", abs(float(shot.history.peak(quantity, place)[0])), unit, shot.series(quantity, place))
             for quantity, place, unit in computed]
    shown += [(quantity.label, abs(float(quantity.value)), "V", None) for quantity in (card.quantities if card else ())
              if quantity.unit == "V" and quantity.value and any(signal in quantity.name for signal in SIGNAL_NAMES)]
    end = float(shot.times[-1])
    return [ScopeChannel("time", end, "s", one_two_five(end / COLUMNS)),
            *(ScopeChannel(label, peak, unit, one_two_five(peak / LARGEST_PEAK_ROWS), trace)
              for label, peak, unit, trace in shown if peak > 0)]


def describe_missing_signals(channels: list[ScopeChannel]) -> str:
    """Which volts at the scope `[instruments]` in the case file would add to the channels; nothing where all are there."""
    labels = " ".join(channel.label.lower() for channel in channels)
    missing = [name for name, word in SIGNALS.items() if word not in labels]
    if not missing:
        return ""
    return f"With [instruments] in the case file the volts at the scope stand here too: {', '.join(missing)}."


def plot_scope(shot: Shot, channels: list[ScopeChannel]):
    """The screen of the scope as it should look: traces in divisions, zero in the middle; returns the axes."""
    ax = new_axes(3.3, 1.75)
    time, *signals = channels
    traces = [channel for channel in signals if channel.trace is not None]
    for channel, (style, shade) in zip(traces, LINE_STYLES * len(traces), strict=False):
        ax.plot(shot.times / time.scale, channel.trace / channel.scale, linestyle=style, color=shade, linewidth=1.4,
                label=f"{channel.label}, {display(channel.scale, channel.unit)}")
    ax.axhline(0.0, color="0.3", linewidth=0.8)
    ax.set(xlim=(0, COLUMNS), ylim=(-ROWS / 2, ROWS / 2), xticks=range(COLUMNS + 1), yticks=range(-ROWS // 2, ROWS // 2 + 1),
           xlabel=f"divisions of {display(time.scale, 's').replace(' us', ' µs')}", ylabel="divisions")
    ax.grid(color="0.8", linewidth=0.5)
    if traces:
        columns = len(traces) if len(traces) < 3 else 1               # a wider key would squeeze the axes
        ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=columns, fontsize=FONT, frameon=False, borderpad=0.2)
    return ax


def one_two_five(lower_bound: float) -> float:
    """The next of 1, 2, 5, 10, ... that is not less than a number above 0.

    >>> [one_two_five(x) for x in (0.9, 1.1, 2.2, 6.0)]
    [1.0, 2.0, 5.0, 10.0]
    """
    decade = 10.0 ** math.floor(math.log10(lower_bound))
    return next(step * decade for step in (1.0, 2.0, 5.0, 10.0) if step * decade >= lower_bound * (1 - 1e-12))
