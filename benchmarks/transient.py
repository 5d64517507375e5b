"""Field steps: how each setup of reference/transient.toml becomes a field in time or a formula."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import steps
from benchmarks.runner import run_file
from fieldsolve.constants import MU_0

COPPER = fs.Material(name="copper", conductivity=5.8e7)
BEND = 500.0            # radius of a tube's middle over the thickness of its wall, where it stands for a flat slab
DEEP = 10.0             # thickness of a slab that stands for a half-space, in sqrt(t / (mu sigma))


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of field steps, or of those named."""
    return run_file("transient.toml", FIELDS, FORMULAS, only)


def stepped_cylinder(radius, conductivity, T, accuracy):
    """Fields of a long cylinder with 1 T switched on at its face, at each T = t / (mu sigma radius^2)."""
    strip = geo.AxialStrip([geo.cylinder(radius=radius, length=radius, material=fs.Material(conductivity=conductivity), name="cylinder")])
    times = steps.diffusion_time(conductivity, radius) * np.asarray(T)
    run = fs.solve_transient(strip, times=times.tolist(), face_field=1 / MU_0, accuracy=accuracy)
    return [run.field_at(time) for time in times]


def cylinder(setup, accuracy):
    """Centre, half radius and mean."""
    radius = setup["example_radius_m"]
    fields = stepped_cylinder(radius, setup["example_sigma_S_per_m"], setup["T"], accuracy)
    return {
        "centre_B_over_B0": [axial(field, 0.0) for field in fields],
        "half_radius_B_over_B0": [axial(field, radius / 2) for field in fields],
        "mean_B_over_B0": [float(field.flux(radius, 0.0)) / (math.pi * radius**2) for field in fields],
    }


def cylinder_time(setup, accuracy):
    """mu sigma a^2."""
    return {"example_diffusion_time_s": steps.diffusion_time(setup["example_sigma_S_per_m"], setup["example_radius_m"])}


def stepped_slab(thickness, times, accuracy):
    """(middle radius, fields) of a copper tube of BEND wall thicknesses with 1 T switched on at both faces, at `times` in seconds."""
    middle = BEND * thickness
    wall = geo.tube(inner_radius=middle - thickness / 2, wall=thickness, length=thickness, material=COPPER, name="wall")
    strip = geo.AxialStrip([wall], inner_radius=middle - thickness / 2)
    run = fs.solve_transient(strip, times=list(times), face_field=(1 / MU_0, 1 / MU_0), accuracy=accuracy)
    return middle, [run.field_at(time) for time in times]


def slab(setup, accuracy):
    """Centre and mean."""
    half = 1e-3
    middle, fields = stepped_slab(2 * half, steps.diffusion_time(COPPER.conductivity, half) * np.array(setup["T"]), accuracy)
    area = 4 * math.pi * middle * half
    return {
        "centre_B_over_B0": [axial(field, middle) for field in fields],
        "mean_B_over_B0": [float(field.flux(middle + half, 0.0) - field.flux(middle - half, 0.0)) / area for field in fields],
    }


def half_space(setup, accuracy):
    """Field below the outer face of a slab that nothing has crossed yet, at one time."""
    thickness = 5e-3
    length = thickness / DEEP
    middle, (field,) = stepped_slab(thickness, [steps.diffusion_time(COPPER.conductivity, length)], accuracy)
    return {"B_over_B0": [axial(field, middle + thickness / 2 - 2 * u * length) for u in setup["u"]]}


def sphere(setup, accuracy):
    """Moment over that of a perfectly conducting sphere, from B_z - B_0 = mu_0 m / (2 pi z^3) on the axis outside."""
    radius = 0.01
    section = geo.CrossSection([geo.sphere(radius=radius, material=COPPER, name="sphere")])
    times = steps.diffusion_time(COPPER.conductivity, radius) * np.array(setup["T"])
    run = fs.solve_transient(section, times=times.tolist(), applied_field=1.0, accuracy=accuracy)
    outside = 1.5 * radius
    reaction = [float(run.field_at(time).flux_density(0.0, outside)[1]) - 1.0 for time in times]
    return {"moment_ratio": [-B * (outside / radius) ** 3 for B in reaction]}


def axial(field, r) -> float:
    """B_z in tesla at radius r in the plane z = 0."""
    return float(field.flux_density(r, 0.0)[1])


FIELDS = {
    "cylinder-step": cylinder,
    "slab-step": slab,
    "half-space-step": half_space,
    "solid-sphere-step": sphere,
}
FORMULAS = {
    "cylinder-step": cylinder_time,
}
