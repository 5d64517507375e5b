"""A metal drawn: resistivity from cold to boiling, and flow stress over strain."""
from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.materials import Material
from fieldsolve.materials.bh_curve import BHCurve
from fieldsolve.materials.catalogue import material_from_data
from fieldsolve.materials.flow_stress import FlowStressLaw
from fieldsolve.materials.heat_content import HeatContent, heat_content
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.report.display_units import MEGAPASCALS
from fieldsolve.report.files.drawing import write_drawing
from fieldsolve.report.plots.styles import FONT, LINE_STYLES, key_above, new_axes

LOWEST, HIGHEST = 273.0, 2000.0     # K; how far a metal that never boils is drawn
CURVE_STATES = ((1.0, ROOM_TEMPERATURE), (1e4, ROOM_TEMPERATURE), (1e4, 600.0), (1e4, 900.0))     # rate in 1/s, temperature in K
LARGEST_STRAIN = 1.0
FIELD_STRENGTHS = (10.0, 1e6)                                    # A/m between which B is drawn


def plot_resistivity(metal: Material, extrapolated_from: float | None = None, ax=None):
    """Resistivity over temperature, from 273 K to boiling; returns the axes.

    extrapolated_from   K, from where to the solidus the curve goes on beyond its source, drawn dashed
    """
    content = heat_content(metal)
    ax = new_axes(5.0, 3.8) if ax is None else ax
    t = _temperatures(content)
    rho = 1e8 * content.resistivity(t)
    extrapolated = np.zeros(len(t), bool) if extrapolated_from is None else (t >= extrapolated_from) & (t <= content.melting_range[0])
    ax.plot(t, np.where(extrapolated, np.nan, rho), "-", color="black")
    ax.plot(t, np.where(extrapolated, rho, np.nan), "--", color="black")
    title = "dashed: extrapolated beyond its source" if extrapolated.any() else ""
    if np.isfinite(content.melting_range[0]):
        ax.axvspan(*content.melting_range, color="0.6", zorder=0)
        ax.text(content.melting_range[0] - 0.01 * t[-1], 0.03, "melts", transform=ax.get_xaxis_transform(), ha="right", fontsize=FONT)
    ax.set_title(title, fontsize=FONT)
    ax.spines[["top", "right"]].set_visible(False)
    ax.set(xlabel="temperature [K]", ylabel="resistivity [µΩ cm]", xlim=(LOWEST, t[-1]), ylim=(0, None))
    return ax


def _temperatures(content: HeatContent) -> np.ndarray:
    """Temperatures at which to draw: every knot of the metal, and points between."""
    end = content.boiling_range[0] if np.isfinite(content.boiling_range[0]) else HIGHEST
    return np.unique(np.concatenate([np.linspace(LOWEST, end, 300), content.knots[content.knots <= end]]))


def plot_flow_stress(law: FlowStressLaw, ax=None):
    """Flow stress over plastic strain, slow and fast, cold and hot; returns the axes. States at which the metal has melted are left out."""
    ax = new_axes(5.0, 3.8) if ax is None else ax
    strain = np.linspace(0.0, LARGEST_STRAIN, 201)
    for (rate, temperature), (style, shade) in zip(CURVE_STATES, LINE_STYLES, strict=False):
        if temperature < law.melting:
            ax.plot(strain, MEGAPASCALS * law.flow_stress(strain, rate, temperature), linestyle=style, color=shade,
                    label=f"{rate:g} /s, {temperature:g} K")
    key_above(ax, len(ax.get_lines()))
    ax.spines[["top", "right"]].set_visible(False)
    ax.set(xlabel="plastic strain", ylabel="flow stress [MPa]", xlim=(0, LARGEST_STRAIN), ylim=(0, None))
    return ax


def plot_magnetization(curve: BHCurve, ax=None):
    """B over H from 10 A/m to 1 MA/m, with the line of vacuum; returns the axes."""
    ax = new_axes(5.0, 3.8) if ax is None else ax
    B = np.geomspace(1e-5, 4.0, 800)
    H = curve.field_strength(B)
    ax.semilogx(H, B, "-", color="black", label="metal")
    ax.semilogx(H, MU_0 * H, ":", color="black", label="vacuum")
    key_above(ax, 2)
    ax.spines[["top", "right"]].set_visible(False)
    ax.set(xlabel="field H [A/m]", ylabel="flux density B [T]", xlim=FIELD_STRENGTHS, ylim=(0, None))
    return ax


def write_material_figure(properties: Mapping, path: str | Path) -> None:
    """Draw resistivity, flow stress and B-H curve of a metal, those that it has, into a file.

    Raises InputError for a metal given by conductivity alone.
    """
    from matplotlib.figure import Figure

    metal = material_from_data(properties)
    drawings = []
    if metal.thermal:
        drawings.append(lambda ax: plot_resistivity(metal, ROOM_TEMPERATURE if "temperature_coefficient" in properties else None, ax))
    if metal.mechanical:
        drawings.append(lambda ax: plot_flow_stress(metal.mechanical.flow_stress, ax))
    if metal.bh_curve:
        drawings.append(lambda ax: plot_magnetization(metal.bh_curve, ax))
    if not drawings:
        raise InputError(f"{metal.name}: only its conductivity is known, there is nothing to draw; give density and solidus")
    figure = Figure(figsize=(5.0 * len(drawings), 3.9), layout="constrained")
    for ax, draw in zip(figure.subplots(1, len(drawings), squeeze=False)[0], drawings, strict=True):
        draw(ax)
    figure.suptitle(properties["name"], fontsize=FONT)
    write_drawing(figure, path)
