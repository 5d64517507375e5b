"""Shots that are stopped at a step and gone on with, and whether two results are the same to the last bit."""
from __future__ import annotations

import warnings
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

import fieldsolve as fs
import geometries as geo
from fieldsolve.ode import TR_BDF2
from fieldsolve.shot.problem import ShotProblem
from fieldsolve.shot.result.shot import Shot
from fieldsolve.shot.solve import solve_shot_problem

LEFT_OUT = ("wall_time", "solver", "case")
COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")
BANK = fs.Bank(capacitance=60e-6, voltage=5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
ACCURACY = 5e-2


class Stopped(Exception):
    """What stops a run as a crash does."""


def coil(turns: int = 4, **changes: Any):
    lengths = {"bore_radius": 15.6e-3, "wire_diameter": 3e-3, "pitch": 3.3e-3, "material": COPPER} | changes
    return geo.solenoid(turns=turns, **lengths)


def disc(material: Any = ALUMINIUM, thickness: float = 2e-3, at: float = 0.0):
    return geo.disc(radius=15e-3, thickness=thickness, at=at, material=material)


def problem(parts: list, bank: Any = BANK, **options: Any) -> ShotProblem:
    defaults = {"end_time": 12e-6, "motion": False, "accuracy": ACCURACY, "error_bounds": False}
    return ShotProblem(section=geo.CrossSection(parts), bank=bank, **defaults | options)


def held() -> ShotProblem:
    """Heated metal, the errors bounded by a companion run."""
    return problem([coil(), disc()], error_bounds=True)


def crowbar_and_second_bank() -> ShotProblem:
    """A second bank 3 us later, a crowbar across the leads at 9 us, and leads."""
    second = fs.Bank(capacitance=20e-6, voltage=4e3, inductance=200e-9, resistance=5e-3, fires_at=3e-6)
    return problem([coil(), disc()], [BANK, second], crowbar=fs.Crowbar(resistance=5e-3, inductance=20e-9, fires_at=9e-6),
                   leads=fs.Leads(resistance=1e-3, inductance=30e-9), end_time=15e-6)


def crowbar_at_voltage_zero() -> ShotProblem:
    """Two coils in parallel, a crowbar across the capacitor at the zero of its voltage, no heat."""
    coils = [coil(2, at=-6e-3, name="lower"), coil(2, at=6e-3, name="upper")]
    return problem([*coils, disc()], fs.Bank(capacitance=20e-6, voltage=5e3, inductance=100e-9, resistance=5e-3), heating=False,
                   circuit=[["lower"], ["upper"]], crowbar=fs.Crowbar(resistance=10e-3, across="capacitor"), end_time=15e-6)


def arc_reversal() -> ShotProblem:
    """A bank whose current turns round, and whose arc goes out in the end."""
    return problem([coil(2)], fs.Bank(capacitance=2e-6, voltage=1e3, resistance=60e-3, arc_voltage=200.0), end_time=15e-6)


def magnetic() -> ShotProblem:
    """Nickel that saturates and loses its magnetism as it heats."""
    return problem([coil(), disc(fs.material("nickel"), thickness=0.5e-3, at=1e-3)], heating=True, end_time=8e-6)


def moving_with_former() -> ShotProblem:
    """A disc that flows in turns that stretch on a former, and the air meshed anew round them."""
    return problem([coil(), disc(thickness=1e-3)], motion=True, former=fs.Former(mass=0.05, strength=20e3), end_time=14e-6)


def clad() -> ShotProblem:
    """A disc of two metals that flows, its errors bounded."""
    layers = [(0.7e-3, COPPER), (0.8e-3, ALUMINIUM)]
    return problem([coil(), geo.clad_disc(radius=15e-3, layers=layers)], motion=True, error_bounds=True, end_time=8e-6)


def melting() -> ShotProblem:
    """A thin ring beyond its melting point, in a coil whose turns burst."""
    ring = geo.ring(radius=14e-3, wire_diameter=0.6e-3, material=ALUMINIUM, name="ring")
    bank = fs.Bank(capacitance=60e-6, voltage=8e3, inductance=100e-9, resistance=2e-3)
    return problem([coil(wire_diameter=1.2e-3, pitch=1.6e-3), ring], bank, motion={"coil": fs.HoopMotion()}, end_time=12e-6)


def rigid() -> ShotProblem:
    """A body that flies along the axis and a ring with a free radius, by a method whose first stage is explicit."""
    ring = geo.ring(radius=12e-3, wire_diameter=2e-3, at=6e-3, material=ALUMINIUM, name="ring")
    return problem([coil(), disc(at=-6e-3), ring], motion={"disc": fs.AxialMotion(), "ring": fs.RadialMotion(flow_stress=50e6)},
                   method=TR_BDF2)


def prescribed() -> ShotProblem:
    """Currents from a table, in a steady field, factored by the other solver."""
    times = np.linspace(0.0, 20e-6, 9)
    currents = {"coil": (times, 2e4 * np.sin(2.5e5 * times))}
    return problem([coil(), disc()], fs.PrescribedCurrents(currents, applied_field=0.1), linear_solver="superlu")


CONFIGURATIONS = (held, crowbar_and_second_bank, crowbar_at_voltage_zero, arc_reversal, magnetic, moving_with_former, clad, melting, rigid,
                  prescribed)


def solve(what: ShotProblem, keeper: Any = None, progress: Any = None) -> Shot:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", fs.errors.AccuracyWarning)
        return solve_shot_problem(what, progress, keeper)


def resume(path: Path, **options: Any) -> Shot:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", fs.errors.AccuracyWarning)
        return fs.resume_shot(path, **options)


def stop_after(steps: int):
    """What stops a run after a number of steps."""
    seen = []

    def progress(time: float) -> None:
        seen.append(time)
        if len(seen) == steps:
            raise Stopped
    return progress


def difference(one: Any, other: Any, where: str = "shot", seen: set | None = None) -> str | None:
    """Where two results first differ, by as little as a bit; None where they are the same."""
    seen = set() if seen is None else seen
    if (id(one), id(other)) in seen:
        return None
    seen.add((id(one), id(other)))
    if isinstance(one, np.ndarray):
        same = isinstance(other, np.ndarray) and (one.shape, one.dtype) == (other.shape, other.dtype) and one.tobytes() == other.tobytes()
        return None if same else where
    if type(one) is not type(other):
        return f"{where}: {type(one)}, {type(other)}"
    if is_dataclass(one):
        pairs = [(each.name, getattr(one, each.name), getattr(other, each.name)) for each in fields(one) if each.name not in LEFT_OUT]
    elif isinstance(one, dict):
        if list(one) != list(other):
            return f"{where}: keys"
        pairs = [(key, one[key], other[key]) for key in one]
    elif isinstance(one, (tuple, list)):
        if len(one) != len(other):
            return f"{where}: {len(one)}, {len(other)}"
        pairs = list(zip(range(len(one)), one, other, strict=True))
    else:
        return None if repr(one) == repr(other) else f"{where}: {one!r}, {other!r}"
    return next((found for name, a, b in pairs if (found := difference(a, b, f"{where}.{name}", seen))), None)
