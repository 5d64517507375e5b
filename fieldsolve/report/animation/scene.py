"""The picture of a movie: the section with one quantity, and beside it the current and a radius with a cursor at the time shown."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.report.animation.flux_lines import flux_lines
from fieldsolve.report.animation.frames import QUANTITIES, Frame, frame_at
from fieldsolve.report.display_units import KILO, MM, US
from fieldsolve.report.plots.styles import FONT, axis_line, new_figure
from fieldsolve.report.plots.time_axes import draw_series, style_axes
from fieldsolve.report.sampling.outlines import zone_loops
from geometries.mesh import AIR

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

ROOM = 0.25             # of the metal's size shown around it
LOOKS = 9               # frames that the scale of colours is made from
LINES = 20              # flux lines at the largest flux
TOP_SHARE = 0.995       # of the values: the scale ends there, so that a corner does not bleach the rest
WIDTH, HEIGHT = 8.4, 5.0        # inches


@dataclass(frozen=True, eq=False)
class Scene:
    """The axes of the picture and what is drawn into them anew for each frame.

    box     (r_min, r_max, z_min, z_max) in m that is shown; the axis is in the middle of the picture
    scale   (lowest, highest) value of the colours
    step    Wb between flux lines; 0 for none
    """

    figure: Any
    section: Any
    cursors: tuple[Any, ...]
    box: tuple[float, float, float, float]
    scale: tuple[float, float]
    step: float
    quantity: str

    def __repr__(self) -> str:
        return f"Scene({self.quantity}, {self.scale[0]:.4g} to {self.scale[1]:.4g})"

    def show(self, frame: Frame) -> list[Any]:
        """Draw a frame in place of the one before; returns what was drawn."""
        for artist in [*self.section.collections]:
            artist.remove()
        self._draw(frame)
        self.section.set_title(f"{US * frame.time:5.1f} µs", fontsize=FONT)
        for cursor in self.cursors:
            cursor.set_xdata([US * frame.time] * 2)
        return [*self.section.collections, *self.cursors]

    def _draw(self, frame: Frame) -> None:
        from matplotlib.collections import LineCollection, PathCollection
        from matplotlib.path import Path
        from matplotlib.tri import Triangulation

        seen = self._seen(frame)
        corners = both_halves(MM * frame.mesh.nodes[frame.triangles[seen]])
        self.section.tripcolor(Triangulation(*corners.reshape(-1, 2).T, np.arange(3 * len(corners)).reshape(-1, 3)),
                               np.tile(np.repeat(frame.values[seen], 3), 2), shading="gouraud", cmap=colour_map(self.quantity),
                               vmin=self.scale[0], vmax=self.scale[1], zorder=1)
        if frame.flux is not None and self.step:
            pieces = flux_lines(corners, np.tile(frame.flux[frame.triangles[seen]], (2, 1)), self.step)
            path = Path(pieces.reshape(-1, 2), np.tile([Path.MOVETO, Path.LINETO], len(pieces)).astype(Path.code_type))
            self.section.add_collection(PathCollection([path], facecolors="none", edgecolors="black", linewidths=0.5, zorder=2))
        edges = [line * (side, 1) for line in zone_loops(frame.mesh) for side in (1, -1)]
        self.section.add_collection(LineCollection(edges, colors="black", linewidths=0.9, zorder=3))

    def _seen(self, frame: Frame) -> np.ndarray:
        """Whether a triangle reaches into the picture, (m,)."""
        corners = frame.mesh.nodes[frame.triangles]
        lowest, highest = corners.min(axis=1), corners.max(axis=1)
        return (lowest[:, 0] < self.box[1]) & (lowest[:, 1] < self.box[3]) & (highest[:, 1] > self.box[2])


def both_halves(places: np.ndarray) -> np.ndarray:
    """Points (n, ..., 2) in the half plane, and their mirror images."""
    return np.concatenate([places, places * (-1, 1)])


def make_scene(shot: Shot, quantity: str, times: Sequence[float]) -> Scene:
    """The empty picture of a shot, with scales that hold for all frames at these times in s."""
    looks = [frame_at(shot, quantity, float(time)) for time in np.linspace(times[0], times[-1], LOOKS)]
    box = _box(shot)
    scale = QUANTITIES[quantity].lowest, max(_top(frame, box) for frame in looks)
    fluxes = [np.abs(frame.flux).max() for frame in looks if frame.flux is not None]
    figure = new_figure(WIDTH, HEIGHT)
    left, right = figure.subfigures(1, 2, width_ratios=(1.25, 1))
    section = left.subplots()
    _style_section(left, section, quantity, box, scale)
    cursors = _draw_traces(right, shot)
    scene = Scene(figure, section, cursors, box, scale, max(fluxes, default=0.0) / LINES, quantity)
    scene.show(looks[0])
    figure.draw_without_rendering()
    figure.set_layout_engine("none")                               # every frame is laid out as the first: it takes a third of the time
    return scene


def colour_map(quantity: str):
    """From a light to a dark hue, which orders in grey too."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list(quantity, list(QUANTITIES[quantity].hues))


def _box(shot: Shot) -> tuple[float, float, float, float]:
    """What holds the metal at the start and at the end, and some room."""
    corners = np.concatenate([instant.mesh.nodes[np.unique(instant.mesh.triangles[instant.mesh.region > AIR])]
                              for instant in (shot.instants[0], shot.instants[-1])])
    outer, (low, high) = corners[:, 0].max(), (corners[:, 1].min(), corners[:, 1].max())
    room = ROOM * max(outer, high - low)
    return 0.0, float(outer + room), float(low - room), float(high + room)


def _top(frame: Frame, box: tuple[float, float, float, float]) -> float:
    """Value that TOP_SHARE of the triangles in the box do not exceed."""
    r, z = frame.mesh.nodes[frame.triangles].mean(axis=1).T
    inside = (r < box[1]) & (box[2] < z) & (z < box[3])
    return float(np.quantile(frame.values[inside], TOP_SHARE)) if inside.any() else 0.0


def _style_section(figure, ax, quantity: str, box, scale: tuple[float, float]) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    axis_line(ax)
    ax.set(xlim=(-MM * box[1], MM * box[1]), ylim=(MM * box[2], MM * box[3]), aspect="equal", xlabel="r [mm]", ylabel="z [mm]")
    ax.set_xticks(ticks := [tick for tick in ax.get_xticks() if abs(tick) <= MM * box[1]], [f"{abs(tick):g}" for tick in ticks])
    figure.colorbar(ScalarMappable(Normalize(*scale), colour_map(quantity)), ax=ax, location="bottom", shrink=0.8, aspect=30,
                    extend="max", label=QUANTITIES[quantity].label)


def _draw_traces(figure, shot: Shot) -> tuple[Any, ...]:
    """Currents above, radii below where metal moves; returns the cursors."""
    from fieldsolve.report.plots.motion import moved_parts

    currents = {name: KILO * shot.series("current", name) for name in (*shot.coils[:1], *shot.bodies[:1])}
    radii = {name: MM * shot.series("outer_radius", name) for name in moved_parts(shot)[:3]}
    panels = [("current [kA]", currents), *([("outer radius [mm]", radii)] if radii else [])]
    axes = np.atleast_1d(figure.subplots(len(panels), 1, sharex=True))
    for ax, (label, series) in zip(axes, panels, strict=True):
        draw_series(ax, shot, series)
        style_axes(ax, shot, label, zero=label.startswith("current"))
        ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
    return tuple(ax.axvline(0.0, color="black", linewidth=1.2) for ax in axes)
