"""Decay times: how each setup of reference/decay.toml becomes eigenvalues of a field or a formula."""
from __future__ import annotations

from collections.abc import Iterable, Iterator

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import decay
from benchmarks.runner import run_file


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of decay times, or of those named."""
    return run_file("decay.toml", FIELDS, {}, only)


def _times(section, count, accuracy):
    return [float(time) for time in fs.decay_times(section, count=count, accuracy=accuracy)]


def _metal(setup):
    return fs.Material(conductivity=setup["sigma_S_per_m"])


def sphere(setup, accuracy):
    """The four longest ones."""
    return {"decay_times_s": _times(geo.CrossSection([geo.sphere(radius=setup["radius_m"], material=_metal(setup))]), 4, accuracy)}


def shell(setup, accuracy):
    """The four longest ones."""
    wall = geo.shell(inner_radius=setup["inner_radius_m"], outer_radius=setup["outer_radius_m"], material=_metal(setup))
    return {"decay_times_s": _times(geo.CrossSection([wall]), 4, accuracy)}


def thin_shell(setup, accuracy):
    """The longest one."""
    inner = setup["inner_radius_m"]
    wall = geo.shell(inner_radius=inner, outer_radius=inner + setup["thickness_m"], material=_metal(setup))
    return {"decay_time_s": _times(geo.CrossSection([wall]), 1, accuracy)[0]}


def cylinder(setup, accuracy):
    """The four longest ones."""
    rod = geo.cylinder(radius=setup["radius_m"], length=setup["radius_m"], material=_metal(setup))
    return {"decay_times_s": _times(geo.AxialStrip([rod]), 4, accuracy)}


FIELDS = {"decay-sphere": sphere, "decay-shell": shell, "decay-thin-shell": thin_shell, "decay-cylinder": cylinder}
FORMULA_OF = {          # what gives the expected figures, by case: the tests compare the two
    "decay-sphere": lambda setup: decay.sphere_decay_times(setup["sigma_S_per_m"], setup["radius_m"], 4),
    "decay-shell": lambda setup: decay.shell_decay_times(setup["sigma_S_per_m"], setup["inner_radius_m"], setup["outer_radius_m"], 4),
    "decay-thin-shell": lambda setup: decay.thin_shell_decay_time(setup["sigma_S_per_m"], setup["inner_radius_m"], setup["thickness_m"]),
    "decay-cylinder": lambda setup: decay.cylinder_decay_times(setup["sigma_S_per_m"], setup["radius_m"], 4),
}
