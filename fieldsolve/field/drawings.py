"""The figures that a field's methods draw, each fetched from the report when it is called; `ax` is where to draw, new axes by default."""
from __future__ import annotations


def plot_map(field, ax=None, extent=None):
    """Draw flux lines over |B| within (r_min, r_max, z_min, z_max) in metres; returns the axes."""
    from fieldsolve.report.plots.flux_map import plot_field
    return plot_field(field, ax, extent)


def plot_currents(field, ax=None, extent=None):
    """Draw |J| in the metal with each part's current; returns the axes."""
    from fieldsolve.report.plots.current_density import plot_current_density
    return plot_current_density(field, ax, extent)


def plot_axis(field, ax=None):
    """Draw B_z along the axis; returns the axes."""
    from fieldsolve.report.plots.profiles import plot_axis as draw
    return draw(field, ax)


def plot_radius(field, z=None, ax=None):
    """Draw B along r at height z in metres, the mid-plane by default; returns the axes."""
    from fieldsolve.report.plots.profiles import plot_radius as draw
    return draw(field, z, ax)


def plot_line(field, start, end, ax=None):
    """Draw B along the straight line between two points (r, z) in metres; returns the axes."""
    from fieldsolve.report.plots.profiles import plot_line as draw
    return draw(field, start, end, ax)


def plot_mesh(field, ax=None, extent=None):
    """Draw the triangles of the mesh; returns the axes."""
    from fieldsolve.report.plots.field_figure import plot_mesh as draw
    return draw(field, ax, extent)


def plot_impedance(sweep, coil, ax=None):
    """Draw resistance and inductance of a coil, or of several, at the frequencies of a sweep; returns the two axes."""
    from fieldsolve.report.plots.impedance import plot_impedance as draw
    return draw(sweep, coil, ax)
