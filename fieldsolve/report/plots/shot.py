"""The figures of a shot: its series over time, where the energy went, and the maps at the current's peak."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.records.measured_current import peak_difference, read_current
from fieldsolve.report.display_units import KILO, US
from fieldsolve.report.files.drawing import write_drawing
from fieldsolve.report.plots.current_density import plot_current_density
from fieldsolve.report.plots.energy import plot_energy
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.motion import has_maps, moved_parts, plot_inductance, plot_metal, plot_sections, plot_shape
from fieldsolve.report.plots.styles import new_axes, stacked_axes
from fieldsolve.report.plots.time_axes import draw_series, mark_peak, style_axes

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

__all__ = ["plot_body", "plot_current", "plot_energy", "plot_force", "plot_inductance", "plot_metal", "plot_probes", "plot_sections",
           "plot_shape", "plot_temperature", "write_shot_figures"]

SMALL_SHARE = 0.01            # an axial force below this share of the radial one is not drawn


def plot_current(shot: Shot, measured: str | Path | None = None, coil: str | None = None, axes=None):
    """Current of a coil in kA over the banks' voltages in kV, or where no bank drives it its own; returns the two axes.

    Parameters
    ----------
    shot : Shot
    measured : str or Path, optional
        File of a measured current, laid over the computed one; the difference of the peaks is printed.
    coil : str, optional
        Name of the coil, by default the first in the circuit.
    axes : pair of matplotlib axes, optional
        Where to draw; new ones by default.

    Returns
    -------
    axes
        The two axes.

    Raises
    ------
    InputError
        For a record that cannot be read or compared.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> plot_current(shot)[0].get_ylabel()
    'current of coil [kA]'
    """
    coil = coil or shot.coils[0]
    record = None if measured is None else read_current(measured)
    difference = None if record is None else peak_difference(shot, record, coil)
    top, bottom = axes = stacked_axes(2) if axes is None else axes
    draw_series(top, shot, {"computed" if record else coil: KILO * shot.series("current", coil)})
    mark_peak(top, *shot.history.peak("current", coil), KILO, "kA")
    if record is not None and difference is not None:
        top.plot(US * record.times, KILO * record.channel("current"), color="0.45", linewidth=2.4, alpha=0.6, zorder=1.5,
                 label=record.path.name)
        top.legend(frameon=False, fontsize="small")
        text = (f"computed less measured: peak {KILO * difference.current:+.3g} kA ({100 * difference.share:+.2g} %), "
                f"its time {US * difference.time:+.3g} µs")
        top.set_title(text.replace("-", "−"), fontsize="small")
        print(difference)
    sources = shot.bank_places or (coil,)
    draw_series(bottom, shot, {place: KILO * shot.series("voltage", place) for place in sources})
    style_axes(top, shot, f"current of {coil} [kA]")
    style_axes(bottom, shot, "bank voltage [kV]" if shot.bank_places else f"voltage of {coil} [kV]", events=True)
    return axes


def plot_body(shot: Shot, body: str | None = None, axes=None):
    """Net current of a body in kA and the voltage round its rim in volt; returns the two axes."""
    body = body or _first_body(shot)
    top, bottom = axes = stacked_axes(2) if axes is None else axes
    for ax, quantity, scale, unit, label in ((top, "current", KILO, "kA", f"net current of {body} [kA]"),
                                             (bottom, "loop_voltage", 1.0, "V", f"voltage round the rim of {body} [V]")):
        draw_series(ax, shot, {body: scale * shot.series(quantity, body)})
        mark_peak(ax, *shot.history.peak(quantity, body), scale, unit)
        style_axes(ax, shot, label, events=ax is bottom)
    return axes


def plot_probes(shot: Shot, ax=None):
    """Largest |B| in each bore, and B_z at the centre and in the gap, in tesla; returns the axes."""
    ax = new_axes(6.4, 4) if ax is None else ax
    places = [place for quantity, place in shot.history.values if quantity == "field"]
    names = {place: f"|B|, largest in {place}" if place.split(" of ")[0] == "bore" else f"B_z, {place}" for place in places}
    draw_series(ax, shot, {names[place]: shot.series("field", place) for place in places})
    for place in [place for place in places if place.split(" of ")[0] == "bore"][:1]:
        mark_peak(ax, *shot.history.peak("field", place), 1.0, "T")
    style_axes(ax, shot, "flux density [T]", events=True)
    return ax


def plot_force(shot: Shot, ax=None):
    """Radial force on each body in kN, and the axial one where it is not small; returns the axes."""
    ax = new_axes(6.4, 4) if ax is None else ax
    radial = {name: KILO * shot.series("radial_force", name) for name in shot.bodies}
    axial = {name: KILO * shot.series("axial_force", name) for name in shot.bodies}
    visible = [name for name in axial if np.abs(axial[name]).max() > SMALL_SHARE * np.abs(radial[name]).max()]
    draw_series(ax, shot, {f"radial, {name}": force for name, force in radial.items()}
                | {f"axial, {name}": axial[name] for name in visible})
    for name in shot.bodies[:1]:
        mark_peak(ax, *shot.history.peak("radial_force", name), KILO, "kN")
    style_axes(ax, shot, f"force, inward{' and down' if visible else ''} negative [kN]", events=True)
    return ax


def plot_temperature(shot: Shot, ax=None):
    """Hottest cell and mean of each body and coil in kelvin; returns the axes.  Raises InputError where nothing heats."""
    places = [place for quantity, place in shot.history.values if quantity == "temperature"]
    if not places:
        raise InputError("the shot was computed without heating: leave heating=False away to draw temperatures")
    ax = new_axes(6.4, 4) if ax is None else ax
    draw_series(ax, shot, {f"{place}, {word}": shot.series(quantity, place) for place in places
                           for word, quantity in (("hottest", "temperature"), ("mean", "mean_temperature"))})
    style_axes(ax, shot, "temperature [K]", events=True, zero=False)
    return ax


def write_shot_figures(shot: Shot, folder: str | Path, measured: str | Path | None = None) -> list[Path]:
    """Write the figures as .png into a folder, which is made where it is missing; returns the paths.

    Parameters
    ----------
    shot : Shot
    folder : str or Path
    measured : str or Path, optional
        Record of the first coil's current for the figure of the current.

    Returns
    -------
    list of Path
        The figures, one a file.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=False, accuracy=3e-2)
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     "current.png" in [path.name for path in write_shot_figures(shot, folder)]
    True
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, draw in _drawings(shot, measured):
        figure = _figure_of(draw())
        path = folder / f"{name}.png"
        write_drawing(figure, path)
        written.append(path)
    return written


