"""Metal that saturates: how each setup of reference/nonlinear.toml becomes a field."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.runner import run_file
from fieldsolve.constants import MU_0

IN_TIME = 15.0              # accuracy of the flux front's steps in time over that requested: cells alone decide when it arrives
FRONT = [0.15, *(0.23 + 0.0025 * k for k in range(17))]     # instants looked at, in sigma Bs a^2/H0


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of saturable metal, or of those named."""
    return run_file("nonlinear.toml", FIELDS, FORMULAS, only)


def spheres(curve, applied_fields, accuracy):
    """Field of a saturable sphere in each uniform field."""
    sphere = geo.sphere(radius=0.01, material=fs.Material(conductivity=0.0, bh_curve=curve), name="sphere")
    section = geo.CrossSection([sphere])
    return [fs.solve_static(section, applied_field=B0, accuracy=accuracy, points=[(0.0, 0.0)]) for B0 in applied_fields]


def in_the_middle(fields):
    """B and H in the middle of each."""
    return {"B_inside_T": [float(field.flux_density(0.0, 0.0)[1]) for field in fields],
            "H_inside_A_per_m": [float(field.field_strength(0.0, 0.0)[1]) for field in fields]}


def frohlich(setup):
    """The law of a setup, from its field of half saturation."""
    return fs.Frohlich(saturation=setup["Js_T"], initial_permeability=1 + setup["Js_T"] / (MU_0 * setup["a_A_per_m"]))


def frohlich_sphere(setup, accuracy):
    """B and H in the middle of a sphere of Froehlich's law."""
    return in_the_middle(spheres(frohlich(setup), setup["B0_T"], accuracy))


def tabulated_sphere(setup, accuracy):
    """The same for a table with straight lines between its pairs."""
    curve = fs.BHTable(field=setup["H_table_A_per_m"], flux_density=setup["B_table_T"], smooth=False)
    return in_the_middle(spheres(curve, setup["B0_T"], accuracy))


def core(setup, accuracy):
    """B and co-energy density of a long core in a solenoid's field, a strip."""
    radius = height = 0.01
    metal = fs.Material(conductivity=0.0, bh_curve=frohlich(setup))
    strip = geo.AxialStrip([geo.cylinder(radius=radius, length=height, material=metal, name="core")])
    fields = [fs.solve_static(strip, face_field=H, accuracy=accuracy) for H in setup["H_A_per_m"]]
    return {"B_T": [float(field.flux_density(radius / 2, 0.0)[1]) for field in fields],
            "coenergy_density_J_per_m3": [field.coenergy() / (math.pi * radius**2 * height) for field in fields]}


def flux_front(setup, accuracy):
    """When the flux front reaches the axis of a long cylinder: B there passes half of the saturation.

    The step of the magnetization is 1 % of the field wide, 99 % of the saturation high.
    """
    radius, saturation, H0 = setup["radius_m"], setup["Bs_T"], setup["H0_A_per_m"]
    curve = fs.BHTable(field=(H0 / 100, H0), flux_density=(0.99 * saturation, saturation), smooth=False)
    metal = fs.Material(conductivity=setup["sigma_S_per_m"], bh_curve=curve)
    strip = geo.AxialStrip([geo.cylinder(radius=radius, length=radius / 50, material=metal, name="cylinder")])
    scale = setup["sigma_S_per_m"] * saturation * radius**2 / H0
    times = [scale * share for share in FRONT]
    run = fs.solve_transient(strip, times=times, face_field=H0, accuracy=IN_TIME * accuracy)
    on_axis = [float(run.field_at(time).flux_density(0.0, strip.centre)[1]) for time in times]
    return {"arrival_time_s": crossing(times, on_axis, saturation / 2)}


def crossing(times, values, level):
    """First time at which values, joined by straight lines, rise through a level."""
    k = next(k for k, value in enumerate(values) if value >= level)
    return times[k - 1] + (times[k] - times[k - 1]) * (level - values[k - 1]) / (values[k] - values[k - 1])


FIELDS = {"frohlich-sphere": frohlich_sphere, "tabulated-bh-sphere": tabulated_sphere, "frohlich-coenergy": core,
          "saturable-flux-front-cylinder": flux_front}
FORMULAS = {}
