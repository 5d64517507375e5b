"""What is taken off the loop to leave the bank: a short of known R and L, or the coil of a held case at the ring frequency."""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.circuit.bank import SERIES_SHAPES
from fieldsolve.errors import InputError
from fieldsolve.interval import Interval

ACCURACY = 1e-3
BOUND = 2.0                       # standard uncertainties in a bound on the numerical error
KEYS = ("resistance", "inductance")


@dataclass(frozen=True)
class Load:
    """Resistance in ohm and inductance in henry with their standard uncertainties, and what they are of.

    computed  whether they are those of a case's coil
    """

    resistance: float
    inductance: float
    resistance_uncertainty: float
    inductance_uncertainty: float
    text: str
    computed: bool = False


def read_load(load: Any, frequency: float) -> Load:
    """The load from a case, its path or tables, or from R and L as a pair or a dictionary, each a value or (value, uncertainty).

    frequency  of the ringing in hertz, at which the coil of a case is computed.  Raises InputError for what is none of these.
    """
    if isinstance(load, Load):
        return load
    if isinstance(load, Mapping) and set(load) <= set(KEYS):
        load = tuple(load.get(key, 0.0) for key in KEYS)
    if isinstance(load, (Case, str, Path, Mapping)):
        return coil_load(read_case(load), frequency)
    if not isinstance(load, (tuple, list)) or len(load) != 2:
        raise InputError(f"load = {load!r}: expected a case, or resistance and inductance, each a value or (value, standard uncertainty)")
    resistance, inductance = (value_and_uncertainty(entry, f"load {key}") for entry, key in zip(load, KEYS, strict=True))
    return Load(resistance[0], inductance[0], resistance[1], inductance[1], "the given resistance and inductance")


def coil_load(case: Case, frequency: float, accuracy: float = ACCURACY) -> Load:
    """R and L of a case's coils in series with its metal held, and of its leads, at a frequency in hertz."""
    from fieldsolve.field.harmonic.solve import solve_harmonic

    coils = [part.name for part in case.parts if part.is_coil and part.shape in SERIES_SHAPES]
    if not coils:
        raise InputError(f"{case.name}: has no coil to take off; give load= a case with a solenoid, spiral or winding")
    field = solve_harmonic(case.section, frequency=frequency, currents=dict.fromkeys(coils, 1.0), accuracy=accuracy)
    voltages = [field.voltage(name) for name in coils]
    total, error = sum(complex(voltage) for voltage in voltages), sum(voltage.error for voltage in voltages)
    omega = 2 * math.pi * frequency
    leads = " and leads" if case.leads.resistance or case.leads.inductance else ""
    return Load(total.real + case.leads.resistance, total.imag / omega + case.leads.inductance, error / BOUND, error / omega / BOUND,
                f"coil{leads} of {case.name} with its metal held and cold, computed at {frequency / 1e3:.4g} kHz", computed=True)


def value_and_uncertainty(entry: Any, field: str) -> tuple[float, float]:
    """A number, or a number and its standard uncertainty.  Raises InputError for anything else."""
    value, uncertainty = entry if isinstance(entry, (tuple, list)) and len(entry) == 2 else (entry, 0.0)
    for number in (value, uncertainty):
        if isinstance(number, bool) or not isinstance(number, (int, float)) or not math.isfinite(number) or number < 0:
            raise InputError(f"{field} = {entry!r}: expected a number in SI that is not negative, or (value, standard uncertainty)")
    return float(value), float(uncertainty)


def of_the_bank(loop: Mapping[str, Interval], load: Load) -> dict[str, Interval]:
    """Resistance and inductance of the bank alone, the load's uncertainty added in squares; undetermined where the loop's is."""
    return {"resistance": _difference(loop["resistance"], load.resistance, load.resistance_uncertainty),
            "inductance": _difference(loop["inductance"], load.inductance, load.inductance_uncertainty)}


def _difference(loop: Interval, load: float, uncertainty: float) -> Interval:
    value = (loop.value or 0.0) - load
    if loop.low is None or loop.high is None or loop.value is None:
        return Interval(value, None, None, loop.unit)
    below, above = (math.hypot(loop.value - loop.low, 1.96 * uncertainty), math.hypot(loop.high - loop.value, 1.96 * uncertainty))
    return Interval(value, value - below, value + above, loop.unit)
