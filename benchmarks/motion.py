"""Metal that moves: how each setup of reference/motion.toml becomes a shot, or the field of what is held still."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np
from scipy.optimize import brentq

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.runner import run_file
from benchmarks.shot import bank_of
from geometries.mesher import mesh_section

ACCURACY = 3e-3             # of a shot, its default
CELLS = 0.3                 # of the first guess, for perfect conductors, whose skin no mesh resolves


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases, or of those named."""
    return run_file("motion.toml", FIELDS, {}, only)


def ring_with_one_freedom(setup, accuracy):
    """Peaks of the currents, the radius in the end and the largest speed, at the default accuracy."""
    copper = fs.Material(conductivity=setup["coil_sigma_S_per_m"])
    coil = geo.solenoid(turns=setup["turns"], bore_radius=setup["bore_radius_m"], wire_diameter=setup["wire_diameter_m"],
                        pitch=setup["pitch_m"], material=copper, name="coil")
    metal = fs.Material(conductivity=setup["ring_sigma_S_per_m"], density=setup["ring_density_kg_per_m3"])
    ring = geo.tube(inner_radius=setup["ring_inner_radius_m"], wall=setup["ring_wall_m"], length=setup["ring_length_m"], material=metal,
                    name="ring")
    shot = fs.solve_shot(geo.CrossSection([coil, ring]), bank_of(setup), end_time=setup["end_time_s"], heating=False,
                         motion={"ring": fs.RadialMotion(flow_stress=setup["ring_flow_stress_Pa"])})
    return {"coil_peak_A": shot.peak("current", "coil"), "ring_peak_A": shot.peak("current", "ring"),
            "end_radius_m": shot.series("radius", "ring")[-1], "peak_speed_m_per_s": abs(shot.peak("speed", "ring")),
            "energy_residual": shot.energy.residual}


def flux_compressed(setup, accuracy):
    """Flux within the ring's inner edge in the end over that at the start."""
    a, width, end = setup["radius_m"], setup["width_m"], setup["end_ratio"]
    ring = geo.tube(inner_radius=a - width / 2, wall=width, length=setup["height_m"], name="ring",
                    material=fs.Material(conductivity=setup["sigma_S_per_m"]))

    def places(time, r, z):
        ratio = 1 - (1 - end) * time / setup["end_time_s"]
        return a * ratio + (r - a) / math.sqrt(ratio), z / math.sqrt(ratio)
    shot = _in_a_uniform_field(setup, ring, places)
    inside = a * end - width / 2 / math.sqrt(end)
    before = math.pi * (a - width / 2) ** 2 * setup["applied_field_T"]
    return {"flux_ratio": shot.field_at(setup["end_time_s"]).flux(inside, 0.0) / before, "energy_residual": shot.energy.residual}


def disc_contracts(setup, accuracy):
    """Largest relative deviation of B_z at the disc's nodes in the end, where u is 1/2 B_z as it is uniform, and that on the axis."""
    disc = geo.disc(radius=setup["radius_m"], thickness=setup["thickness_m"], material=fs.Material(conductivity=setup["sigma_S_per_m"]))

    def places(time, r, z):
        ratio = 1 - (1 - setup["end_ratio"]) * time / setup["end_time_s"]
        return r * ratio, z / ratio**2
    shot = _in_a_uniform_field(setup, disc, places)
    field = shot.field_at(setup["end_time_s"])
    nodes = np.unique(field.mesh.triangles[field.mesh.part_triangles("disc")])
    off = np.abs(2 * field.solution.total[nodes] * setup["end_ratio"] ** 2 / setup["applied_field_T"] - 1)
    return {"largest_deviation_at_nodes": off.max(), "deviation_on_axis": off[field.mesh.nodes[nodes, 0] == 0].max(),
            "energy_residual": shot.energy.residual}


def _in_a_uniform_field(setup, part, places):
    section = geo.CrossSection([part])
    return fs.solve_shot(
        section,
        fs.PrescribedCurrents(applied_field=setup["applied_field_T"]),
        end_time=setup["end_time_s"],
        heating=False,
        motion={part.name: fs.PrescribedMotion(places)},
        accuracy=ACCURACY / 3,
        mesh=mesh_section(section, scale=CELLS),
    )


