"""Metal that moved, drawn: sections to scale, shape over time, maps of temperature and strain, the inductance that the bank sees."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.report.display_units import MICROHENRIES, MM, US
from fieldsolve.report.plots.flux_map import DARK, LIGHT
from fieldsolve.report.plots.styles import axis_line, new_axes, stacked_axes
from fieldsolve.report.plots.time_axes import draw_series, style_axes
from fieldsolve.report.sampling.outlines import draw_metal, edge_lines, zone_borders
from fieldsolve.shot.result.kinematics import PERIMETER_ORDER
from geometries.mesh import AIR

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

MARGIN = 0.04           # of the section's extent around it
COLUMN_WIDTH = 2.5            # inches: width of one picture of a row


def moved_parts(shot: Shot) -> list[str]:
    """Names of the parts that moved, bodies first."""
    names = [place for quantity, place in shot.history.values if quantity == "outer_radius"]
    return sorted(names, key=lambda name: name in shot.coils)


def plot_sections(shot: Shot, times=None, axes=None):
    """The section at three times in seconds, to one scale, with the first one's outlines in grey; returns the axes.

    Parameters
    ----------
    shot : Shot
    times : sequence of three float, optional
        Seconds; by default the start, where the first body has half of its way behind it, and the end.
    axes : sequence of matplotlib axes, optional
        Where to draw; new ones by default.

    Returns
    -------
    axes
        One for each time.

    Raises
    ------
    InputError
        Where nothing moved.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=True, accuracy=3e-2)
    >>> len(plot_sections(shot))
    3
    """
    _require_motion(shot)
    instants = [shot.metal_at(time) for time in (times or _three_times(shot))]
    box = _metal_extent([instant.mesh for instant in instants])
    axes = _new_row(len(instants), box) if axes is None else axes
    for ax, instant in zip(axes, instants, strict=True):
        draw_metal(ax, instant, tint="0.8", width=0.9)
        if instant is not instants[0]:
            _draw_outlines(ax, instants[0].mesh)
        _frame_section(ax, box, first=ax is axes[0])
        ax.set_title(f"{US * instant.time:.3g} µs{_validity_note(shot, instant.time)}", fontsize="small")
    return axes


def plot_shape(shot: Shot, axes=None):
    """Radii and thicknesses in mm and largest speeds in m/s of all that moved, over time; returns the axes.

    Parameters
    ----------
    shot : Shot
    axes : sequence of matplotlib axes, optional
        Where to draw; new ones by default.

    Returns
    -------
    axes

    Raises
    ------
    InputError
        Where nothing moved.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=True, accuracy=3e-2)
    >>> plot_shape(shot)[-1].get_ylabel()
    'largest speed [m/s]'
    """
    _require_motion(shot)
    groups = (("radius [mm]", MM, {"outer_radius": "", "inner_radius": " hole", "radius": ""}),
              ("thickness [mm]", MM, {"rim_thickness": " rim", "mid_radius_thickness": " mid-radius", "axis_thickness": " axis"}),
              ("largest speed [m/s]", 1.0, {"speed": ""}))
    panel_series = [(label, series) for label, scale, suffixes in groups if (series := _part_series(shot, scale, suffixes))]
    axes = np.atleast_1d(stacked_axes(len(panel_series))) if axes is None else axes
    for ax, (label, series) in zip(axes, panel_series, strict=True):
        draw_series(ax, shot, series)
        if len(series) == 1:
            ax.set_title(next(iter(series)), fontsize="small")
        style_axes(ax, shot, label, events=ax is axes[-1], zero=False)
        ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
    return axes


def plot_metal(shot: Shot, time: float | None = None, axes=None):
    """Maps of temperature, of the plastic share of the heat and of plastic strain in the metal, where they are; returns the axes.

    Parameters
    ----------
    shot : Shot
    time : float, optional
        Seconds; the end by default.
    axes : sequence of matplotlib axes, optional
        Where to draw; new ones by default.

    Returns
    -------
    axes
        One for each map.

    Raises
    ------
    InputError
        Where nothing heats or flows.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=1e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil]), bank, end_time=5e-6, motion=True, accuracy=3e-2)
    >>> len(plot_metal(shot))
    3
    """
    instant = shot.metal_at(shot.times[-1] if time is None else time)
    maps = [(label, values, upper_limit) for quantity, label, values, upper_limit in (
        ("temperature", "temperature [K]", instant.temperature, None),
        ("plastic_heat_share", "plastic share of the heat", instant.plastic_heat_share, 1.0),
        ("plastic_strain", "plastic strain", instant.plastic_strain, None)) if _is_recorded(shot, quantity)]
    if not maps:
        raise InputError("nothing in this shot heats or flows: leave heating=False or motion=False away to draw maps of the metal")
    box = _metal_extent([instant.mesh])
    axes = _new_row(len(maps), box, scale=True) if axes is None else axes
    for ax, (label, values, upper_limit) in zip(axes, maps, strict=True):
        _draw_map(ax, instant, values, label, upper_limit)
        draw_metal(ax, instant, width=0.6)
        _frame_section(ax, box, first=ax is axes[0])
        ax.set_title(f"largest {values.max():.4g}", fontsize="small")
    axes[0].figure.suptitle(f"at {US * instant.time:.3g} µs{_validity_note(shot, instant.time)}", fontsize="small")
    return axes


def plot_inductance(shot: Shot, ax=None):
    """Inductance in microhenry of the coils as the bank sees them; returns the axes."""
    ax = new_axes(6.4, 3.4) if ax is None else ax
    times, henry = shot.apparent_inductance()
    gaps = np.flatnonzero(np.diff(np.searchsorted(shot.times, times)) > 1) + 1
    draw_series(ax, shot, {"": MICROHENRIES * np.insert(henry, gaps, np.nan)}, np.insert(times, gaps, times[gaps]))
    style_axes(ax, shot, "inductance seen [µH]", events=True, zero=False)
    ax.set_ylim(bottom=0.0)
    return ax


def has_maps(shot: Shot) -> bool:
    """Whether there is something for `plot_metal` to draw."""
    return _is_recorded(shot, "temperature") or _is_recorded(shot, "plastic_strain")


def _is_recorded(shot: Shot, quantity: str) -> bool:
    return any(recorded == quantity for recorded, _ in shot.history.values)


def _require_motion(shot: Shot) -> None:
    if not moved_parts(shot):
        raise InputError("no metal moved in this shot: leave motion=False away to draw how it moves")


def _validity_note(shot: Shot, time: float) -> str:
    return ", beyond the model" if shot.validity_end is not None and time > shot.validity_end else ""


def _three_times(shot: Shot) -> tuple[float, float, float]:
    """The start, where the first of the moved parts has half of its way behind it, and the end, seconds."""
    radius = shot.series("outer_radius", moved_parts(shot)[0])
    half = int(np.abs(radius - 0.5 * (radius[0] + radius[-1])).argmin())
    return 0.0, float(shot.times[half or len(radius) // 2]), float(shot.times[-1])


def _part_series(shot: Shot, scale: float, suffixes: dict[str, str]) -> dict[str, np.ndarray]:
    """Series by name of part and place; of a coil the middle of its widest turn in place of its rim, no hole where there is none."""
    found = {}
    for name in moved_parts(shot):
        for quantity, suffix in suffixes.items():
            values = shot.history.values.get((quantity, name))
            if values is not None and values.max() > 0 and not (quantity == "outer_radius" and name in shot.coils):
                found[f"{name},{suffix}" if suffix else f"{name}, widest turn" if quantity == "radius" else name] = scale * values
    return found


def _metal_extent(meshes) -> tuple[float, float, float, float]:
    """Extent in mm of the metal of some meshes from the axis on, and a margin."""
    places = np.concatenate([mesh.nodes[np.unique(mesh.triangles[mesh.region > AIR])] for mesh in meshes])
    (_, low), (outer, high) = MM * places.min(axis=0), MM * places.max(axis=0)
    margin = MARGIN * max(outer, high - low)
    return -margin / 2, outer + margin, low - margin, high + margin


def _new_row(count: int, box, scale: bool = False):
    """Axes side by side for pictures of one box; `scale` with room for a scale of colours below."""
    from matplotlib.figure import Figure

    height = COLUMN_WIDTH * min((box[3] - box[2]) / (box[1] - box[0]), 3.0) + (1.5 if scale else 0.8)
    return np.atleast_1d(Figure(figsize=(COLUMN_WIDTH * count + 0.6, height), layout="constrained").subplots(1, count, sharey=True))


def _frame_section(ax, box, first: bool) -> None:
    axis_line(ax)
    ax.set(xlim=box[:2], ylim=box[2:], aspect="equal", xlabel="r [mm]", ylabel="z [mm]" if first else "")
    ax.spines[["top", "right"]].set_visible(False)


def _draw_outlines(ax, mesh) -> None:
    """Thin grey outlines of the metal of a mesh."""
    from matplotlib.collections import LineCollection

    ax.add_collection(LineCollection(edge_lines(mesh, zone_borders(mesh)), colors="0.5", linewidths=0.6, zorder=4))


def _draw_map(ax, instant, values: np.ndarray, label: str, upper_limit: float | None) -> None:
    """A value in each triangle of metal, with its scale below the picture."""
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import LinearSegmentedColormap

    colours = LinearSegmentedColormap.from_list(label, [LIGHT, DARK])
    cells = PolyCollection(
        MM * instant.mesh.nodes[instant.mesh.triangles[instant.triangles][:, PERIMETER_ORDER]],
        array=values,
        cmap=colours,
        edgecolors="face",
        linewidths=0.2,
        zorder=1,
    )
    cells.set_clim(0.0 if upper_limit else None, upper_limit)
    ax.add_collection(cells)
    ax.figure.colorbar(cells, ax=ax, location="bottom", shrink=0.9, aspect=24, label=label)
