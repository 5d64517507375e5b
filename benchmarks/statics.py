"""Static cases: how each setup of reference/statics.toml becomes a field or a formula."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import bodies, sections, solenoids
from benchmarks.closed_forms.loops import pair_distance
from benchmarks.runner import run_file
from fieldsolve.constants import MU_0


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all static cases, or of those named."""
    return run_file("statics.toml", FIELDS, FORMULAS, only)


# --- filaments ---------------------------------------------------------------------------------------------------

def loop_pair(radius_1, radius_2, distance, accuracy, points=()):
    """Field of two coaxial loops, `lower` at -distance/2 and `upper` at +distance/2, with 1 A in each."""
    lower = geo.loop(radius=radius_1, at=-distance / 2, name="lower")
    upper = geo.loop(radius=radius_2, at=distance / 2, name="upper")
    return fs.solve_static(geo.CrossSection([lower, upper]), currents={"lower": 1.0, "upper": 1.0}, accuracy=accuracy, points=list(points))


def filament_pair(setup, accuracy):
    """M of two loops."""
    field = loop_pair(setup["radius_1_m"], setup["radius_2_m"], setup["distance_m"], accuracy)
    return {"mutual_inductance_H": field.mutual_inductance("lower", "upper")}


def filament_force(setup, accuracy):
    """Force on the upper of two loops along +z is I1 I2 dM/dd."""
    field = loop_pair(setup["radius_1_m"], setup["radius_2_m"], setup["distance_m"], accuracy)
    return {"mutual_inductance_gradient_H_per_m": field.axial_force("upper")}


def maxwell_table(setup, accuracy):
    """M of two equal loops at the distance that gives each modular angle."""
    radius = 0.1

    def entry(angle):
        mutual = loop_pair(radius, radius, float(pair_distance(radius, angle)), accuracy).mutual_inductance("lower", "upper")
        return math.log10(mutual / (MU_0 * radius))

    return {"log10_M_over_mu0_sqrt_Aa": [entry(angle) for angle in setup["modular_angle_deg"]]}


def single_loop(radius, current, accuracy, points):
    """Field of one loop in the plane z = 0."""
    section = geo.CrossSection([geo.loop(radius=radius, name="loop")])
    return fs.solve_static(section, currents={"loop": current}, accuracy=accuracy, points=list(points))


def loop_field(setup, accuracy):
    """B and A of one loop at the listed points."""
    r, z = np.array(setup["point_r_m"]), np.array(setup["point_z_m"])
    field = single_loop(setup["loop_radius_m"], setup["current_A"], accuracy, zip(r, z, strict=True))
    b_r, b_z = field.flux_density(r=r, z=z)
    return {"Bz_T": b_z, "Br_T": b_r, "Aphi_Wb_per_m": field.vector_potential(r=r, z=z)}


def helmholtz_pair(setup, accuracy):
    """H of two loops, at the centre and at the listed points; Hr at the point r = z = 0.2 R."""
    radius = setup["radius_m"]
    r, z = (np.array([0.0, *setup[key]]) * radius for key in ("point_r_over_R", "point_z_over_R"))
    field = loop_pair(radius, radius, setup["spacing_m"], accuracy, zip(r, z, strict=True))
    h_r, h_z = (component * radius / MU_0 for component in field.flux_density(r=r, z=z))
    oblique = int(np.flatnonzero(np.isclose(r, 0.2 * radius) & np.isclose(z, 0.2 * radius))[0])
    return {"centre_H_over_NI_per_R": h_z[0], "Hz_over_centre": h_z[1:] / h_z[0], "Hr_at_r02_z02_in_NI_per_R": h_r[oblique]}


# --- sheets ------------------------------------------------------------------------------------------------------

def sheet(radius, length, ampere_turns, accuracy, points=()):
    """Field of one current sheet of one turn about z = 0."""
    section = geo.CrossSection([geo.sheet(radius=radius, length=length, turns=1, name="sheet")])
    return fs.solve_static(section, currents={"sheet": ampere_turns}, accuracy=accuracy, points=list(points))


