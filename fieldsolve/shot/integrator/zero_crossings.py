"""Zeros of the currents and of the voltage at which something switches by itself: where in a step they lie."""
from __future__ import annotations

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, Switches
from fieldsolve.ode import Step, hermite_root
from fieldsolve.shot.integrator.field_circuit import Circuit

MIN_VALUE = 1e-9            # of its scale: what is less is no current


def monitored_indices(network: Circuit, switches: Switches) -> list[int]:
    """Numbers in x of what is watched: each conducting bank's current, and the voltage whose zero fires the crowbar."""
    found = [network.bank_current_index(k) for k, state in enumerate(switches.arcs) if state == CONDUCTING]
    crowbar = network.crowbar
    return [*found, network.bank_voltage_index(0)] if crowbar is not None and crowbar.fires_at is None and not switches.crowbar else found


def first_zero_crossing(
    indices: list[int], scales: dict[int, float], before: np.ndarray, step: Step, start: int
) -> tuple[float, int] | None:
    """Earliest zero in a step: (time after its start, number in x), or None.

    scales  of each watched quantity by its number;  before  x at the start of the step;  start  where x begins in the step's values
    """
    found = []
    for index in indices:
        here, there = before[index], step.value[start + index]
        if abs(here) > MIN_VALUE * scales[index] and here * there <= 0:
            slopes = [values[start + index] for values in step.derivatives]
            found.append((hermite_root(step.length, here, slopes[0], there, slopes[-1]), index))
    return min(found) if found else None