def coil_past_a_tube(setup, accuracy):
    """Ratios of peaks of the tube's current, power and force with the tube and with the coil moving."""
    tube = geo.tube(inner_radius=setup["tube_inner_radius_m"], wall=setup["tube_wall_m"], length=setup["tube_length_m"], name="tube",
                    material=fs.Material(conductivity=setup["tube_sigma_S_per_m"]))
    coil = geo.winding(inner_radius=setup["coil_inner_radius_m"], outer_radius=setup["coil_outer_radius_m"], name="coil",
                       height=setup["coil_height_m"], turns=setup["coil_turns"], at=setup["coil_at_m"])
    speed, drive = setup["speed_m_per_s"], fs.PrescribedCurrents({"coil": lambda time: setup["current_A"]})
    shots = [fs.solve_shot(geo.CrossSection([tube, coil]), drive, end_time=setup["end_time_s"], heating=False,
                           motion={name: fs.PrescribedMotion(lambda time, r, z, way=way: (r, z + way * speed * time))})
             for name, way in (("coil", 1), ("tube", -1))]
    peaks = [[shot.peak(quantity, "tube") for quantity in ("current", "power", "axial_force")] for shot in shots]
    ratios = np.divide(*peaks)
    return dict(zip(("current_ratio", "power_ratio", "force_ratio"), ratios, strict=True)) | \
        {"energy_residual": max(shot.energy.residual for shot in shots)}


def windings_of(setup):
    """The two coils below the plate, their tops at z = 0."""
    return [geo.winding(inner_radius=setup[f"{name}_coil_inner_radius_m"], outer_radius=setup[f"{name}_coil_outer_radius_m"],
                        height=setup["coil_axial_length_m"], turns=setup[f"{name}_coil_turns"],
                        at=-0.5 * setup["coil_axial_length_m"], name=name) for name in ("inner", "outer")]


def plate_section(setup, height):
    """The plate over the two coils, its underside at a height over their tops in metres."""
    metal = fs.Material(conductivity=setup["plate_sigma_S_per_m"])
    thickness = setup["plate_thickness_m"]
    plate = geo.plate(radius=0.5 * setup["plate_diameter_m"], thickness=thickness, at=height + 0.5 * thickness, material=metal,
                      name="plate")
    return geo.CrossSection([*windings_of(setup), plate])


def plate_at_rest(setup, accuracy):
    """Mean lift and loss of the plate at the heights of the table, and the height at which it weighs what it is lifted."""
    currents = {"inner": setup["current_peak_A"], "outer": -setup["current_peak_A"]}

    def solved(height):
        return fs.solve_harmonic(plate_section(setup, height), frequency=setup["frequency_Hz"], currents=currents, accuracy=accuracy)
    fields = [solved(height) for height in setup["height_m"]]
    rest = brentq(lambda height: solved(height).axial_force("plate") - setup["weight_N"], 0.0105, 0.0116, xtol=1e-5)
    return {"mean_lift_N": [field.axial_force("plate") for field in fields], "plate_loss_W": [field.loss("plate") for field in fields],
            "static_height_m": rest}


def plate_coils(setup, accuracy):
    """Self and mutual inductance of the two coils per turn."""
    field = fs.solve_static(geo.CrossSection(windings_of(setup)), currents={"inner": 1.0, "outer": 1.0}, accuracy=accuracy)
    turns = setup["inner_coil_turns"], setup["outer_coil_turns"]
    return {"inner_self_per_turn_squared_H": field.inductance("inner") / turns[0] ** 2,
            "outer_self_per_turn_squared_H": field.inductance("outer") / turns[1] ** 2,
            "mutual_per_turn_product_H": field.mutual_inductance("inner", "outer") / (turns[0] * turns[1])}


FIELDS = {
    "ring-with-one-freedom": ring_with_one_freedom,
    "flux-compressed-by-a-ring": flux_compressed,
    "disc-that-contracts-uniformly": disc_contracts,
    "coil-past-a-tube": coil_past_a_tube,
    "levitated-plate-static": plate_at_rest,
    "levitated-plate-coils": plate_coils,
}