def nagaoka(setup, accuracy):
    """K = L / (mu0 pi a^2 / b) of sheets of each ratio of diameter to length."""
    radius = 0.1

    def entry(ratio):
        length = 2 * radius / ratio
        return sheet(radius, length, 1.0, accuracy).inductance("sheet") / (MU_0 * math.pi * radius**2 / length)

    return {"nagaoka_coefficient": [entry(ratio) for ratio in setup["diameter_over_length"]]}


def sheet_axis(setup, accuracy):
    """B_z on the axis of a sheet."""
    z = np.array(setup["point_z_m"])
    field = sheet(setup["radius_m"], setup["length_m"], setup["ampere_turns_A"], accuracy, [(0.0, height) for height in z])
    return {"Bz_T": field.flux_density(r=np.zeros_like(z), z=z)[1]}


# --- conductors with a section -----------------------------------------------------------------------------------

def ring(setup, accuracy):
    """L of a ring of round wire, stranded (uniform density) and solid (density as 1/r)."""

    def inductance(stranded):
        part = geo.ring(radius=setup["ring_radius_m"], wire_diameter=2 * setup["wire_radius_m"], stranded=stranded, name="ring")
        return fs.solve_static(geo.CrossSection([part]), currents={"ring": 1.0}, accuracy=accuracy).inductance("ring")

    return {"inductance_uniform_current_H": inductance(True), "inductance_resistive_current_H": inductance(False)}


def thick_coil(setup, accuracy):
    """L of a winding of rectangular section: with its turns, for one turn squared, and that over the mean radius."""
    inner, outer, turns = setup["inner_radius_m"], setup["outer_radius_m"], setup.get("turns", 1)
    part = geo.winding(inner_radius=inner, outer_radius=outer, height=setup["axial_length_m"], turns=turns, name="coil")
    inductance = fs.solve_static(geo.CrossSection([part]), currents={"coil": 1.0}, accuracy=accuracy).inductance("coil")
    of_one_turn = inductance / turns**2
    return {
        "inductance_H": inductance,
        "inductance_per_turn_squared_H": of_one_turn,
        "inductance_over_mean_radius_H_per_m": of_one_turn / (0.5 * (inner + outer)),
    }


def thick_pair(setup, accuracy):
    """M of two windings of equal section."""
    width, height, distance = setup["section_width_m"], setup["section_height_m"], setup["centre_distance_m"]

    def winding(mean_radius, at, name):
        inner, outer = mean_radius - width / 2, mean_radius + width / 2
        return geo.winding(inner_radius=inner, outer_radius=outer, height=height, turns=1, at=at, name=name)

    pair = [winding(setup["mean_radius_1_m"], -distance / 2, "lower"), winding(setup["mean_radius_2_m"], distance / 2, "upper")]
    field = fs.solve_static(geo.CrossSection(pair), currents={"lower": 1.0, "upper": 1.0}, accuracy=accuracy)
    return {"mutual_inductance_per_turn_product_H": field.mutual_inductance("lower", "upper")}


def central_field_factor(setup, accuracy):
    """F = B0 / (mu0 j a1) from the field in the centre of windings of each shape."""
    inner, turns, current = 0.02, 100, 10.0

    def entry(alpha, beta):
        part = geo.winding(inner_radius=inner, outer_radius=alpha * inner, height=2 * beta * inner, turns=turns, name="coil")
        field = fs.solve_static(geo.CrossSection([part]), currents={"coil": current}, accuracy=accuracy, points=[(0.0, 0.0)])
        density = turns * current / (2 * beta * (alpha - 1) * inner**2)
        return float(field.flux_density(r=np.zeros(1), z=np.zeros(1))[1][0]) / (MU_0 * density * inner)

    return {"field_factor": [entry(alpha, beta) for alpha, beta in zip(setup["alpha"], setup["beta"], strict=True)]}


# --- permeable and magnetised bodies -----------------------------------------------------------------------------

def sphere(relative_permeability, radius, accuracy, points):
    """Field of a permeable sphere in a uniform field of 1 T."""
    material = fs.Material(conductivity=0.0, relative_permeability=relative_permeability)
    section = geo.CrossSection([geo.sphere(radius=radius, material=material, name="sphere")])
    return fs.solve_static(section, applied_field=1.0, accuracy=accuracy, points=list(points))


