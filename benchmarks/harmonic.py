"""Time-harmonic cases: how each setup of reference/harmonic.toml becomes a field or a formula."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.closed_forms import eddy
from benchmarks.runner import run_file
from fieldsolve.constants import MU_0

COPPER = fs.Material(name="copper", conductivity=5.8e7)
PLATE_RADII = 8.0       # of a plate that stands for an infinite one, in radii of the coil; 6 leave 2e-4
PLATE_DEPTHS = 4.0      # thickness of a plate that stands for a half-space, in radii of the coil


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all time-harmonic cases, or of those named."""
    return run_file("harmonic.toml", FIELDS, FORMULAS, only)


# --- wire and cylinder -------------------------------------------------------------------------------------------

def wire(x, accuracy):
    """Ratios of resistance and internal inductance of round copper wire at each x, bent to a ring of a thousand wire radii.

    The inductance is that of the internal impedance, the mean of E along the wire's surface times its length over the current.
    Bending presses current inward by (a/R)^2 ln(8R/a)^2: at x = 100 resistance rises by 1.7e-3 for R/a = 100, 3e-5 for 1000.
    """
    wire_radius, ring_radius = 1e-3, 1.0
    frequencies = np.square(x) / (2 * math.pi * MU_0 * COPPER.conductivity * wire_radius**2)
    ring = geo.ring(radius=ring_radius, wire_diameter=2 * wire_radius, material=COPPER, name="ring")
    fields = fs.solve_harmonic(geo.CrossSection([ring]), frequencies.tolist(), currents={"ring": 1.0}, accuracy=accuracy)
    # to direct current J ~ 1/r: R_dc = 2 pi / (sigma integral of 1/r), the integral is 2 pi (R - sqrt(R^2 - a^2))
    at_rest = 1 / (COPPER.conductivity * (ring_radius - math.sqrt(ring_radius**2 - wire_radius**2)))
    internal = [internal_impedance(field, ring_radius, wire_radius).imag / (2 * math.pi * field.frequency) for field in fields]
    return [field.resistance("ring") / at_rest for field in fields], [4 * L / (MU_0 * ring_radius) for L in internal]


def internal_impedance(field, ring_radius, wire_radius):
    """Mean over the surface of E = V / (2 pi r) - j omega A_phi, times the ring's length, for one ampere."""
    angle = 2 * math.pi * (np.arange(32) + 0.5) / 32
    r, z = ring_radius + wire_radius * np.cos(angle), wire_radius * np.sin(angle)
    E = field.voltage("ring") / (2 * math.pi * r) - 2j * math.pi * field.frequency * field.vector_potential(r, z)
    return complex(2 * math.pi * ring_radius * E.mean())


def round_wire(setup, accuracy):
    """Both ratios at each x."""
    resistance, inductance = wire(setup["x"], accuracy)
    return {"resistance_ratio": resistance, "internal_inductance_ratio": inductance}


def published_round_wire(setup, accuracy):
    """Ratio of resistances at each x, and of inductances where those are listed."""
    resistance, inductance = wire(setup["x"], accuracy)
    listed = [inductance[setup["x"].index(x)] for x in setup.get("x_of_inductance", [])]
    return {"resistance_ratio": resistance, "internal_inductance_ratio": listed}


def cylinder_fields(q, accuracy, points=()):
    """Fields of a long copper cylinder of 10 mm radius with 1 T at its face, at each q."""
    radius = 0.01
    frequencies = np.asarray(q) / (2 * math.pi * radius**2 * MU_0 * COPPER.conductivity)
    strip = geo.AxialStrip([geo.cylinder(radius=radius, length=radius, material=COPPER, name="cylinder")])
    return fs.solve_harmonic(strip, frequencies.tolist(), face_field=1 / MU_0, accuracy=accuracy, points=list(points))


def cylinder(q, accuracy):
    """Mean and centre of B over the field applied at the face of a long copper cylinder, complex, at each q."""
    fields = cylinder_fields(q, accuracy, [(0.0, 0.0)])
    mean = np.array([complex(field.mean_flux_density("cylinder")) for field in fields])
    return mean, np.array([complex(field.flux_density(0.0, 0.0)[1]) for field in fields])


