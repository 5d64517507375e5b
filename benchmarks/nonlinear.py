"""Metal that saturates: how each setup of reference/nonlinear.toml becomes a field."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import Check
from benchmarks.runner import run_file


def checks(only: Iterable[str] = ()) -> Iterator[Check]:
    """Checks of all cases of saturable metal, or of those named."""
    return run_file("nonlinear.toml", FIELDS, FORMULAS, only)


def spheres(curve, applied_fields, accuracy):
    """Field of a saturable sphere in each uniform field."""
    sphere = geo.sphere(radius=0.01, material=fs.Material(conductivity=0.0, magnetization=curve), name="sphere")
    section = geo.CrossSection([sphere])
    return [fs.solve_static(section, applied_field=B0, accuracy=accuracy, points=[(0.0, 0.0)]) for B0 in applied_fields]


def in_the_middle(fields):
    """B and H in the middle of each."""
    return {"B_inside_T": [float(field.flux_density(0.0, 0.0)[1]) for field in fields],
            "H_inside_A_per_m": [float(field.field_strength(0.0, 0.0)[1]) for field in fields]}


def frohlich(setup):
    """The law of a setup, from its field of half saturation."""
    return fs.Frohlich(saturation=setup["Js_T"], initial_permeability=1 + setup["Js_T"] / (4e-7 * math.pi * setup["a_A_per_m"]))


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
    metal = fs.Material(conductivity=0.0, magnetization=frohlich(setup))
    strip = geo.AxialStrip([geo.cylinder(radius=radius, length=height, material=metal, name="core")])
    fields = [fs.solve_static(strip, face_field=H, accuracy=accuracy) for H in setup["H_A_per_m"]]
    return {"B_T": [float(field.flux_density(radius / 2, 0.0)[1]) for field in fields],
            "coenergy_density_J_per_m3": [field.coenergy() / (math.pi * radius**2 * height) for field in fields]}


FIELDS = {"frohlich-sphere": frohlich_sphere, "tabulated-bh-sphere": tabulated_sphere, "frohlich-coenergy": core}
FORMULAS = {}
