"""Resistance and inductance of coils over frequency: of a sweep, and of a bridge check."""
from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.estimate import Estimate
from fieldsolve.report.display_units import prefix_of
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, MARKERS, key_above, stacked_axes

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.bridge_check import BridgeRow
    from fieldsolve.field.harmonic.field import HarmonicSweep

VISIBLE_SHARE = 0.01          # errors smaller than this share of the axis are not drawn


def plot_impedance(sweep: HarmonicSweep, coil: str | Iterable[str], ax=None):
    """Resistance and inductance at the frequencies of a `sweep`, with their errors where these can be seen; returns the two axes.

    coil   name of a coil, or names of several
    ax     the axes of the resistance and of the inductance
    Raises InputError for a field at a single frequency, and where a coil has no resistance or inductance (a line current, a winding
    without fill, a coil that nothing drives).
    """
    names = [coil] if isinstance(coil, str) else list(coil)
    if not hasattr(sweep, "fields"):
        raise InputError("a curve over frequency needs several: give solve_harmonic a list of frequencies")
    fields = sorted(sweep, key=lambda field: field.frequency)
    frequency = np.array([field.frequency for field in fields])
    axes = stacked_axes(2) if ax is None else ax
    for single, quantity, symbol in zip(axes, ("resistance", "inductance"), "ΩH", strict=True):
        _draw_series(single, frequency, {name: [getattr(field, quantity)(name) for field in fields] for name in names}, symbol)
        single.set_ylabel(f"{quantity} [{single.get_ylabel()}]")
    axes[1].set_xlabel(f"frequency [{_frequency_unit(frequency)}]")
    if len(names) > 1:
        axes[0].legend(frameon=False, fontsize=FONT)
    axes[0].tick_params(labelbottom=False)
    return axes


def plot_bridge(rows: Iterable[BridgeRow]):
    """What a bridge should read: resistance, where it is known, and inductance, empty and loaded; returns the axes, one above the other."""
    rows = sorted(rows, key=lambda row: row.frequency)
    frequency = np.array([row.frequency for row in rows])
    known = [(name, symbol) for name, symbol in (("resistance", "Ω"), ("inductance", "H")) if getattr(rows[0], f"{name}_empty") is not None]
    axes = np.atleast_1d(stacked_axes(len(known)))
    for ax, (name, symbol) in zip(axes, known, strict=True):
        states = {"empty": "empty", f"with {', '.join(rows[0].load)}": "loaded"}
        _draw_series(ax, frequency, {label: [getattr(row, f"{name}_{state}") for row in rows] for label, state in states.items()}, symbol)
        ax.set_ylabel(f"{name} [{ax.get_ylabel()}]")
    key_above(axes[0], 2)
    axes[-1].set_xlabel(f"frequency [{_frequency_unit(frequency)}]")
    return axes


def _frequency_unit(frequency: np.ndarray) -> str:
    return "kHz" if frequency.max() >= 1e3 else "Hz"


def _draw_series(ax, frequency: np.ndarray, series: dict[str, list[Estimate]], symbol: str) -> None:
    """A line for each coil; the unit, with a prefix, becomes the label of the axis."""
    power, prefix = prefix_of(max(abs(estimate) for estimates in series.values() for estimate in estimates))
    x = frequency / (1e3 if _frequency_unit(frequency) == "kHz" else 1.0)
    styles = zip(MARKERS, LINE_STYLES, strict=True)
    for (name, estimates), (marker, (line, colour)) in zip(series.items(), [*styles] * len(series), strict=False):
        values = np.array([estimate.value for estimate in estimates]) / 10.0**power
        errors = np.array([estimate.error for estimate in estimates]) / 10.0**power
        line = line if len(x) > 2 else "none"                      # between two points nothing is known
        ax.plot(x, values, marker=marker, linestyle=line, color=colour, markersize=4.5, linewidth=1.2, label=name, zorder=3)
        if errors.max() > VISIBLE_SHARE * np.ptp(ax.get_ylim()):
            ax.errorbar(x, values, errors, linestyle="none", color=colour, capsize=3, zorder=3)
    ax.set_ylabel(f"{prefix}{symbol}")
    _style_axes(ax)


def _style_axes(ax) -> None:
    from matplotlib.ticker import FuncFormatter, NullFormatter

    ax.set_xscale("log")
    decades = math.log10(ax.get_xlim()[1] / ax.get_xlim()[0])
    major_format = FuncFormatter(lambda value, _: f"{value:g}")
    ax.xaxis.set_major_formatter(major_format)
    minor_format = FuncFormatter(lambda value, _: f"{value:g}" if f"{value:e}"[0] in "25" else "")
    ax.xaxis.set_minor_formatter(minor_format if decades < 2 else NullFormatter())
    ax.ticklabel_format(axis="y", useOffset=False)
    ax.grid(color="0.88", linewidth=0.6)
    ax.spines[["top", "right"]].set_visible(False)
