"""The figures that a shot's methods draw, each fetched from the report when it is called; `ax` is where to draw, new axes by default."""
from __future__ import annotations


def plot_current(shot, measured=None, coil=None, ax=None):
    """Draw the current of a coil over the banks' voltages, and over it a measured record, see `fieldsolve.plot_current`."""
    from fieldsolve.report.plots.shot import plot_current as draw
    return draw(shot, measured, coil, ax)


def plot_body(shot, body=None, ax=None):
    """Draw the net current of a body and the voltage round its rim, or its power; returns the two axes."""
    from fieldsolve.report.plots.shot import plot_body as draw
    return draw(shot, body, ax)


def plot_probes(shot, ax=None):
    """Draw the largest |B| in each bore, and B_z at the centre and in the gap; returns the axes."""
    from fieldsolve.report.plots.shot import plot_probes as draw
    return draw(shot, ax)


def plot_force(shot, ax=None):
    """Draw radial and axial forces on the bodies; returns the axes."""
    from fieldsolve.report.plots.shot import plot_force as draw
    return draw(shot, ax)


def plot_temperature(shot, ax=None):
    """Draw the hottest and the mean temperature of each part; returns the axes."""
    from fieldsolve.report.plots.shot import plot_temperature as draw
    return draw(shot, ax)


def plot_energy(shot, ax=None, most=None):
    """Draw where the energy is, stacked to 100 %; returns the axes."""
    from fieldsolve.report.plots.energy import plot_energy as draw
    return draw(shot, ax, most)


def plot_inductance(shot, ax=None):
    """Draw the inductance of the coils as the bank sees them; returns the axes."""
    from fieldsolve.report.plots.motion import plot_inductance as draw
    return draw(shot, ax)


def plot_sections(shot, times=None, ax=None):
    """Draw the section at three times, see `fieldsolve.plot_sections`."""
    from fieldsolve.report.plots.motion import plot_sections as draw
    return draw(shot, times, ax)


def plot_shape(shot, ax=None):
    """Draw radii, thicknesses, crowns and speeds over time, see `fieldsolve.plot_shape`."""
    from fieldsolve.report.plots.motion import plot_shape as draw
    return draw(shot, ax)


def plot_metal(shot, time=None, ax=None):
    """Draw maps of temperature and strain in the metal, see `fieldsolve.plot_metal`."""
    from fieldsolve.report.plots.motion import plot_metal as draw
    return draw(shot, time, ax)


def plot_map(shot, time=None, ax=None):
    """Draw flux lines over |B| at a time, that of the peak current by default; returns the axes."""
    from fieldsolve.report.plots.shot import plot_map as draw
    return draw(shot, time, ax)


def plot_currents(shot, time=None, ax=None):
    """Draw |J| in the metal at a time, that of the peak current by default; returns the axes."""
    from fieldsolve.report.plots.shot import plot_currents as draw
    return draw(shot, time, ax)


def animate(shot, quantity="field", frames=60):
    """The shot in motion, see `fieldsolve.animate`."""
    from fieldsolve.report.animation.movie import animate as draw
    return draw(shot, quantity, frames)


def plot_dimensions(shot, name=None, ax=None):
    """Draw a body with the dimensions that a calliper measures, see `fieldsolve.plot_dimensions`."""
    from fieldsolve.report.blank.drawing import plot_dimensions as draw
    return draw(shot, name, ax)


def plot_blank(shot, name=None, ax=None):
    """Draw a body in the round before and after, cut open, see `fieldsolve.plot_blank`."""
    from fieldsolve.report.blank.in_the_round import plot_blank as draw
    return draw(shot, name, ax)