def _drawings(shot: Shot, measured: str | Path | None) -> Iterable[tuple[str, Callable]]:
    """Names of the figures that the shot has something to show in, and the functions that draw them."""
    yield "current", lambda: plot_current(shot, measured)
    for body in shot.bodies:
        yield "disc" if len(shot.bodies) == 1 else f"body_{shot.bodies.index(body) + 1}", lambda body=body: plot_body(shot, body)
    yield "field", lambda: plot_probes(shot)
    if shot.bodies:
        yield "force", lambda: plot_force(shot)
    if any(quantity == "temperature" for quantity, _ in shot.history.values):
        yield "temperature", lambda: plot_temperature(shot)
    yield "energy", lambda: plot_energy(shot)
    yield "inductance", lambda: plot_inductance(shot)
    if moved_parts(shot):
        yield "sections", lambda: plot_sections(shot)
        yield "shape", lambda: plot_shape(shot)
    if has_maps(shot):
        yield "metal", lambda: plot_metal(shot)
    at_peak = shot.field_at(min(shot.history.peak("current", shot.coils[0])[1], shot.times[-1]))
    yield "map", lambda: _add_time(plot_field(at_peak), at_peak.time)
    yield "current_density", lambda: _add_time(plot_current_density(at_peak), at_peak.time)


def _add_time(ax, time: float):
    """A map with its instant above it."""
    if ax.get_legend():
        ax.get_legend().set_title(f"at {US * time:.3g} µs: {ax.get_legend().get_title().get_text()}")
    else:
        ax.set_title(f"at {US * time:.3g} µs: {ax.get_title()}", fontsize="small")
    return ax


def _figure_of(axes):
    return (axes if hasattr(axes, "figure") else axes[0]).figure


def _first_body(shot: Shot) -> str:
    if not shot.bodies:
        raise InputError("the shot has no conducting body")
    return shot.bodies[0]
