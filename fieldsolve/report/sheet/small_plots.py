"""The six small plots on the second sheet of the page for the bench, in letters of 8 points."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.display_units import KILO, MM, US
from fieldsolve.report.plots.energy import plot_energy
from fieldsolve.report.plots.propagation.indices import plot_main_shares
from fieldsolve.report.plots.shot import plot_force
from fieldsolve.report.plots.styles import LINE_STYLES, new_axes
from fieldsolve.report.plots.time_axes import draw_series, style_axes
from fieldsolve.shot.display.summary_rows import pushed_along_axis

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Bands
    from fieldsolve.shot.result.shot import Shot

SIZE = (3.62, 1.74)     # inches on paper
MOST_ENERGIES = 6            # stores and sinks named in the small plot of the energy
THICKNESSES = ("rim's tenth", "axis")        # ends of their labels
LETTERING = {"font.size": 8, "axes.labelsize": 8, "axes.titlesize": 8, "xtick.labelsize": 8, "ytick.labelsize": 8,
             "legend.fontsize": 8, "text.parse_math": False}                          # points; names are no formulas


def small_plots(shot: Shot, bands: Bands | None = None) -> Iterable[tuple[str, Callable]]:
    """Titles, and what draws each and returns its axes, as far as the shot has them; with bands the last is what matters."""
    yield "current and voltage", lambda: _plot_current_and_voltage(shot)
    if shot.bodies:
        yield "net current of the bodies", lambda: _plot_series(
            shot, {name: KILO * shot.series("current", name) for name in shot.bodies}, "net current [kA]")
    places = [place for quantity, place in shot.history.values if quantity == "field" and place != "centre"]
    yield "flux density: largest in the bore, axial in the gap", lambda: _plot_series(
        shot, {place: shot.series("field", place) for place in places}, "flux density [T]")
    title, shape = _shape_series(shot)
    if shape:
        yield title, lambda: _plot_shape(shot, shape)
    elif shot.bodies:
        yield "force", lambda: plot_force(shot, new_axes(*SIZE), events=False)
    heated = [place for quantity, place in shot.history.values if quantity == "temperature"]
    if heated:
        yield "hottest metal", lambda: _plot_series(shot, {place: shot.series("temperature", place) for place in heated},
                                                    "temperature [K]", zero=False)
    if bands is not None and bands.rows:
        yield "what matters: share of the variance, by input", lambda: plot_main_shares(bands, SIZE)
        return
    yield "energy", lambda: plot_energy(shot, new_axes(*SIZE), most=MOST_ENERGIES)


def _plot_current_and_voltage(shot: Shot):
    """Current of the first coil on the left axis, voltages of the banks on the right one; the zeros at one height."""
    coil, sources = shot.coils[0], shot.bank_places or shot.coils[:1]
    ax, right = _plot_two_scales(shot, {f"current of {coil}": KILO * shot.series("current", coil)}, "current [kA]",
                                 {f"voltage of {place}": KILO * shot.series("voltage", place) for place in sources}, "voltage [kV]")
    for axes in (ax, right):
        low, high = axes.get_ylim()
        axes.set_ylim(-max(-low, high), max(-low, high))
    ax.axhline(0.0, color="0.6", linewidth=0.6, zorder=0.5)
    return ax


def _plot_shape(shot: Shot, series: dict):
    """Lengths in mm; thicknesses beside radii have the right axis."""
    thicknesses = {label: values for label, values in series.items() if label.endswith(THICKNESSES)}
    radii = {label: values for label, values in series.items() if label not in thicknesses}
    if not (radii and thicknesses):
        return _plot_series(shot, series, "length [mm]")
    return _plot_two_scales(shot, radii, "radius [mm]", thicknesses, "thickness [mm]")[0]


def _plot_two_scales(shot: Shot, left: dict, left_label: str, right: dict, right_label: str) -> tuple:
    """Series over time on a left and on a right axis, with one key; returns both axes."""
    ax = new_axes(*SIZE)
    second = ax.twinx()
    lines = [(ax, *item) for item in left.items()] + [(second, f"{name} (right)", values) for name, values in right.items()]
    handles = [axes.plot(US * shot.times, values, linestyle=style, color=shade, linewidth=1.4, label=name)[0]
               for (axes, name, values), (style, shade) in zip(lines, LINE_STYLES * len(lines), strict=False)]
    style_axes(ax, shot, left_label, zero=False)
    second.set_ylabel(right_label)
    second.spines["top"].set_visible(False)
    ax.legend(handles=handles, frameon=False, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2, handlelength=2.0,
              columnspacing=1.0)
    return ax, second


def _shape_series(shot: Shot) -> tuple[str, dict]:
    """Title and lengths in mm: waists of tubes, crowns of what is thrown along the axis, radius and thickness of other bodies."""
    found, words = {}, []
    for name in shot.bodies:
        known = {quantity for quantity, place in shot.history.values if place == name}
        if "waist_thickness" in known:
            lengths, word = {"waist inside": "waist_inner_radius", "waist outside": "waist_outer_radius"}, "radius at the waist"
        elif "crown_height" in known and pushed_along_axis(shot, name):
            lengths, word = {"crown": "crown_height"}, "crown over the rim"
        elif "rim_thickness" in known:
            lengths = {"radius": "outer_radius", "rim's tenth": "rim_thickness", "axis": "axis_thickness"}
            word = "radius and thickness"
        else:
            continue
        found |= {(name, label): MM * shot.series(quantity, name) for label, quantity in lengths.items()
                  if np.abs(shot.series(quantity, name)).max() > 0}
        words.append(word)
    return ", ".join(dict.fromkeys(words)) + _of_one({name for name, _ in found}), _named(found)


def _of_one(names: set[str]) -> str:
    return f" of {next(iter(names))}" if len(names) == 1 else ""


def _named(series: dict[tuple[str, str], np.ndarray]) -> dict[str, np.ndarray]:
    """Series by the labels of their lines, with the body's name where there are several."""
    several = len({name for name, _ in series}) > 1
    return {f"{name}, {label}" if several else label: values for (name, label), values in series.items()}


def _plot_series(shot: Shot, series: dict, label: str, zero: bool = True):
    ax = new_axes(*SIZE)
    draw_series(ax, shot, series)
    style_axes(ax, shot, label, zero=zero)
    return ax
