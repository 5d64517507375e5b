"""What a deviation of a body's radius from its computed history does to the current, by the circuit linearised about a run.

The flux that the bank sees is psi(i, r).  A deviation d of the radius and the deviation j of the current that follows from it obey

    d/dt ((L_ext + L) j + i G d) = - R j - (integral of j dt) / C

L is the coils' flux over their current, and G = dL/dr comes from one shot with another flow stress, whose d and j are known: it is the
cubic in time that fits these best.  The flux density at a place answers likewise: it is b(r) i, and db/dr comes from the same shot.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.inference.runs import ModelRun

DEGREE = 3                  # of the polynomial in time that dL/dr is
LEAST_CURRENT = 0.3         # of the peak: with less, flux over current is interpolated


@dataclass(frozen=True, eq=False)
class CircuitAlongRun:
    """The circuit along a run.

    times       (n,) seconds
    current     (n,) ampere
    inductance  (n,) henry, of bank, leads and coils
    resistance  ohm
    elastance   1/farad
    """

    times: np.ndarray
    current: np.ndarray
    inductance: np.ndarray
    resistance: float
    elastance: float


def circuit_of(case: Case, run: ModelRun) -> CircuitAlongRun:
    """Bank, leads and coils of a case along a run."""
    current = run.series["current"]
    coils = ratio_along(run.times, run.series["flux"], current)
    bank = case.banks[0]
    resistance = bank.resistance + case.leads.resistance + run.scalars.get("resistance of coil", 0.0)
    return CircuitAlongRun(run.times, current, bank.inductance + case.leads.inductance + coils, resistance,
                   1 / sum(bank.capacitance for bank in case.banks))


def inductance_slope(circuit: CircuitAlongRun, radius: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, float]:
    """dL/dr over time in H/m from a deviation of the radius and that of the current that goes with it; and the share it explains.

    Both deviations have the shape (n,).  The slope is zero where nothing moved.
    """
    step = circuit.times[1] - circuit.times[0]
    drop = circuit.resistance * current + circuit.elastance * _integral(current, step)
    slope = _factor_slope(circuit, radius, -_integral(drop, step) - circuit.inductance * current)
    answer = current_response(circuit, slope, radius[:, None])[:, 0]
    total = float(current @ current)
    return slope, 1 - float((answer - current) @ (answer - current)) / total if total else 0.0


def field_response(circuit: CircuitAlongRun, field: np.ndarray, deviations: tuple[np.ndarray, np.ndarray, np.ndarray],
                   radius: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Deviations (n, k) of a flux density (n,) at a place for deviations (n, k) of the radius and of the current.

    deviations  of radius, current and flux density, (n,) each, that go together

        B = b(r) i:     dB = i db/dr d + b j
    """
    factor = ratio_along(circuit.times, field, circuit.current)
    slope = _factor_slope(circuit, deviations[0], deviations[2] - factor * deviations[1])
    return (circuit.current * slope)[:, None] * radius + factor[:, None] * current


def ratio_along(times: np.ndarray, values: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Values over the current (n,), interpolated where that is small."""
    enough = np.abs(current) > LEAST_CURRENT * np.abs(current).max()
    return np.interp(times, times[enough], values[enough] / current[enough])


def _factor_slope(circuit: CircuitAlongRun, radius: np.ndarray, left: np.ndarray) -> np.ndarray:
    """The polynomial g(t), (n,), for which  i g d  comes nearest to what is left; zero where d is."""
    basis = np.vander(2 * circuit.times / circuit.times[-1] - 1, DEGREE + 1)
    design = basis * (circuit.current * radius)[:, None]
    return basis @ np.linalg.lstsq(design, left, rcond=None)[0] if np.abs(design).max() > 0 else np.zeros(len(radius))


def _integral(values: np.ndarray, step: float) -> np.ndarray:
    """Integral from the first instant on, (n,) or (n, k)."""
    return np.concatenate([np.zeros_like(values[:1]), np.cumsum((values[1:] + values[:-1]) * step / 2, axis=0)])


def voltage_response(circuit: CircuitAlongRun, current: np.ndarray) -> np.ndarray:
    """Deviations (n, k) of the bank's voltage for those of its current."""
    return -circuit.elastance * _integral(current, circuit.times[1] - circuit.times[0])


def current_response(circuit: CircuitAlongRun, slope: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Deviations (n, k) of the current for deviations (n, k) of the radius in metres, by the trapezoidal rule."""
    step = circuit.times[1] - circuit.times[0]
    source = (circuit.current * slope)[:, None] * radius
    current, flux, charge = np.zeros_like(source), np.zeros(source.shape[1]), np.zeros(source.shape[1])
    for n in range(1, len(source)):
        drop = circuit.resistance * current[n - 1] + circuit.elastance * charge
        fixed = flux - step / 2 * (drop + circuit.elastance * (charge + step / 2 * current[n - 1])) - source[n]
        factor = circuit.inductance[n] + step / 2 * circuit.resistance + step**2 / 4 * circuit.elastance
        current[n] = fixed / factor
        charge = charge + step / 2 * (current[n - 1] + current[n])
        flux = circuit.inductance[n] * current[n] + source[n]
    return current
