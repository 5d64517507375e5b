"""Quantities of a shot as plain numbers, each a function of its series alone."""
from __future__ import annotations

import numpy as np

from fieldsolve.shot.result.energy_balance import running_integral, running_smooth_integral

REFINED_REDUCTION = 0.25        # of the error by a quarter of the accuracy


def final_ratio(shot, quantity: str, name: str) -> float:
    """A series at the end over the same at the start."""
    values = shot.series(quantity, name)
    return float(values[-1] / values[0])


def reversal(shot, place: str) -> float:
    """Largest reverse voltage of a bank over its charge voltage."""
    charge = shot.network.banks[shot.bank_places.index(place)].voltage
    return max(0.0, -float(shot.series("voltage", place).min())) / charge


def power_over_current(shot, body: str) -> float:
    """Heat power of a body over its net current at that current's peak, V; 0 where no current flows."""
    peak, time = shot.history.peak("current", body)
    return float(np.interp(time, shot.times, shot.series("power", body))) / abs(peak) if peak else 0.0


def impulse(shot, name: str, direction: str = "radial") -> float:
    """Integral of the radial or the axial force on a part, N s."""
    return float(running_smooth_integral(shot.times, shot.series(f"{direction}_force", name))[-1])


def action(shot, name: str) -> float:
    """Integral of the square of a coil's current, A^2 s."""
    current, rate = shot.series("current", name), shot.series("current_rate", name)
    return float(running_integral(shot.times, current**2, 2 * current * rate)[-1])

