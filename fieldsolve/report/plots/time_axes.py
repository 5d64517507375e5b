"""Axes over the time of a shot in microseconds: lines that differ without colour, peaks and events marked."""
from __future__ import annotations

from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import US
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, key_above

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

FADED_ALPHA = 0.35      # of every line beyond the model, which keeps its style
LONGEST_LABEL = 72              # letters of an event at most
LABEL_ROOM = 2.2        # heights of its letters that a label beside a peak takes, once the layout has made the axes smaller
MOST_EVENTS = 8         # events with words
RIGHT_SHARE = 0.7             # of the width; what is marked beyond stands left of its mark


def draw_series(ax, shot: Shot, series: dict[str, np.ndarray], times: np.ndarray | None = None) -> None:
    """A line over `times` in s (the shot's if None) for each series, with a key above where there are several; faded beyond the model."""
    times = shot.times if times is None else times
    for (name, values), (style, shade) in zip(series.items(), LINE_STYLES * len(series), strict=False):
        before, after = _split_at_end(times, values, shot.validity_end)
        ax.plot(US * before[0], before[1], linestyle=style, color=shade, linewidth=1.5, label=name, zorder=2)
        ax.plot(US * after[0], after[1], linestyle=style, color=shade, linewidth=1.5, alpha=FADED_ALPHA, label="_", zorder=2)
    key_above(ax, len(series))


def _split_at_end(times: np.ndarray, values: np.ndarray, validity_end: float | None) -> tuple[tuple, tuple]:
    """(times, values) up to where the shot is beyond the model, and from there on; both hold the value there."""
    if validity_end is None or not times[0] < validity_end < times[-1]:
        return (
            ((times, values), (times[:0], values[:0]))
            if validity_end is None or validity_end >= times[-1]
            else ((times[:0], values[:0]), (times, values))
        )
    k, value_at_end = int(np.searchsorted(times, validity_end)), np.interp(validity_end, times, values)
    return ((np.append(times[:k], validity_end), np.append(values[:k], value_at_end)),
            (np.insert(times[k:], 0, validity_end), np.insert(values[k:], 0, value_at_end)))


def mark_peak(ax, value: float, time: float, scale: float, unit: str) -> None:
    """A dot at a peak, with value and time beside it."""
    late = US * time > ax.get_xlim()[0] + RIGHT_SHARE * np.ptp(ax.get_xlim())
    ax.plot(US * time, scale * value, "o", color="black", markersize=4, zorder=3)
    ax.annotate(f"{scale * value:.4g} {unit} at {US * time:.3g} µs".replace("-", "−"), (US * time, scale * value), fontsize=FONT,
                xytext=(-6 if late else 6, 5 if value >= 0 else -5), textcoords="offset points", ha="right" if late else "left",
                va="bottom" if value >= 0 else "top", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})
    room = LABEL_ROOM * _letter_height(ax) * ax.dataLim.height
    ax.update_datalim([(US * time, scale * value + (room if value >= 0 else -room))])
    ax.margins(y=0.08)


def _letter_height(ax) -> float:
    """Height of the letters over that of the axes."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(size=FONT).get_size_in_points() / 72 * ax.figure.figure.dpi / ax.bbox.height


def style_axes(ax, shot: Shot, label: str, events: bool = False, zero: bool = True) -> None:
    """Name the axes, draw the `zero` and a thin line at each event; `events` writes at them what happens."""
    if zero:
        ax.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
    ax.set(xlim=(0.0, US * shot.times[-1]), ylabel=label)
    if not ax.get_subplotspec() or ax.get_subplotspec().is_last_row():
        ax.set_xlabel(f"time [µs], {describe_run(shot)}")
    else:
        ax.tick_params(labelbottom=False)
    ax.spines[["top", "right"]].set_visible(False)
    if shot.validity_end is not None:
        ax.axvspan(US * shot.validity_end, US * shot.times[-1], color="0.95", zorder=0)
    events_by_time = _merge_events(shot.events)
    for time in events_by_time:
        ax.axvline(US * time, color="0.7", linewidth=0.8, zorder=0.5)
    if events:
        _label_events(ax, events_by_time, shot.times[-1])


def describe_run(shot: Shot) -> str:
    """Of which run a figure is: with the metal held or moving, and whether it ended early."""
    return f"metal {'held' if shot.held else 'moving'}{', interrupted' if shot.interrupted else ''}"


def _merge_events(events) -> dict[float, str]:
    """What happens by time, with what happens at once in one."""
    found: dict[float, str] = {}
    for time, event in events:
        found[time] = f"{found[time]}, {event}" if time in found else event
    return found


def _label_events(ax, events_by_time: dict[float, str], end: float) -> None:
    """A number at the line of each event, and the words below the axis; of many the first."""
    shown = dict(list(events_by_time.items())[:MOST_EVENTS])
    for number, time in enumerate(shown, start=1):
        late = time > 0.97 * end
        ax.annotate(f"{number}", (US * time, 1.0), xycoords=("data", "axes fraction"), xytext=(-2 if late else 2, -1),
                    textcoords="offset points", ha="right" if late else "left", va="top", fontsize=FONT, color="0.35")
    if shown:
        lines = [f"{number}  {shorten(event, LONGEST_LABEL, placeholder=' ...')}" for number, event in enumerate(shown.values(), start=1)]
        lines += [f"and {len(events_by_time) - len(shown)} more"] if len(events_by_time) > len(shown) else []
        ax.annotate("\n".join(lines), (0.5, 0.0), xycoords=ax.xaxis.label, xytext=(0.0, -4.0), textcoords="offset points", ha="center",
                    va="top", fontsize=FONT, color="0.35", multialignment="left")
