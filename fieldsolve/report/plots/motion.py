"""Metal that moved, drawn: sections to scale, shape over time, maps of temperature and strain, the inductance that the bank sees."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.report.display_units import MICROHENRIES, MM, US
from fieldsolve.report.plots.flux_map import DARK, LIGHT
from fieldsolve.report.plots.styles import FONT, TITLE_TOP, add_scale_below, axis_line, new_axes, picture_row, stacked_axes
from fieldsolve.report.plots.time_axes import describe_run, draw_series, style_axes
from fieldsolve.report.sampling.outlines import draw_metal, zone_loops
from fieldsolve.report.sampling.thin_walls import describe_walls, mesh_as_drawn, thick_walls
from fieldsolve.shot.display.summary_rows import pushed_along_axis
from fieldsolve.shot.result.kinematics import PERIMETER_ORDER
from geometries.keywords import known_keywords
from geometries.mesh import AIR

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

MARGIN = 0.04           # of the section's extent around it


def moved_parts(shot: Shot) -> list[str]:
    """Names of the parts that moved, bodies first."""
    names = [place for quantity, place in shot.history.values if quantity == "outer_radius"]
    return sorted(names, key=lambda name: name in shot.coils)


@known_keywords
def plot_sections(shot: Shot, times=None, ax=None):
    """The section at three times in seconds, to one scale, with the first one's outlines in grey; returns the axes.

    Parameters
    ----------
    shot : Shot
    times : sequence of three float, optional
        Seconds; by default the start, where the first body has half of its way behind it, and the end.
    ax : sequence of matplotlib axes, optional
        Where to draw; those of a new figure by default.

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
    axes = picture_row(len(instants), box)[0] if ax is None else ax
    for single, instant in zip(axes, instants, strict=True):
        draw_metal(single, instant, tint="0.8", width=0.9)
        if instant is not instants[0]:
            _draw_outlines(single, instants[0].mesh)
        _frame_section(single, box, first=single is axes[0])
        single.set_title(f"at {US * instant.time:.3g} µs{_validity_note(shot, instant.time)}", fontsize=FONT)
    _name_parts(axes[0], instants[0].mesh, box)
    return axes