def permeable_sphere(setup, accuracy):
    """B in the centre over the applied field, and the dipole moment over 4 pi R^3 B0 / mu0."""
    radius = 0.1
    fields = [sphere(mu_r, radius, accuracy, [(0.0, 0.0)]) for mu_r in setup["relative_permeability"]]
    unit_moment = 4 * math.pi * radius**3 / MU_0
    return {
        "inside_B_over_B0": [float(field.flux_density(r=np.zeros(1), z=np.zeros(1))[1][0]) for field in fields],
        "dipole_coefficient": [field.dipole_moment() / unit_moment for field in fields],
    }


def magnet(radius, length, remanence, accuracy, points=()):
    """Field of a cylinder magnetised along z, of permeability mu0 otherwise."""
    material = fs.Material(conductivity=0.0, remanence=remanence)
    section = geo.CrossSection([geo.cylinder(radius=radius, length=length, material=material, name="cylinder")])
    return fs.solve_static(section, accuracy=accuracy, points=list(points))


def magnet_axis(setup, accuracy):
    """B_z on the axis of a magnetised cylinder."""
    z = np.array(setup["point_z_m"])
    field = magnet(setup["radius_m"], setup["length_m"], setup["mu0_M_T"], accuracy, [(0.0, height) for height in z])
    return {"Bz_T": field.flux_density(r=np.zeros_like(z), z=z)[1]}


def demagnetising_factor(setup, accuracy):
    """N = 1 - mean of B_z / (mu0 M) over the volume, at M without susceptibility."""
    radius = 0.01
    field = magnet(radius, 2 * radius / setup["diameter_over_length"], 1.0, accuracy)
    return {"demagnetising_factor": 1 - field.mean_flux_density("cylinder")}


# --- formulas ----------------------------------------------------------------------------------------------------

def mean_distances(setup, accuracy):
    """Geometric mean distances of the listed figures."""
    rectangles = [sections.rectangle_mean_distance(1.0, length) for length in (1.0, 2.0, 4.0, 10.0)]
    return {"geometric_mean_distance": [*rectangles, sections.line_mean_distance(1.0), sections.disc_mean_distance(1.0)]}


def best_power_shape(setup, accuracy):
    """Shape with the most central field for a power; the handbook's G is in gauss, ampere and centimetre."""
    alpha, beta, factor = solenoids.best_power_shape()
    handbook = 4 * math.pi / 10 * factor
    return {"alpha": alpha, "beta": beta, "power_factor_G": factor, "power_factor_handbook_units": handbook}


def pressure(setup, accuracy):
    """B^2 / (2 mu0)."""
    return {"pressure_Pa": bodies.magnetic_pressure(setup["B_T"])}


PAIRS = ("25-20-10", "25-25-1", "25-25-4", "25-25-10", "25-25-20", "25-25-100", "25-20-0", "25-24-0")
THICK_COILS = (
    "brooks-coil-10", "thick-coil-20-30-10", "thick-coil-45-55-10", "pancake-coil-10-20-1",
    "coil-over-plate-air-coil", "coil-over-plate-air-coil-measured",
)
FIELDS = {
    **{f"filament-pair-{pair}": filament_pair for pair in PAIRS},
    **{f"filament-force-{pair}": filament_force for pair in ("25-20-10", "10-10-5", "10-5-5")},
    **{f"round-wire-ring-{share}-percent": ring for share in (1, 10, 20)},
    **{coil: thick_coil for coil in THICK_COILS},
    "maxwell-log-table": maxwell_table,
    "nagaoka-coefficient": nagaoka,
    "nagaoka-printed-table": nagaoka,
    "thick-pair-25-25-10-section-4": thick_pair,
    "loop-field-table": loop_field,
    "thin-solenoid-axis": sheet_axis,
    "coil-field-factor": central_field_factor,
    "helmholtz-pair": helmholtz_pair,
    "permeable-sphere": permeable_sphere,
    "magnetised-cylinder-axis": magnet_axis,
    "cylinder-demagnetising-factor": demagnetising_factor,
}
FORMULAS = {
    "geometric-mean-distance": mean_distances,
    "uniform-current-power-optimum": best_power_shape,
    "magnetic-pressure": pressure,
}
