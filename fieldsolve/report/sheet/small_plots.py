"""The six small plots on the second sheet of the page for the bench, in letters of 8 points."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from fieldsolve.report.display_units import KILO, MM
from fieldsolve.report.plots.energy import plot_energy
from fieldsolve.report.plots.styles import new_axes
from fieldsolve.report.plots.time_axes import draw_series, style_axes

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

SIZE = (3.62, 1.78)     # inches on paper
MOST_ENERGIES = 6            # stores and sinks named in the small plot of the energy
LETTERING = {"font.size": 9.6, "axes.labelsize": 8, "axes.titlesize": 8, "xtick.labelsize": 8, "ytick.labelsize": 8,
             "text.parse_math": False}                          # 'small' is 8 points; names are no formulas


def small_plots(shot: Shot) -> Iterable[tuple[str, Callable]]:
    """Titles, and what draws each and returns its axes, as far as the shot has them."""
    coil = shot.coils[0]
    sources = {f"voltage of {place} [kV]": KILO * shot.series("voltage", place) for place in shot.bank_places or (coil,)}
    yield (
        "current and voltage",
        lambda: _plot_series(shot, {f"current of {coil} [10 kA]": 0.1 * KILO * shot.series("current", coil)} | sources, "10 kA, kV"),
    )
    if shot.bodies:
        yield (
            "net current of the bodies",
            lambda: _plot_series(shot, {name: KILO * shot.series("current", name) for name in shot.bodies}, "kA"),
        )
    places = [place for quantity, place in shot.history.values if quantity == "field" and place != "centre"]
    yield "flux density: largest in the bore, axial in the gap", lambda: _plot_series(
        shot, {place: shot.series("field", place) for place in places}, "T")
    shape = _shape_series(shot)
    if shape:
        yield "radius and thickness", lambda: _plot_series(shot, shape, "mm")
    elif shot.bodies:
        yield "radial force, inward negative", lambda: _plot_series(
            shot, {name: KILO * shot.series("radial_force", name) for name in shot.bodies}, "kN")
    heated = [place for quantity, place in shot.history.values if quantity == "temperature"]
    if heated:
        yield "hottest metal", lambda: _plot_series(shot, {place: shot.series("temperature", place) for place in heated}, "K", zero=False)
    yield "energy", lambda: plot_energy(shot, new_axes(*SIZE), most=MOST_ENERGIES)


def _shape_series(shot: Shot) -> dict:
    """Outer radius and thicknesses in mm of the bodies whose thickness is in the history."""
    names = [name for name in shot.bodies if ("rim_thickness", name) in shot.history.values]
    found = {f"{name}, outer radius": MM * shot.series("outer_radius", name) for name in names}
    return found | {f"{name}, thickness at {place}": MM * shot.series(f"{place}_thickness", name) for name in names
                    for place in ("rim", "axis") if shot.series(f"{place}_thickness", name)[0] > 0}


def _plot_series(shot: Shot, series: dict, unit: str, zero: bool = True):
    ax = new_axes(*SIZE)
    draw_series(ax, shot, series)
    style_axes(ax, shot, f"[{unit}]", zero=zero)
    return ax