def cylinder_in_axial_field(setup, accuracy):
    """Effective permeability, centre field, and the q of most loss from a scan: the largest of a polynomial in log(q) through 17 fields."""
    mu, centre = cylinder(setup["q"], accuracy)
    scan = np.polynomial.Chebyshev.interpolate(lambda log_q: -cylinder(np.exp(log_q), accuracy)[0].imag, 16, np.log([1.0, 25.0]))
    level = scan.deriv().roots()
    level = level[(np.abs(level.imag) < 1e-9) & (level.real > 0) & (level.real < math.log(25.0))].real
    top = level[np.argmax(scan(level))]
    return {
        "mu_eff_re": mu.real,
        "mu_eff_im": mu.imag,
        "centre_modulus": np.abs(centre),
        "centre_phase_deg": np.degrees(np.angle(centre)),
        "q_of_largest_minus_im": math.exp(top),
        "largest_minus_im": scan(top),
    }


# --- spheres -----------------------------------------------------------------------------------------------------

def hollow_sphere(setup, accuracy):
    """B in the cavity, on the axis and on the equator; loss; J on the equator from A, which unlike J has no jump at the surfaces."""
    sigma, frequency = setup["sigma_S_per_m"], setup["frequency_Hz"]
    axis, equator, metal = (np.array(setup[key]) for key in ("axis_r_m", "equator_r_m", "current_r_m"))
    shell = geo.shell(inner_radius=setup["inner_radius_m"], outer_radius=setup["outer_radius_m"],
                      material=fs.Material(conductivity=sigma), name="shell")
    points = [(0.0, 0.0), *((0.0, z) for z in axis), *((r, 0.0) for r in equator)]
    field = fs.solve_harmonic(geo.CrossSection([shell]), frequency, applied_field=setup["B0_peak_T"], accuracy=accuracy, points=points)
    cavity = complex(field.flux_density(0.0, 0.0)[1])
    radial, polar = field.flux_density(0 * axis, axis)[1], -field.flux_density(equator, 0 * equator)[1]
    current = -2j * math.pi * frequency * sigma * field.vector_potential(metal, 0 * metal)
    return {
        "cavity_B_re_T": cavity.real, "cavity_B_im_T": cavity.imag,
        "cavity_B_modulus_T": abs(cavity), "cavity_B_phase_deg": math.degrees(math.atan2(cavity.imag, cavity.real)),
        "mean_power_W": field.loss("shell"),
        "axis_Br_re_T": radial.real, "axis_Br_im_T": radial.imag,
        "equator_Btheta_re_T": polar.real, "equator_Btheta_im_T": polar.imag,
        "equator_Jphi_re_A_per_m2": current.real, "equator_Jphi_im_A_per_m2": current.imag,
    }


def hollow_sphere_skin_depth(setup, accuracy):
    """Skin depth of the shell."""
    return {"skin_depth_m": fs.skin_depth(frequency=setup["frequency_Hz"], conductivity=setup["sigma_S_per_m"])}


def solid_sphere_fields(radius, conductivity, frequencies, accuracy):
    """Fields of a sphere in a uniform field of 1 T at each frequency."""
    section = geo.CrossSection([geo.sphere(radius=radius, material=fs.Material(conductivity=conductivity), name="sphere")])
    return fs.solve_harmonic(section, list(frequencies), applied_field=1.0, accuracy=accuracy)


def solid_sphere(setup, accuracy):
    """Dipole moment over 4 pi R^3 B0 / mu0, and loss."""
    radius = setup["radius_m"]
    fields = solid_sphere_fields(radius, setup["sigma_S_per_m"], setup["frequency_Hz"], accuracy)
    moments = np.array([complex(field.dipole_moment()) for field in fields]) * MU_0 / (4 * math.pi * radius**3)
    losses = [field.loss("sphere") for field in fields]
    return {"moment_re": moments.real, "moment_im": moments.imag, "loss_over_B0_squared_W_per_T2": losses}


# --- coils over a plate ------------------------------------------------------------------------------------------

