"""The figures of a shot: its series over time, where the energy went, and the maps at the current's peak."""
from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.constants import ZERO_CELSIUS
from fieldsolve.errors import InputError
from fieldsolve.records.measured_current import PeakDifference, peak_difference, read_current
from fieldsolve.records.record import Record
from fieldsolve.records.ringdown.trace import current_samples
from fieldsolve.report.display_units import KILO, MEGA, US
from fieldsolve.report.files.drawing import write_drawing
from fieldsolve.report.plots.current_density import plot_current_density
from fieldsolve.report.plots.energy import plot_energy
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.motion import has_maps, moved_parts, plot_inductance, plot_metal, plot_sections, plot_shape
from fieldsolve.report.plots.styles import FONT, figures_for_files, key_above, new_axes, stacked_axes
from fieldsolve.report.plots.time_axes import describe_run, draw_series, mark_peak, style_axes
from fieldsolve.shot.display.summary_rows import pushed_along_axis
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

__all__ = ["plot_body", "plot_current", "plot_currents", "plot_energy", "plot_force", "plot_inductance", "plot_map", "plot_metal",
           "plot_probes", "plot_sections", "plot_shape", "plot_temperature", "write_shot_figures"]

SMALL_SHARE = 0.01            # a force below this share of the larger one on the same body is not drawn
ROOM_FOR_KEY = 22       # points below a title


@known_keywords
def plot_current(shot: Shot, measured: str | Path | Record | None = None, coil: str | None = None, ax=None):
    """Current of a coil in kA over the banks' voltages in kV, or where no bank drives it its own; returns the two axes.

    Parameters
    ----------
    shot : Shot
    measured : str, Path or Record, optional
        A measured current, or its file of two columns, time in s and current in A, laid over the computed one; the difference of the
        peaks stands above.
    coil : str, optional
        Name of the coil, by default the first in the circuit.
    ax : pair of matplotlib axes, optional
        Where to draw; those of a new figure by default.

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
    record = read_current(measured) if isinstance(measured, (str, Path)) else measured
    difference = None if record is None else peak_difference(shot, record, coil)
    top, bottom = axes = stacked_axes(2) if ax is None else ax
    draw_series(top, shot, {"computed" if record else coil: KILO * shot.series("current", coil)})
    mark_peak(top, *shot.history.peak("current", coil), KILO, "kA")
    if record is not None and difference is not None:
        _lay_over(top, record, difference)
    series, label = _source_series(shot, coil)
    draw_series(bottom, shot, series)
    style_axes(top, shot, f"current of {coil} [kA]")
    style_axes(bottom, shot, label, events=True)
    return axes


def _source_series(shot: Shot, coil: str) -> tuple[dict[str, np.ndarray], str]:
    """What stands below a current, and the label of its axis: the banks' voltages, or else the coil's; of a loop the current's rate."""
    if shot.bank_places:
        return {place: KILO * shot.series("voltage", place) for place in shot.bank_places}, "bank voltage [kV]"
    if ("voltage", coil) in shot.history.values:
        return {coil: KILO * shot.series("voltage", coil)}, f"voltage of {coil} [kV]"
    return {coil: KILO / US * shot.series("current_rate", coil)}, f"rate of the current of {coil} [kA/µs]"


def _lay_over(ax, record: Record, difference: PeakDifference) -> None:
    """A measured current without its baseline, its fitted peak, and what the computed one differs by."""
    times, values = current_samples(record)
    ax.plot(US * times, KILO * (values - (difference.baseline or 0.0)), color="0.45", linewidth=2.4, alpha=0.6, zorder=1.5,
            label=record.path.name)
    value, time = difference.measured
    ax.plot(US * time, KILO * value, "s", color="black", markerfacecolor="white", markersize=5, zorder=3, label="its fitted peak")
    key_above(ax, 3)
    text = (f"computed less measured: peak {100 * difference.share:+.2g} %, its time {US * difference.time:+.2g} µs, "
            f"rms {100 * difference.residual_share:.2g} %")
    ax.set_title(text.replace("-", "−"), fontsize=FONT, pad=ROOM_FOR_KEY)


def plot_body(shot: Shot, body: str | None = None, ax=None):
    """Net current of a body in kA, and the voltage round its rim in volt, of one thrown along the axis its power; returns the two axes."""
    body = body or _first_body(shot)
    top, bottom = axes = stacked_axes(2) if ax is None else ax
    second = ("power", MEGA, "MW", f"ohmic power in {body} [MW]") if pushed_along_axis(shot, body) else (
        "loop_voltage", 1.0, "V", f"voltage round the rim of {body} [V]")
    for single, (quantity, scale, unit, label) in ((top, ("current", KILO, "kA", f"net current of {body} [kA]")), (bottom, second)):
        draw_series(single, shot, {body: scale * shot.series(quantity, body)})
        mark_peak(single, *shot.history.peak(quantity, body), scale, unit)
        style_axes(single, shot, label, events=single is bottom)
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


