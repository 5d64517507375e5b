"""Discharges into coil and disc: how each setup of reference/shot.toml becomes a shot."""
from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import CaseCheck
from benchmarks.circuit import Waveform
from benchmarks.runner import run_file
from fieldsolve.field.adaptivity.refinement import surface_cell_sizes
from fieldsolve.materials.flow_stress import JohnsonCook
from fieldsolve.materials.mechanical import Mechanical
from geometries.mesher import mesh_section


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of all cases of shots, or of those named."""
    return run_file("shot.toml", FIELDS, FORMULAS, only)


def bank_of(setup):
    """The bank of a setup."""
    keys = {"resistance": "bank_resistance_ohm", "inductance": "bank_inductance_H", "arc_voltage": "arc_voltage_V"}
    return fs.Bank(capacitance=setup["capacitance_F"], voltage=setup["voltage_V"], **{name: setup[key] for name, key in keys.items()})


def section_of(setup, copper, metal):
    """Coil and disc of a setup, of these materials."""
    coil = geo.solenoid(turns=setup["turns"], bore_radius=setup["bore_radius_m"], wire_diameter=setup["wire_diameter_m"],
                        pitch=setup["pitch_m"], material=copper, name="coil")
    disc = geo.disc(radius=setup["disc_radius_m"], thickness=setup["disc_thickness_m"], material=metal, name="disc")
    return geo.CrossSection([coil, disc])


def coil_and_disc(setup, accuracy):
    """Peaks of the currents and of the disc's heat, the current's zero, and the bank's voltage in the end; nothing moves or warms."""
    return peaks_of(setup, accuracy, motion=False)


def heavy_and_strong(setup, accuracy):
    """The same where everything may move but is too heavy and strong to."""
    law = JohnsonCook(initial=setup["flow_stress_Pa"], hardening=0.0, exponent=1.0, rate=0.0, thermal=1.0, reference_rate=1.0,
                     reference_temperature=293.15, melting=1e4)
    mechanical = Mechanical(setup["density_kg_per_m3"], setup["youngs_modulus_Pa"], setup["poissons_ratio"], law, ductility=(1.0, 2.0))
    return peaks_of(setup, accuracy, motion=True, mechanical=mechanical, density=mechanical.density,
                    heat_capacity=setup["heat_capacity_J_per_kg_K"], temperature_coefficient=0.0)


def peaks_of(setup, accuracy, motion, **metals):
    """Peaks of a setup's shot in metals that do not warm; `metals` is what they have besides their conductivity."""
    copper, metal = (fs.Material(conductivity=setup[key], **metals) for key in ("coil_sigma_S_per_m", "disc_sigma_S_per_m"))
    shot = fs.solve_shot(section_of(setup, copper, metal), bank_of(setup), end_time=setup["end_time_s"], motion=motion, heating=False,
                         accuracy=accuracy)
    current, net, power = shot.peak("current", "coil"), shot.peak("current", "disc"), shot.peak("power", "disc")
    return {
        "coil_peak_A": current, "coil_peak_time_s": current.time, "disc_peak_A": net, "disc_peak_time_s": net.time,
        "disc_power_peak_W": power, "disc_power_peak_time_s": power.time,
        "bank_voltage_at_end_V": shot.series("voltage", "bank")[-1],
    }


def three_steps(setup, accuracy):
    """Order in time from the differences between steps of three lengths, on one mesh, with heating, before the first current zero."""
    section = section_of(setup, fs.material(setup["coil_material"]), fs.material(setup["disc_material"]))
    mesh = mesh_section(section, part_sizes=surface_cell_sizes(section, setup["mesh_frequency_Hz"]))
    shots = [fs.solve_shot(section, bank_of(setup), end_time=setup["end_time_s"], motion=False, step=step, mesh=mesh)
             for step in setup["step_s"]]

    def order(quantity):
        coarse, middle, fine = map(quantity, shots)
        return math.log2(abs((coarse - middle) / (middle - fine)))
    return {
        "order_coil_current": order(lambda shot: shot.series("current", "coil")[-1]),
        "order_disc_current": order(lambda shot: shot.series("current", "disc")[-1]),
        "order_bank_voltage": order(lambda shot: shot.series("voltage", "bank")[-1]),
        "order_field_energy": order(lambda shot: shot.energy.stores["field"][-1]),
    }


def three_meshes(setup, accuracy):
    """Peaks on meshes of three cell sizes, and the order of the coil's peak in the cell's size ~ 1 / sqrt(unknowns)."""
    section = section_of(setup, *(fs.Material(conductivity=setup[key]) for key in ("coil_sigma_S_per_m", "disc_sigma_S_per_m")))
    sizes = surface_cell_sizes(section, setup["mesh_frequency_Hz"])
    meshes = [mesh_section(section, scale=scale, part_sizes={name: scale * size for name, size in sizes.items()})
              for scale in setup["cell_scale"]]
    shots = [fs.solve_shot(section, bank_of(setup), end_time=setup["end_time_s"], motion=False, heating=False, step=setup["step_s"],
                           mesh=mesh) for mesh in meshes]
    coil = [float(shot.peak("current", "coil")) for shot in shots]
    errors = np.log(np.abs(np.array(coil) - setup["coil_peak_of_filaments_A"]))
    slope = np.polyfit(-0.5 * np.log([shot.unknowns for shot in shots]), errors, 1)[0]
    return {"coil_peak_A": coil, "disc_peak_A": [float(shot.peak("current", "disc")) for shot in shots], "order_coil_peak": slope}


def common_practice_rig(setup, accuracy):
    """ln(computed / reported) of what practitioners report; the solver's default accuracy, since a band of 1.6 needs no more."""
    names = ("ln_coil_current", "ln_disc_current", "ln_static_field", "ln_disc_voltage", "ln_product")
    return {name: math.log(value / setup["reported"][key]) for name, (key, value) in zip(names, figures_in_use(setup).items(), strict=True)}


def figures_in_use(setup) -> dict[str, float]:
    """Peak currents of coil and disc, field of the empty coil at that current, power over net current round the disc, and their product."""
    copper, metal = (fs.material(setup[key]) for key in ("coil_material", "disc_material"))
    section = section_of(setup, copper, metal)
    shot = fs.solve_shot(section, bank_of(setup), end_time=setup["end_time_s"], motion=False, error_bounds=False)
    current, net, volts = shot.peak("current", "coil"), abs(shot.peak("current", "disc")), shot.power_over_current("disc")
    static = fs.solve_static(geo.CrossSection([section.part("coil")]), {"coil": current.value}).peak_field("bore")
    found = {"coil_A": current, "disc_A": net, "static_T": static, "disc_V": volts, "product_W": net * volts}
    return {name: float(value) for name, value in found.items()}


def bank_with_arc(setup, accuracy):
    """First two peaks, the time at which the arc goes out, and the voltage then left."""
    solution = fs.solve_circuit(bank_of(setup), load_resistance=0.0, load_inductance=0.0, end_time=setup["end_time_s"], accuracy=accuracy)
    currents, times = Waveform(solution).peaks
    out_time = next(time for time, event in solution.events if "goes out" in event)
    return {"peak_A": currents[:2], "peak_time_s": times[:2], "out_time_s": out_time, "residual_voltage_V": solution.voltage[-1]}


FIELDS = {
    "contract-rig-held": coil_and_disc,
    "contract-rig-heavy": heavy_and_strong,
    "contract-rig-three-steps": three_steps,
    "contract-rig-three-meshes": three_meshes,
    "common-practice-8-kV": common_practice_rig,
    "bank-with-arc": bank_with_arc,
}
FORMULAS: dict = {}
