"""What a deviation of a body's radius from its computed history does to the current, by the circuit linearised about a run.

The flux that the bank sees is psi(i, r).  A deviation d of the radius and the deviation j of the current that follows from it obey

    d/dt ((L_ext + L) j + i G d) = - R j - (integral of j dt) / C

L is the coils' flux over their current, and G = dL/dr comes from one shot with another flow stress, whose d and j are known: it is the
cubic in time that fits these best.
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
    current, flux = run.series["current"], run.series["flux"]
    peak = np.abs(current).max()
    enough = np.abs(current) > LEAST_CURRENT * peak
    coils = np.interp(run.times, run.times[enough], flux[enough] / current[enough])
    bank = case.banks[0]
    resistance = bank.resistance + case.leads.resistance + run.scalars.get("resistance of coil", 0.0)
    return CircuitAlongRun(run.times, current, bank.inductance + case.leads.inductance + coils, resistance,
                   1 / sum(bank.capacitance for bank in case.banks))


def inductance_slope(circuit: CircuitAlongRun, radius: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, float]:
    """dL/dr over time in H/m from a deviation of the radius and that of the current that goes with it; and the share it explains.

    Both deviations have the shape (n,).  The slope is zero where nothing moved.
    """
    step = circuit.times[1] - circuit.times[0]
    charge = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) * step / 2)])
    drop = circuit.resistance * current + circuit.elastance * charge
    flux = -np.concatenate([[0.0], np.cumsum((drop[1:] + drop[:-1]) * step / 2)]) - circuit.inductance * current
    basis = np.vander(2 * circuit.times / circuit.times[-1] - 1, DEGREE + 1)
    design = basis * (circuit.current * radius)[:, None]
    if not np.abs(design).max() > 0:
        return np.zeros(len(radius)), 0.0
    slope = basis @ np.linalg.lstsq(design, flux, rcond=None)[0]
    answer = current_response(circuit, slope, radius[:, None])[:, 0]
    total = float(current @ current)
    return slope, 1 - float((answer - current) @ (answer - current)) / total if total else 0.0


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
