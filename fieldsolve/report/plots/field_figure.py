"""The figure of a field: the map beside curves along the axis and in the mid-plane; and the mesh."""
from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.field.plottable_field import PlottableField
from fieldsolve.report.display_units import MM
from fieldsolve.report.files.drawing import write_drawing
from fieldsolve.report.files.suffix import check_suffix
from fieldsolve.report.plots.current_density import plot_current_density
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.harmonic_figure import harmonic_figure, harmonic_pictures
from fieldsolve.report.plots.impedance import plot_impedance
from fieldsolve.report.plots.profiles import plot_axis, plot_line, plot_line_compared, plot_radius
from fieldsolve.report.plots.styles import FONT, plane_axes
from fieldsolve.report.sampling.outlines import Extent, draw_metal, edge_lines
from fieldsolve.report.sampling.two_sided_field import visible_triangles
from geometries.cross_section import AxialStrip
from geometries.mesh import EDGE_NODES

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep
    from fieldsolve.field.static.field import StaticField

__all__ = ["FIGURE_SUFFIXES", "harmonic_figure", "plot_axis", "plot_current_density", "plot_field", "plot_impedance", "plot_line",
           "plot_line_compared", "plot_mesh", "plot_radius", "write_figure"]

FIGURE_SUFFIXES = (".png", ".pdf", ".svg")
METAL_TINT = "#c6dbef"       # tint of metal, light enough for the triangles on it


def plot_mesh(field: PlottableField, ax=None, extent: Extent | None = None):
    """Triangles of the mesh, curved edges as they are, metal tinted; returns the axes.

    extent   r_min, r_max, z_min, z_max in metres; by default all that is meshed
    """
    from matplotlib.collections import LineCollection

    mesh = field.mesh
    chosen = visible_triangles(mesh, extent)
    r, z = mesh.nodes[mesh.triangles[chosen]].reshape(-1, 2).T
    r_min, r_max, z_min, z_max = box = extent or (r.min(), r.max(), z.min(), z.max())
    ax = plane_axes(box) if ax is None else ax
    edges = mesh.triangles[chosen][:, EDGE_NODES].reshape(-1, 3)
    unique = np.unique(edges[:, 2], return_index=True)[1]
    ax.add_collection(LineCollection(edge_lines(mesh, edges[unique]), colors="0.25", linewidths=0.35, zorder=3.5))
    draw_metal(ax, field, tint=METAL_TINT)
    margin = 0.0 if extent else 0.01 * (r_max - r_min)
    ax.set(xlim=(MM * (r_min - margin), MM * (r_max + margin)), ylim=(MM * (z_min - margin), MM * (z_max + margin)), aspect="equal",
           xlabel="r [mm]", ylabel="z [mm]")
    ax.set_title(f"{len(chosen)} triangles", fontsize=FONT)
    return ax


def write_figure(field: StaticField | HarmonicField | HarmonicSweep, path: str | Path, title: str = "") -> None:
    """Write the figure of a field as PNG, PDF or SVG by the suffix; a file that cannot be completed is not left there.

    At rest: the map left, axis and mid-plane right; at a frequency or several: what `harmonic_figure` draws.
    Raises InputError for another suffix, OSError where the folder cannot be written to.
    """
    check_suffix("figure", path, FIGURE_SUFFIXES)
    figure = field_figure(field, title)
    write_drawing(figure, path)


def field_pictures(field: StaticField | HarmonicField | HarmonicSweep) -> list[tuple[str, Callable]]:
    """Caption of each picture of a field's page, and what draws it."""
    return list(harmonic_pictures(field)) if _is_harmonic(field) else [("The field", lambda: static_figure(field))]


def field_figure(field: StaticField | HarmonicField | HarmonicSweep, title: str = ""):
    """What `write_figure` writes, as a matplotlib figure."""
    return harmonic_figure(field, title) if _is_harmonic(field) else static_figure(field, title)


def _is_harmonic(field: StaticField | HarmonicField | HarmonicSweep) -> bool:
    """Whether it is drawn with its current density; a strip's is not."""
    return hasattr(field, "fields") or (hasattr(field, "frequency") and not isinstance(field.section, AxialStrip))


def static_figure(field: PlottableField, title: str = ""):
    """The map of a field beside its curves along the axis and in the mid-plane; returns the matplotlib figure.

    Of a strip, the same at every height, the map stands over the one curve along r.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 6.6), layout="constrained")
    if isinstance(field.section, AxialStrip):
        places = figure.subplot_mosaic([["map"], ["radius"]])
    else:
        places = figure.subplot_mosaic([["map", "axis"], ["map", "radius"]], width_ratios=(1, 1.2))
        plot_axis(field, places["axis"])
    plot_field(field, places["map"])
    plot_radius(field, ax=places["radius"])
    if title:
        figure.suptitle(title, fontsize=FONT)
    return figure