def over_plate(coil, thickness, conductivity, frequencies, accuracy):
    """Fields of a coil with 1 A per turn over a plate of PLATE_RADII coil radii whose upper face is z = 0."""
    width = PLATE_RADII * coil.bounds[1]
    plate = geo.plate(radius=width, thickness=thickness, at=-thickness / 2, material=fs.Material(conductivity=conductivity), name="plate")
    return fs.solve_harmonic(geo.CrossSection([coil, plate]), list(frequencies), currents={coil.name: 1.0}, accuracy=accuracy)


def loop_over_plate(radius, height, conductivity, frequencies, accuracy):
    """Fields of a loop over what stands for a half-space."""
    loop = geo.loop(radius=radius, at=height, name="loop")
    return over_plate(loop, PLATE_DEPTHS * radius, conductivity, frequencies, accuracy)


def loop_over_half_space(setup, accuracy):
    """What the metal does to the loop: inductance, resistance, and the mean force, which pushes it up."""
    fields = loop_over_plate(setup["loop_radius_m"], setup["height_m"], setup["sigma_S_per_m"], setup["frequency_Hz"], accuracy)
    return {
        "delta_L_H": [field.inductance_change("loop") for field in fields],
        "delta_R_ohm": [field.resistance_change("loop") for field in fields],
        "mean_repulsion_N_per_A2": [field.axial_force("loop") for field in fields],
    }


def image_of_loop(setup, accuracy):
    """Change of inductance over a perfect conductor."""
    return {"perfect_conductor_delta_L_H": eddy.loop_over_perfect_conductor(setup["loop_radius_m"], setup["height_m"])}


def coil_over_plate(setup, accuracy):
    """What the plate does to the coil."""
    length, lift_off = setup["axial_length_m"], setup["lift_off_m"]
    coil = geo.winding(inner_radius=setup["inner_radius_m"], outer_radius=setup["outer_radius_m"], height=length, turns=setup["turns"],
                       at=lift_off + length / 2, name="coil")
    fields = over_plate(coil, setup["plate_thickness_m"], setup["sigma_S_per_m"], setup["frequency_Hz"], accuracy)
    return {
        "delta_L_H": [field.inductance_change("coil") for field in fields],
        "delta_R_ohm": [field.resistance_change("coil") for field in fields],
    }


# --- discs in a uniform field ------------------------------------------------------------------------------------

def thin_disc(setup, accuracy):
    """Loss with the disc's own field."""
    disc = geo.disc(radius=setup["radius_m"], thickness=setup["thickness_m"], material=fs.Material(conductivity=setup["sigma_S_per_m"]),
                    name="disc")
    fields = fs.solve_harmonic(geo.CrossSection([disc]), setup["frequency_Hz"], applied_field=setup["B0_peak_T"], accuracy=accuracy)
    return {"power_W": [field.loss("disc") for field in fields]}


def thin_disc_limit(setup, accuracy):
    """Loss without the disc's own field."""
    disc = setup["radius_m"], setup["thickness_m"], setup["sigma_S_per_m"]
    frequencies = np.array([setup["limit_frequency_Hz"], setup["frequency_Hz"][-1]])
    low, high = eddy.disc_low_frequency_loss(*disc, frequencies, setup["B0_peak_T"])
    return {"limit_power_W": low, "limit_power_50_Hz_W": high}


# --- formulas ----------------------------------------------------------------------------------------------------

def skin_depths(setup, accuracy):
    """Skin depth, a row for each conductivity."""
    rows = [[fs.skin_depth(frequency=f, conductivity=sigma) for f in setup["frequency_Hz"]] for sigma in setup["sigma_S_per_m"]]
    return {"skin_depth_m": rows}


FIELDS = {
    "round-wire-ac": round_wire,
    "round-wire-ac-published": published_round_wire,
    "round-wire-ac-published-recalled": published_round_wire,
    "cylinder-axial-field": cylinder_in_axial_field,
    "hollow-sphere-harmonic": hollow_sphere,
    "solid-sphere-harmonic": solid_sphere,
    "loop-over-half-space": loop_over_half_space,
    "coil-over-plate": coil_over_plate,
    "thin-disc-axial-field": thin_disc,
}
FORMULAS = {
    "skin-depth": skin_depths,
    "hollow-sphere-harmonic": hollow_sphere_skin_depth,
    "loop-over-half-space": image_of_loop,
    "thin-disc-axial-field": thin_disc_limit,
}
