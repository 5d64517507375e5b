"""A body before and after a shot as it lies on the bench: revolved, shaded, cut open by a quarter, with a ruler."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.report.blank.drawing import first_flat_body
from fieldsolve.report.display_units import MM
from fieldsolve.report.plots.styles import FONT, new_figure
from geometries.keywords import known_keywords

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

CUT = 0.5 * np.pi       # the quarter that is taken out, turned to the reader
STEPS = 72              # of the revolution
LIGHT = (300, 55)       # degrees: azimuth and height of the lamp
VIEW = (28, -45)        # degrees: height and azimuth of the eye, which looks into the cut
METAL, FACE = "#d5dae1", "#9aa2af"
SMALL = 6.0             # mm of radius, below which the ruler is half as long


@known_keywords
def plot_blank(shot: Shot, name: str | None = None, ax=None):
    """A body at the start and at the end of a shot, revolved about its axis and cut open by a quarter; returns the two axes.

    Parameters
    ----------
    shot : Shot
    name : str, optional
        Part; the first flat body that moved by default.
    ax : sequence of two matplotlib axes, optional
        With projection "3d"; new ones by default.

    Returns
    -------
    axes
        Start and end, to one scale, each with a ruler.

    Raises
    ------
    InputError
        Where no flat body moved and no part is named.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=2, bore_radius=10.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    >>> disc = geo.disc(radius=10e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    >>> bank = fs.Bank(capacitance=120e-6, voltage=2e3, inductance=300e-9)
    >>> shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=5e-6, accuracy=3e-2, error_bounds=False)
    >>> [axes.name for axes in plot_blank(shot)]
    ['3d', '3d']
    """
    name = name or first_flat_body(shot)
    times = (0.0, float(shot.times[-1]))
    profiles = [shot.profile(name, time) for time in times]
    corners = np.concatenate([loop for profile in profiles for loop in profile.outlines])
    radius, middle = float(corners[:, 0].max()), 0.5 * float(corners[:, 1].min() + corners[:, 1].max())
    axes = new_figure(8.4, 3.9).subplots(1, 2, subplot_kw={"projection": "3d", "computed_zorder": False}) if ax is None else ax
    for single, profile, words in zip(axes, profiles, ("at the start", f"at {1e6 * times[1]:.3g} µs"), strict=True):
        for loop in profile.outlines:
            _draw_solid(single, MM * loop)
        _draw_ruler(single, MM * radius, MM * float(corners[:, 1].min()))
        _style(single, MM * radius, MM * middle)
        single.set_title(f"{name} {words}", fontsize=FONT)
    return axes


def revolved(loop: np.ndarray, steps: int = STEPS, cut: float = CUT) -> np.ndarray:
    """Points (corners + 1, steps + 1, 3) of a closed outline (corners, 2) turned about the z axis, without the angle `cut`."""
    angle = np.linspace(0.5 * cut - 0.25 * np.pi, 2 * np.pi - 0.5 * cut - 0.25 * np.pi, steps + 1)
    r, z = np.append(loop, loop[:1], axis=0).T
    return np.stack([r[:, None] * np.cos(angle), r[:, None] * np.sin(angle), np.broadcast_to(z[:, None], (len(r), len(angle)))], axis=-1)


def _draw_solid(ax, loop: np.ndarray) -> None:
    """The skin of the body, and the two faces of the cut."""
    from matplotlib.colors import LightSource
    from mpl_toolkits.mplot3d.art3d import Poly3DCollection

    skin = revolved(loop)
    quads = np.stack([skin[:-1, :-1], skin[:-1, 1:], skin[1:, 1:], skin[1:, :-1]], axis=2).reshape(-1, 4, 3)
    ax.add_collection3d(Poly3DCollection(quads, facecolors=METAL, edgecolors=METAL, linewidths=0.2, shade=True,
                                         lightsource=LightSource(*LIGHT), zorder=1))
    for side in (0, -1):                                           # before the skin: the eye looks into the cut
        ax.add_collection3d(Poly3DCollection([skin[:, side]], facecolors=FACE, edgecolors="black", linewidths=0.6, zorder=2))


def _draw_ruler(ax, radius: float, low: float) -> None:
    """Ten millimetres, or five, in two shades, across the view before the cut."""
    length = 10.0 if radius > SMALL else 5.0
    eye, across = (np.array([np.cos(turn), np.sin(turn)]) for turn in np.deg2rad([VIEW[1], VIEW[1] + 90]))
    ends = [eye * 0.95 * radius + across * length * share for share in (-0.5, 0.0, 0.5)]
    for start, end, shade in zip(ends, ends[1:], ("black", "0.6"), strict=False):
        ax.plot(*zip(start, end, strict=True), [low, low], color=shade, linewidth=3.5, solid_capstyle="butt")
    ax.text(*(ends[1] + 0.12 * radius * eye), low, f"{length:g} mm", fontsize=FONT, ha="center", va="top")


def _style(ax, radius: float, middle: float) -> None:
    ax.set(xlim=(-radius, radius), ylim=(-radius, radius), zlim=(middle - radius, middle + radius))
    ax.set_box_aspect((1, 1, 1), zoom=1.35)
    ax.view_init(*VIEW)
    ax.set_axis_off()
