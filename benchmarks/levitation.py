"""The plate that two coils throw up and let float: measured and modelled in reference/levitation.toml.  Takes minutes."""
from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import uniform_filter1d

import fieldsolve as fs
from benchmarks.cases import REFERENCE, load
from benchmarks.checks import CaseCheck
from benchmarks.motion import plate_section
from benchmarks.runner import run_file

ACCURACY = 2e-2             # of the steps; the first maximum moves by 0.03 mm between 3e-2 and 1e-2
MESH_ACCURACY = 1e-2
END_TIME = 1.7148           # of the measured record, seconds
SAMPLES = 17149             # of the computed height


def checks(only: Iterable[str] = ()) -> Iterator[CaseCheck]:
    """Checks of the two cases, or of those named."""
    return run_file("levitation.toml", FIELDS, {}, only)


@lru_cache(maxsize=1)
def flight() -> tuple[np.ndarray, np.ndarray, float]:
    """Height of the plate's underside over the coils' tops in metres at times in seconds, and the energy's residual."""
    setup = load("levitation.toml")["levitated-plate-transient-model"].setup
    omega, peak = 2 * math.pi * setup["frequency_Hz"], setup["current_peak_A"]
    drive = fs.PrescribedCurrents(
        {"inner": lambda time: peak * math.sin(omega * time), "outer": lambda time: -peak * math.sin(omega * time)}
    )
    motion = fs.AxialMotion(mass=setup["plate_mass_kg"], gravity=True, supported=True)
    shot = fs.solve_shot(plate_section(setup, setup["rest_gap_m"]), drive, end_time=END_TIME, motion={"plate": motion}, heating=False,
                         accuracy=ACCURACY, mesh_accuracy=MESH_ACCURACY)
    times = np.linspace(0, END_TIME, SAMPLES)
    height = CubicSpline(shot.times, shot.series("height", "plate"))(times) - 0.5 * setup["plate_thickness_m"]
    return times, height, float(shot.energy.residual)


def extremes() -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Maxima and minima (time, height) of the mean over half a cycle of the current, which the lift's ripple does not move."""
    times, height, _ = flight()
    mean = uniform_filter1d(height, 101)
    turns = np.flatnonzero(np.diff(mean[1:]) * np.diff(mean[:-1]) < 0) + 1
    turns = turns[times[turns] > 0.02]
    return tuple([(times[k], mean[k]) for k in turns if sign * (mean[k] - np.median(mean)) > 0] for sign in (1, -1))


def model(setup, accuracy):
    """Extremes and end of the flight."""
    maxima, minima = (np.array(found) for found in extremes())
    return {"maxima_m": maxima[:3, 1], "maxima_time_s": maxima[:3, 0], "minima_m": minima[:2, 1], "minima_time_s": minima[:2, 0],
            "end_height_m": flight()[1][-1]}


def measured(setup, accuracy):
    """Where the plate floats, its first maximum, the late period, and the curve against the measured one."""
    times, height, residual = flight()
    maxima = np.array(extremes()[0])
    record = np.array([row for row in csv.reader((REFERENCE / setup["height_curve_file"]).read_text(encoding="utf-8").splitlines())
                       if row and row[0][0] not in "#t"], dtype=float) * 1e-3
    shifts = np.linspace(*load("levitation.toml")["levitated-plate-measured"].tolerance["free_time_shift_s"], 31)
    rms = [float(np.sqrt(np.mean((np.interp(record[:, 0] - shift, times, height) - record[:, 1]) ** 2))) for shift in shifts]
    late = times > 1.0
    return {"stationary_height_m": height[late].mean(), "first_maximum_m": maxima[0, 1], "late_period_s": np.diff(maxima[4:7, 0]).mean(),
            "late_mean_height_m": height[late].mean(), "whole_curve_rms_m": min(rms), "energy_residual": residual}


FIELDS = {"levitated-plate-transient-model": model, "levitated-plate-measured": measured}