def plot_force(shot: Shot, ax=None, events: bool = True):
    """Radial and axial force on each body in kN, the small ones left out, the largest with its peak; returns the axes.

    events  whether what happens is named below
    """
    ax = new_axes(6.4, 4) if ax is None else ax
    forces = {(direction, name): KILO * shot.series(f"{direction}_force", name)
              for name in shot.bodies for direction in ("radial", "axial")}
    peaks = {key: float(np.abs(values).max()) for key, values in forces.items()}
    visible = [key for key in forces if peaks[key] > SMALL_SHARE * max(peaks[other] for other in forces if other[1] == key[1])]
    draw_series(ax, shot, {f"{direction}, {name}": forces[direction, name] for direction, name in visible})
    largest = max(visible, key=lambda key: peaks[key], default=None)
    if largest:
        mark_peak(ax, *shot.history.peak(f"{largest[0]}_force", largest[1]), KILO, "kN")
    signs = {"radial": "inward", "axial": "down"}
    negative = " and ".join(word for direction, word in signs.items() if direction in {key[0] for key in visible})
    only = f"{visible[0][0]} " if len(visible) == 1 else ""
    style_axes(ax, shot, f"{only}force [kN],\n{negative} negative", events=events)
    return ax


def plot_temperature(shot: Shot, ax=None):
    """Hottest surface and mean of each body and coil in kelvin, with degrees Celsius at the right; returns the axes.

    Raises InputError where nothing heats.
    """
    places = [place for quantity, place in shot.history.values if quantity == "temperature"]
    if not places:
        raise InputError("the shot was computed without heating: leave heating=False away to draw temperatures")
    ax = new_axes(6.4, 4) if ax is None else ax
    draw_series(ax, shot, {f"{place}, {word}": shot.series(quantity, place) for place in places
                           for word, quantity in (("hottest", "temperature"), ("mean", "mean_temperature"))})
    style_axes(ax, shot, "temperature [K]", events=True, zero=False)
    celsius = ax.secondary_yaxis("right", functions=(lambda kelvin: kelvin - ZERO_CELSIUS, lambda celsius: celsius + ZERO_CELSIUS))
    celsius.set_ylabel("temperature [°C]")
    return ax


@known_keywords
def write_shot_figures(shot: Shot, folder: str | Path, measured: str | Path | Record | None = None) -> list[Path]:
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
        with figures_for_files():
            figure = _figure_of(draw())
        path = folder / f"{name}.png"
        write_drawing(figure, path)
        written.append(path)
    return written


def _drawings(shot: Shot, measured: str | Path | Record | None) -> Iterable[tuple[str, Callable]]:
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
    if all(("flux", coil) in shot.history.values for coil in shot.coils):
        yield "inductance", lambda: plot_inductance(shot)
    if moved_parts(shot):
        yield "sections", lambda: plot_sections(shot)
        yield "shape", lambda: plot_shape(shot)
    if has_maps(shot):
        yield "metal", lambda: plot_metal(shot)
    yield "map", lambda: plot_map(shot)
    yield "current_density", lambda: plot_currents(shot)


def plot_map(shot: Shot, time: float | None = None, ax=None):
    """Flux lines over |B| at a time in seconds, that of the first coil's peak current by default; returns the axes."""
    field = _field_at(shot, time)
    ax = plot_field(field, ax)
    ax.set_title(f"at {US * field.time:.3g} µs, {describe_run(shot)}: {ax.get_title()}", fontsize=FONT)
    return ax


def plot_currents(shot: Shot, time: float | None = None, ax=None):
    """|J| in the metal at a time in seconds, that of the first coil's peak current by default; returns the axes."""
    field = _field_at(shot, time)
    ax = plot_current_density(field, ax)
    title = ax.get_legend().get_title()
    title.set_text(f"at {US * field.time:.3g} µs, {describe_run(shot)}\n{title.get_text()}")
    return ax


def _field_at(shot: Shot, time: float | None):
    peak = shot.history.peak("current", shot.coils[0])[1] if time is None else time
    return shot.field_at(min(peak, shot.times[-1]) if time is None else time)


def _figure_of(axes):
    return (axes if hasattr(axes, "figure") else axes[0]).figure


def _first_body(shot: Shot) -> str:
    if not shot.bodies:
        raise InputError("the shot has no conducting body")
    return shot.bodies[0]
