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
from fieldsolve.estimate import Interval

ACCURACY = 1e-3
SPREAD = 0.05                     # of the frequency, over which derivatives are taken
BOUND = 2.0                       # standard uncertainties in a bound on the numerical error
KEYS = ("resistance", "inductance")


@dataclass(frozen=True)
class Load:
    """Resistance in ohm and inductance in henry with their standard uncertainties, and what they are of.

    steady  resistance and inductance of a case's coil in an oscillation that does not decay; None where nothing was computed
    """

    resistance: float
    inductance: float
    resistance_uncertainty: float
    inductance_uncertainty: float
    text: str
    steady: tuple[float, float] | None = None


def read_load(load: Any, frequency: float, decay_rate: float = 0.0) -> Load:
    """The load from a case, its path or tables, or from R and L as a pair or a dictionary, each a value or (value, uncertainty).

    frequency, decay_rate  of the ringing in hertz and 1/s, at which the coil of a case is computed.
    Raises InputError for what is none of these.
    """
    if isinstance(load, Load):
        return load
    if isinstance(load, Mapping) and set(load) <= set(KEYS):
        load = tuple(load.get(key, 0.0) for key in KEYS)
    if isinstance(load, (Case, str, Path, Mapping)):
        return coil_load(read_case(load), frequency, decay_rate)
    if not isinstance(load, (tuple, list)) or len(load) != 2:
        raise InputError(f"load = {load!r}: expected a case, or resistance and inductance, each a value or (value, standard uncertainty)")
    resistance, inductance = (value_and_uncertainty(entry, f"load {key}") for entry, key in zip(load, KEYS, strict=True))
    return Load(resistance[0], inductance[0], resistance[1], inductance[1], "the given resistance and inductance")


def coil_load(case: Case, frequency: float, decay_rate: float = 0.0, accuracy: float = ACCURACY) -> Load:
    """R and L of a case's coils in series with its metal held, and of its leads, at a frequency in hertz and a decay rate in 1/s.

    An oscillation that decays as exp(-alpha t) sees the impedance at the complex frequency j omega - alpha, to first order in alpha

        R - alpha omega dL/domega + alpha^2 / omega dR/domega,   L + alpha / omega dR/domega

    Source: Z is an analytic function of the complex frequency (computed).
    """
    from fieldsolve.field.harmonic.solve import solve_harmonic

    coils = [part.name for part in case.parts if part.is_coil and part.shape in SERIES_SHAPES]
    if not coils:
        raise InputError(f"{case.name}: has no coil to take off; give load= a case with a solenoid, spiral or winding")
    frequencies = tuple(frequency * share for share in (1 - SPREAD, 1, 1 + SPREAD)) if decay_rate else (frequency,)
    fields = [solve_harmonic(case.section, frequency=each, currents=dict.fromkeys(coils, 1.0), accuracy=accuracy) for each in frequencies]
    impedances = [sum(complex(field.voltage(name)) for name in coils) for field in fields]
    omega, middle = 2 * math.pi * frequency, impedances[len(impedances) // 2]
    error = sum(fields[len(fields) // 2].voltage(name).error for name in coils) / BOUND
    resistance, inductance = float(middle.real), float(middle.imag / omega)
    of_decay = _of_decay(impedances, frequencies, omega, decay_rate) if decay_rate else (0.0, 0.0)
    doubt = decay_rate / omega
    leads = " and leads" if case.leads.resistance or case.leads.inductance else ""
    decaying = f"; of an oscillation that decays by {decay_rate:.3g} /s" if decay_rate else ""
    return Load(resistance + of_decay[0] + case.leads.resistance, inductance + of_decay[1] + case.leads.inductance,
                math.hypot(error, doubt * of_decay[0]), math.hypot(error / omega, doubt * of_decay[1]),
                f"coil{leads} of {case.name} with its metal held and cold, computed at {frequency / 1e3:.4g} kHz{decaying}",
                (resistance + case.leads.resistance, inductance + case.leads.inductance))


def _of_decay(impedances: list[complex], frequencies: tuple[float, ...], omega: float, decay_rate: float) -> tuple[float, float]:
    """What the decay adds to R and L, from the impedance below and above the frequency."""
    below, above = 2 * math.pi * frequencies[0], 2 * math.pi * frequencies[-1]
    of_resistance = (impedances[-1].real - impedances[0].real) / (above - below)
    of_inductance = (impedances[-1].imag / above - impedances[0].imag / below) / (above - below)
    return float(-decay_rate * omega * of_inductance + decay_rate**2 / omega * of_resistance), float(decay_rate / omega * of_resistance)


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
