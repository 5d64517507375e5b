"""Figures of the static group."""
from __future__ import annotations

import numpy as np

from benchmarks import statics
from benchmarks.closed_forms import bodies, loops, solenoids
from benchmarks.figures import ACCURACY, Panel, curve


def loop_field() -> tuple[Panel, Panel]:
    """B of a loop on its axis, and across a plane a quarter of the radius above it."""
    radius, current, height = 0.1, 1000.0, 0.025
    z, r = np.linspace(0.0, 0.3, 25), np.linspace(0.0, 0.25, 26)
    axis, plane = [(0.0, z_k) for z_k in z], [(r_k, height) for r_k in r]
    points = np.array(axis + plane)
    field = statics.single_loop(radius, current, ACCURACY, axis + plane)
    b_r, b_z = field.flux_density(r=points[:, 0], z=points[:, 1])
    modulus = np.hypot(*loops.loop_flux_density(radius, current, r, height))

    def closed_form(r_mm, z_mm):
        return 1e3 * np.array(loops.loop_flux_density(radius, current, r_mm / 1e3, z_mm / 1e3))

    on_axis = curve("$B_z$", 1e3 * z, 1e3 * b_z[: z.size], lambda mm: closed_form(0.0, mm)[1])
    across = (
        curve("$B_r$", 1e3 * r, 1e3 * b_r[z.size :], lambda mm: closed_form(mm, 1e3 * height)[0], 1e3 * modulus),
        curve("$B_z$", 1e3 * r, 1e3 * b_z[z.size :], lambda mm: closed_form(mm, 1e3 * height)[1], 1e3 * modulus),
    )
    return (
        Panel("Loop of 100 mm radius, 1 kA: axis", "z (mm)", "flux density (mT)", "closed form", (on_axis,)),
        Panel("The same: plane z = 25 mm", "r (mm)", "flux density (mT)", "modulus of B", across),
    )


def sheet_axis() -> tuple[Panel]:
    """B_z on the axis of a current sheet, inside and out."""
    radius, length, ampere_turns = 0.02, 0.1, 1000.0
    z = np.linspace(-0.15, 0.15, 31)
    field = statics.sheet(radius, length, ampere_turns, ACCURACY, [(0.0, z_k) for z_k in z])
    b_z = field.flux_density(r=np.zeros_like(z), z=z)[1]
    shown = curve("$B_z$", 1e3 * z, 1e3 * b_z, lambda mm: 1e3 * solenoids.sheet_axis_field(radius, length, ampere_turns, mm / 1e3))
    return (Panel("Current sheet, radius 20 mm, length 100 mm, 1 kA: axis", "z (mm)", "flux density (mT)", "closed form", (shown,)),)


def nagaoka() -> tuple[Panel]:
    """Nagaoka's coefficient from the inductance of sheets."""
    ratios = np.geomspace(0.1, 10.0, 13)
    found = statics.nagaoka({"diameter_over_length": ratios.tolist()}, ACCURACY)["nagaoka_coefficient"]
    shown = curve("$K_N$", ratios, found, solenoids.nagaoka_coefficient, fine=np.geomspace(0.1, 10.0, 300))
    labels = "Inductance of a current sheet", "diameter / length (1)", "Nagaoka coefficient (1)", "closed form"
    return (Panel(*labels, (shown,), ("log", "linear")),)


def mutual_inductance() -> tuple[Panel]:
    """Mutual inductance of two loops against their distance."""
    distances = np.geomspace(0.01, 1.0, 13)
    found = [statics.loop_pair(0.25, 0.2, d, ACCURACY).mutual_inductance("lower", "upper") for d in distances.tolist()]

    def closed_form(mm):
        return 1e9 * loops.mutual_inductance(0.25, 0.2, mm / 1e3)

    shown = curve("M", 1e3 * distances, 1e9 * np.array(found), closed_form, fine=np.geomspace(10.0, 1000.0, 300))
    return (Panel("Two loops, radii 250 and 200 mm", "distance (mm)", "mutual inductance (nH)", "closed form", (shown,), ("log", "log")),)


def permeable_sphere() -> tuple[Panel]:
    """B_z on the axis through a permeable sphere."""
    radius, z = 0.1, np.linspace(0.0, 0.3, 25)

    def through(mu_r):
        field = statics.sphere(mu_r, radius, ACCURACY, [(0.0, z_k) for z_k in z])
        b_z = field.flux_density(r=np.zeros_like(z), z=z)[1]
        return curve(f"$\\mu_r$ = {mu_r:g}", 1e3 * z, b_z, lambda mm: bodies.sphere_axis_field(mu_r, radius, 1.0, mm / 1e3))

    curves = tuple(through(mu_r) for mu_r in (2.0, 10.0, 1000.0))
    return (Panel("Sphere of 100 mm radius in a field of 1 T: axis", "z (mm)", "flux density (T)", "closed form", curves),)


FIGURES = {
    "loop_field": loop_field,
    "sheet_axis": sheet_axis,
    "nagaoka": nagaoka,
    "mutual_inductance": mutual_inductance,
    "permeable_sphere": permeable_sphere,
}