@known_keywords
def plot_shape(shot: Shot, ax=None):
    """Radii and thicknesses in mm and largest speeds in m/s of all that moved, over time; returns the axes.

    Parameters
    ----------
    shot : Shot
    ax : sequence of matplotlib axes, optional
        Where to draw; those of a new figure by default.

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
    groups = (("radius [mm]", MM, {"outer_radius": "", "inner_radius": " hole", "radius": "", "waist_outer_radius": " waist outside",
                                   "waist_inner_radius": " waist inside"}),
              ("thickness [mm]", MM, {"rim_thickness": " rim", "mid_radius_thickness": " mid-radius", "axis_thickness": " axis",
                                      "waist_thickness": " wall at the waist"}),
              ("crown over the rim [mm]", MM, {"crown_height": ""}),
              ("largest speed [m/s]", 1.0, {"speed": ""}))
    panel_series = [(label, series) for label, scale, suffixes in groups if (series := _part_series(shot, scale, suffixes))]
    axes = np.atleast_1d(stacked_axes(len(panel_series))) if ax is None else ax
    for single, (label, series) in zip(axes, panel_series, strict=True):
        draw_series(single, shot, series)
        if len(series) == 1:
            single.set_title(next(iter(series)), fontsize=FONT)
        style_axes(single, shot, label, events=single is axes[-1], zero=False)
        single.set_ylim(bottom=min(0.0, single.get_ylim()[0]))
    return axes


@known_keywords
def plot_metal(shot: Shot, time: float | None = None, ax=None):
    """Maps of temperature, of the plastic share of the heat and of plastic strain in the metal, where they are; returns the axes.

    Parameters
    ----------
    shot : Shot
    time : float, optional
        Seconds; the end by default.
    ax : sequence of matplotlib axes, optional
        Where to draw; those of a new figure by default.

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
    maps = [(label, values, limits) for quantity, label, values, limits in (
        ("temperature", "temperature [K]", instant.temperature, (None, None)),
        ("plastic_heat_share", "plastic share of the heat", instant.plastic_heat_share, (0.0, 1.0)),
        ("plastic_strain", "plastic strain", instant.plastic_strain, (0.0, None))) if _is_recorded(shot, quantity)]
    if not maps:
        raise InputError("nothing in this shot heats or flows: leave heating=False or motion=False away to draw maps of the metal")
    box = _metal_extent([instant.mesh])
    left, right, low, high = (x / MM for x in box)
    walls = thick_walls(instant.mesh, [part.name for part in shot.section.parts if part.zones], (left, right, low, high))
    mesh = mesh_as_drawn(instant.mesh, walls)
    axes, bars = picture_row(len(maps), box, scales=True) if ax is None else (ax, [None] * len(maps))
    for single, bar, (label, values, limits) in zip(axes, bars, maps, strict=True):
        add_scale_below(single, bar, _draw_map(single, mesh, instant.triangles, values, label, limits), label)
        draw_metal(single, instant, width=0.6, mesh=mesh)
        _frame_section(single, box, first=single is axes[0])
        single.set_title(f"largest of a cell {values.max():.4g}{' K' if 'temperature' in label else ''}", fontsize=FONT)
    title = [f"at {US * instant.time:.3g} µs{_validity_note(shot, instant.time)}", describe_run(shot), describe_walls(walls)]
    axes[0].figure.suptitle(", ".join(filter(None, title)), fontsize=FONT, y=TITLE_TOP if ax is None else None)
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
    way = _way(shot, moved_parts(shot)[0])
    half = int(np.abs(way - 0.5 * (way[0] + way[-1])).argmin())
    return 0.0, float(shot.times[half or len(way) // 2]), float(shot.times[-1])


def _way(shot: Shot, name: str) -> np.ndarray:
    """What changes most of a part: the waist of a tube, the crown of what is thrown along the axis, else the radius."""
    known = [quantity for quantity in ("waist_inner_radius", "crown_height", "outer_radius") if (quantity, name) in shot.history.values]
    return max((shot.series(quantity, name) for quantity in known), key=lambda values: abs(values[-1] - values[0]))


def _part_series(shot: Shot, scale: float, suffixes: dict[str, str]) -> dict[str, np.ndarray]:
    """Series by name of part and place, those that say something of its shape."""
    return {_series_name(name, quantity, suffix): scale * shot.series(quantity, name)
            for name in moved_parts(shot) for quantity, suffix in suffixes.items() if _is_shown(shot, quantity, name)}


def _series_name(name: str, quantity: str, suffix: str) -> str:
    return f"{name},{suffix}" if suffix else f"{name}, widest turn" if quantity == "radius" else name


def _is_shown(shot: Shot, quantity: str, name: str) -> bool:
    """Not the hole that a body has not, the ends of a tube, the rim of a coil, or the crown of what is not thrown along the axis."""
    values = shot.history.values.get((quantity, name))
    if values is None or not np.abs(values).max() > 0:
        return False
    if quantity == "crown_height":
        return pushed_along_axis(shot, name)
    of_ends = quantity in ("outer_radius", "inner_radius") and ("waist_thickness", name) in shot.history.values
    return not of_ends and not (quantity == "outer_radius" and name in shot.coils)


def _metal_extent(meshes) -> tuple[float, float, float, float]:
    """Extent in mm of the metal of some meshes from the axis on, and a margin."""
    places = np.concatenate([mesh.nodes[np.unique(mesh.triangles[mesh.region > AIR])] for mesh in meshes])
    (_, low), (outer, high) = MM * places.min(axis=0), MM * places.max(axis=0)
    margin = MARGIN * max(outer, high - low)
    return -margin / 2, outer + margin, low - margin, high + margin


def _name_parts(ax, mesh, box) -> None:
    """The name of each part, with a line to the nearest of its section: beside the axis, in a flat picture at its outer end."""
    names = list(dict.fromkeys(part for part, _ in mesh.regions))
    sections = {name: MM * mesh.nodes[np.unique(mesh.triangles[mesh.part_triangles(name)])] for name in names}
    tall = box[3] - box[2] > box[1] - box[0]
    share = 0.12 if tall else 0.97
    ordered = sorted(names, key=lambda name: (np.ptp if tall else np.mean)(sections[name][:, 1]))        # so that few lines cross
    for rank, name in enumerate(ordered):
        height = (rank + 1) / (len(names) + 1)
        label = np.array([box[0] + share * (box[1] - box[0]), box[2] + height * (box[3] - box[2])])
        nearest = sections[name][np.linalg.norm(sections[name] - label, axis=1).argmin()]
        ax.annotate(name[:20], nearest, xytext=label, fontsize=FONT, zorder=5, ha="left" if tall else "right", va="center",
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
                    arrowprops={"arrowstyle": "-", "linewidth": 0.6, "color": "0.4", "shrinkA": 0, "shrinkB": 0})


def _frame_section(ax, box, first: bool) -> None:
    axis_line(ax)
    ax.set(xlim=box[:2], ylim=box[2:], aspect="equal", xlabel="r [mm]", ylabel="z [mm]" if first else "")
    ax.spines[["top", "right"]].set_visible(False)


def _draw_outlines(ax, mesh) -> None:
    """Thin grey outlines of the metal of a mesh."""
    from matplotlib.collections import LineCollection

    ax.add_collection(LineCollection(zone_loops(mesh), colors="0.5", linewidths=0.6, zorder=4))


def _draw_map(ax, mesh, triangles: np.ndarray, values: np.ndarray, label: str, limits: tuple[float | None, float | None]):
    """A value in each triangle of metal; returns the cells."""
    from matplotlib.collections import PolyCollection
    from matplotlib.colors import LinearSegmentedColormap

    colours = LinearSegmentedColormap.from_list(label, [LIGHT, DARK])
    cells = PolyCollection(MM * mesh.nodes[mesh.triangles[triangles][:, PERIMETER_ORDER]], array=values, cmap=colours,
                           edgecolors="face", linewidths=0.2, zorder=1)
    low, high = limits
    cells.set_clim(low, high if values.any() else 1.0)          # nothing has flowed: no scale below zero
    ax.add_collection(cells)
    return cells
