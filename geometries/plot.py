"""Parts, cross-sections and meshes drawn, and as short tables and drawings for a notebook."""
from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Any

import numpy as np

MM = 1e3                    # millimetres in a metre
ROOM = 0.15                 # of the larger side around the parts
TINTS = {True: "0.75", False: "0.88"}               # of coils, of bodies
SVG_WIDTH = 320             # pixels


def plot_section(section: Any, ax=None):
    """Draw the parts of a section in millimetres, with their names; returns the axes."""
    ax = _new_axes() if ax is None else ax
    for part in section.parts:
        for zone in part.zones:
            ax.fill(*(MM * zone.outline.polygon().T), facecolor=TINTS[part.is_coil], edgecolor="black", linewidth=0.8)
        if part.filament:
            ax.plot(MM * part.filament.radius, MM * part.filament.z, "o", color="black", markersize=4)
        if part.sheet:
            ax.plot([MM * part.sheet.radius] * 2, [MM * part.sheet.z_min, MM * part.sheet.z_max], color="black", linewidth=2.5)
        r_min, r_max, _, z_max = (MM * bound for bound in part.bounds)
        ax.annotate(part.name, (0.5 * (r_min + r_max), z_max), (0, 3), textcoords="offset points", ha="center", va="bottom")
    _style(ax, section.parts)
    return ax


def plot_mesh(mesh: Any, ax=None):
    """Draw the triangles of a mesh within its open radius in millimetres, metal grey; returns the axes."""
    ax = _new_axes() if ax is None else ax
    inside, metal = (mesh.triangles[chosen, :3] for chosen in (mesh.region >= 0, mesh.region > 0))         # 0 is air, below it open space
    r, z = MM * mesh.nodes.T
    if len(metal):
        ax.tripcolor(r, z, metal, np.ones(len(metal)), cmap="Greys", vmin=0.0, vmax=4.0)
    ax.triplot(r, z, inside, color="black", linewidth=0.3)
    ax.set(aspect="equal", xlabel="r [mm]", ylabel="z [mm]")
    return ax


def part_html(part: Any) -> str:
    """A part's name, kind and dimensions as a table."""
    r_min, r_max, z_min, z_max = part.bounds
    rows = {"part": part.name, "turns": f"{part.turns:g}" if part.is_coil else None, "zones of metal": f"{len(part.zones)}",
            "inner radius": _millimetres(r_min), "outer radius": _millimetres(r_max), "height": _millimetres(z_max - z_min),
            "from z": f"{_millimetres(z_min)} to {_millimetres(z_max)}",
            "metal": ", ".join(dict.fromkeys(str(getattr(zone.material, "name", "none given")) for zone in part.zones)) or None}
    cells = "".join(f"<tr><th>{escape(label)}</th><td>{escape(text)}</td></tr>" for label, text in rows.items() if text)
    return f"<table>{cells}</table>"


def section_html(section: Any) -> str:
    """A small drawing of a section, as scalable graphics (SVG), over the names of its parts."""
    r_min, r_max, z_min, z_max = _extent(section.parts)
    scale = SVG_WIDTH / (r_max - r_min)
    shapes = "".join(_svg_part(part, scale, r_min, z_max) for part in section.parts)
    names = escape(", ".join(part.name for part in section.parts))
    outer = _millimetres(max(part.bounds[1] for part in section.parts))
    return (f'<svg xmlns="http://www.w3.org/2000/svg" width="{SVG_WIDTH}" height="{scale * (z_max - z_min):.0f}" role="img" '
            f'aria-label="section of {names}">{shapes}</svg><p>{names}; outer radius {outer}</p>')


def _svg_part(part: Any, scale: float, left: float, top: float) -> str:
    def place(points: np.ndarray) -> str:
        return " ".join(f"{scale * (r - left):.2f},{scale * (top - z):.2f}" for r, z in points)
    grey = round(255 * float(TINTS[part.is_coil]))
    shapes = [f'<polygon points="{place(zone.outline.polygon())}" fill="rgb({grey},{grey},{grey})" stroke="black"/>' for zone in part.zones]
    if part.filament:
        x, y = place(np.array([[part.filament.radius, part.filament.z]])).split(",")
        shapes.append(f'<circle cx="{x}" cy="{y}" r="3"/>')
    if part.sheet:
        ends = np.array([[part.sheet.radius, part.sheet.z_min], [part.sheet.radius, part.sheet.z_max]])
        shapes.append(f'<polyline points="{place(ends)}" stroke="black" stroke-width="3"/>')
    return "".join(shapes)


def _extent(parts: Iterable[Any]) -> tuple[float, float, float, float]:
    """The axis, the parts and some room: r_min, r_max, z_min, z_max in m."""
    bounds = np.array([part.bounds for part in parts])
    outer, low, high = bounds[:, 1].max(), bounds[:, 2].min(), bounds[:, 3].max()
    room = ROOM * max(outer, high - low)
    return 0.0, float(outer + room), float(low - room), float(high + room)


def _style(ax, parts: Iterable[Any]) -> None:
    box = [MM * bound for bound in _extent(parts)]
    ax.axvline(0.0, color="black", linewidth=0.9, linestyle=(0, (9, 3, 2, 3)))
    ax.set(aspect="equal", xlim=(box[0], box[1]), ylim=(box[2], box[3]), xlabel="r [mm]", ylabel="z [mm]")


def _new_axes():
    import matplotlib.pyplot as plt

    return plt.subplots(layout="constrained")[1]


def _millimetres(length: float) -> str:
    return f"{MM * length:.5g} mm"
