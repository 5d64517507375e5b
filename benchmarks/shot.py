"""Discharges into coil and disc: how each setup of reference/shot.toml becomes a shot."""
from __future__ import annotations

from collections.abc import Iterable, Iterator

import fieldsolve as fs
import geometries as geo
from benchmarks.checks import Check
from benchmarks.circuit import Waveform
from benchmarks.runner import run_file


def checks(only: Iterable[str] = ()) -> Iterator[Check]:
    """Checks of all cases of shots, or of those named."""
    return run_file("shot.toml", FIELDS, FORMULAS, only)


def bank_of(setup):
    """The bank of a setup."""
    keys = {"resistance": "bank_resistance_ohm", "inductance": "bank_inductance_H", "arc_voltage": "arc_voltage_V"}
    return fs.Bank(capacitance=setup["capacitance_F"], voltage=setup["voltage_V"], **{name: setup[key] for name, key in keys.items()})


def coil_and_disc(setup, accuracy):
    """Peaks of the currents and of the disc's heat, the current's zero, and the bank's voltage in the end; nothing moves or warms."""
    copper, metal = (fs.Material(conductivity=setup[key]) for key in ("coil_sigma_S_per_m", "disc_sigma_S_per_m"))
    coil = geo.solenoid(turns=setup["turns"], bore_radius=setup["bore_radius_m"], wire_diameter=setup["wire_diameter_m"],
                        pitch=setup["pitch_m"], material=copper, name="coil")
    disc = geo.disc(radius=setup["disc_radius_m"], thickness=setup["disc_thickness_m"], material=metal, name="disc")
    shot = fs.solve_shot(geo.CrossSection([coil, disc]), bank_of(setup), end_time=setup["end_time_s"], motion=False, heating=False,
                         accuracy=accuracy)
    current, net, power = shot.peak("current", "coil"), shot.peak("current", "disc"), shot.peak("power", "disc")
    return {
        "coil_peak_A": current, "coil_peak_time_s": current.time, "disc_peak_A": net, "disc_peak_time_s": net.time,
        "disc_power_peak_W": power, "disc_power_peak_time_s": power.time,
        "bank_voltage_at_end_V": shot.series("voltage", "bank")[-1],
    }


def bank_with_arc(setup, accuracy):
    """First two peaks, the time at which the arc goes out, and the voltage then left."""
    record = fs.solve_circuit(bank_of(setup), load_resistance=0.0, load_inductance=0.0, end_time=setup["end_time_s"], accuracy=accuracy)
    currents, times = Waveform(record).peaks
    out_time = next(time for time, event in record.events if "goes out" in event)
    return {"peak_A": currents[:2], "peak_time_s": times[:2], "out_time_s": out_time, "residual_voltage_V": record.voltage[-1]}


FIELDS = {
    "contract-rig-held": coil_and_disc,
    "bank-with-arc": bank_with_arc,
}
FORMULAS: dict = {}
