"""The figure of a field at a frequency: the map of |B| with the current density; of a sweep its two ends, and the impedance between."""
from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

from fieldsolve.report.plots.current_density import driven_coils, plot_current_density
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.impedance import plot_impedance
from fieldsolve.report.plots.profiles import plot_radius
from fieldsolve.report.plots.styles import FLAT, FONT
from fieldsolve.report.sampling.outlines import Extent, default_extent
from fieldsolve.report.text.facts import value_or_none
from fieldsolve.units import display
from geometries.cross_section import CrossSection

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField, HarmonicSweep

FIGURE_SIZES = {(False, False): (10.5, 6.4), (False, True): (7.5, 9.2), (True, False): (15, 10.5), (True, True): (17, 9.0)}   # sweep, flat
SHOWN_SHARE = 0.55              # of its half height a map of flat parts shows


def harmonic_figure(field: HarmonicField | HarmonicSweep, title: str = ""):
    """The map of a field and the current density in its metal, beside each other or of flat parts below; returns the matplotlib figure.

    Of a sweep this is drawn at its lowest and its highest frequency, and resistance and inductance over frequency beside it.
    """
    from matplotlib.figure import Figure

    fields = _by_frequency(field)
    flat = _is_flat(fields[0].section)
    figure = Figure(figsize=FIGURE_SIZES[len(fields) > 1, flat], layout="constrained")
    if len(fields) > 1:
        _draw_sweep(figure, field, fields, flat)
    else:
        _draw_pair(figure, fields[0], flat)
    if title:
        figure.suptitle(title, fontsize=FONT)
    return figure


def _is_flat(section: CrossSection) -> bool:
    _, r_max, z_min, z_max = section.bounds
    return z_max - z_min < FLAT * r_max


def harmonic_pictures(field: HarmonicField | HarmonicSweep) -> Iterator[tuple[str, Callable]]:
    """Caption of each picture of a page, and what draws it: of a sweep the parts of its figure one below the other."""
    fields = _by_frequency(field)
    coils = _coils_with_impedance(fields[0]) if len(fields) > 1 else []
    if coils:
        yield "Resistance and inductance", lambda: plot_impedance(field, coils)
    for single_field in dict.fromkeys((fields[0], fields[-1])):
        yield f"The field at {display(single_field.frequency, 'Hz', 6)}", partial(harmonic_figure, single_field)


def _by_frequency(field: HarmonicField | HarmonicSweep) -> list[HarmonicField]:
    return sorted(getattr(field, "fields", (field,)), key=lambda single_field: single_field.frequency)


def _coils_with_impedance(field: HarmonicField) -> list[str]:
    return [name for name in driven_coils(field) if value_or_none(field.resistance, name) and value_or_none(field.inductance, name)]


def _draw_sweep(figure, sweep: HarmonicSweep, fields: Sequence[HarmonicField], flat: bool) -> None:
    coils = _coils_with_impedance(fields[0])
    curves, pictures = figure.subfigures(1, 2, width_ratios=(1, 2.2)) if coils else (None, figure)
    if coils:
        for ax in plot_impedance(sweep, coils, curves.subplots(2, 1, sharex=True)):
            ax.set_box_aspect(0.85)
    for subfigure, single_field in zip(pictures.subfigures(*((1, 2) if flat else (2, 1))), (fields[0], fields[-1]), strict=True):
        ax = _draw_pair(subfigure, single_field, flat)
        ax.set_title(f"at {display(single_field.frequency, 'Hz', 6)}: {ax.get_title()}", fontsize=FONT)


def _draw_pair(figure, field: HarmonicField, flat: bool):
    """The map, and the current density or, where no part has a section, the field along r; returns the map's axes."""
    first, second = figure.subplots(2, 1, height_ratios=(2, 1)) if flat else figure.subplots(1, 2, width_ratios=(1, 1.25))
    plot_field(field, first, _flat_extent(field.section) if flat else None)
    if any(part.zones for part in field.section.parts):
        plot_current_density(field, second)
    else:
        plot_radius(field, ax=second)
    return first


def _flat_extent(section: CrossSection) -> Extent:
    r_min, r_max, low, high = default_extent(section)
    cut = (1 - SHOWN_SHARE) * (high - low) / 2
    return r_min, r_max, low + cut, high - cut
