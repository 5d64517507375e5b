"""The current density in the metal: its largest value over the cycle as a plane map, and which way each part's current runs."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.report.metal import MM, Box, draw_metal
from fieldsolve.report.sides import density_on_sides, lattice
from fieldsolve.report.styles import plane_axes, powers_of_ten
from fieldsolve.units import display
from geometries.parts import Part

LIGHT, DARK = "#fbf7ef", "#8a4b08"      # of |J|: one hue, even in lightness
BANDS = 12                              # of |J|, about
PARTS = 3                               # of a triangle's edge
PER_MM2 = 1e-6                          # A/mm^2 in an A/m^2
SHOWN = 0.02                            # metal where |J| stays below this share of the largest may lie outside the picture
INTO, OUT = r"$\otimes$", r"$\odot$"    # current along +phi, which is into the page, and against it


def plot_current_density(field, ax=None, extent: Box | None = None):
    """Largest |J| over the cycle in A/mm^2 in all metal, with each part's current and its direction in the key; returns the axes.

    field    solved at a frequency
    extent   r_min, r_max, z_min, z_max in metres; by default that of the metal in which current runs
    Directions are those at the instant at which the driving current (or applied field) is largest.
    """
    shown = {part.name: density_on_sides(field, field.mesh.part_triangles(part.name), lattice(PARTS)[0])
             for part in field.section.parts if part.zones}
    top = max((float(np.abs(metal.J).max()) for metal in shown.values()), default=0.0)
    box = extent or _box(shown, top, field.section)
    ax = plane_axes(box) if ax is None else ax
    _fill(ax, shown, top, box)
    draw_metal(ax, field.section)
    ax.set(xlim=(MM * box[0], MM * box[1]), ylim=(MM * box[2], MM * box[3]), aspect="equal", xlabel="r [mm]", ylabel="z [mm]")
    _key(ax, field, shown)
    return ax
