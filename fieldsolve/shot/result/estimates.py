"""Quantities of a shot with their error bounds, which come from a refined run."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fieldsolve.estimate import Estimate
from fieldsolve.shot.result import quantities
from geometries.errors import InputError

THICKNESS_PLACES = ("axis", "mid-radius", "rim", "waist")
DIRECTIONS = ("radial", "axial")


def estimate(shot, evaluate: Callable[..., float], unit: str = "", time: float | None = None) -> Estimate:
    """A quantity of a shot, `evaluate(shot)`, with its error bound.

        error = max(|value - value of the refined run|, typical_error |value|);   infinite without a refined run
    """
    value, error = float(evaluate(shot)), math.inf
    if shot.reference is not None:
        error = max(abs(value - float(evaluate(shot.reference))), shot.typical_error * abs(value))
    return Estimate(value, error, unit, time=time)


def series_error(shot, quantity: str, place: str) -> np.ndarray:
    """Difference of a series from that of the refined run, straight between its instants; shape (k,)."""
    if shot.reference is None:
        raise InputError("series_error: no error is known without a refined run: call shot.refined() and read the shot that it returns")
    refined = np.interp(shot.times, shot.reference.times, shot.reference.series(quantity, place))
    return np.abs(shot.series(quantity, place) - refined)


def refine_shot(shot, progress: Callable[[float], None] | None):
    """The shot with a refined run as its reference, which is computed now."""
    end = float(shot.times[-1]) if shot.interrupted or shot.stop_reason else None
    reference = shot.solver(shot.problem.refined(end), progress)
    if reference.interrupted:
        raise KeyboardInterrupt("the refined run was interrupted: no error bounds are known")
    return replace(shot, reference=reference, typical_error=quantities.typical_error(shot, reference),
                   energy=replace(shot.energy, reference=reference.energy))


def radius_ratio(shot, name: str) -> Estimate:
    """Final over initial outer radius of a body; 1 while metal is held."""
    shot.section.part(name)
    if ("outer_radius", name) not in shot.history.values:
        return Estimate(1.0, 0.0, "")
    return estimate(shot, lambda run: quantities.final_ratio(run, "outer_radius", name))


def thickness_ratio(shot, name: str, at: str) -> Estimate:
    """Final over initial thickness of a body at one of THICKNESS_PLACES; 1 while metal is held."""
    _check_place(shot, name, at)
    quantity = f"{at.replace('-', '_')}_thickness"
    if (quantity, name) not in shot.history.values:
        return radius_ratio(shot, name)
    if not shot.series(quantity, name)[0] > 0:
        raise InputError(f"thickness at {at} of {name}: no metal was there at the start; take at='rim'")
    return estimate(shot, lambda run: quantities.final_ratio(run, quantity, name))


def _check_place(shot, name: str, at: str) -> None:
    """Refuse a place at which a body has no thickness: InputError.  A tube that moved has one at its waist, and no other body has."""
    if at not in THICKNESS_PLACES:
        raise InputError(f"at = {at!r}: choose 'axis', 'mid-radius' or 'rim', of a tube 'waist'")
    is_tube = ("waist_thickness", name) in shot.history.values
    if ("outer_radius", name) in shot.history.values and is_tube != (at == "waist"):
        remedy = "a tube has neither axis nor rim: take at='waist'" if is_tube else "only a tube has a waist: take at='rim'"
        raise InputError(f"thickness at {at} of {name}: {remedy}")


def check_direction(direction: str) -> None:
    """Refuse a direction that no force has: InputError."""
    if direction not in DIRECTIONS:
        raise InputError(f"direction = {direction!r}: choose 'radial' or 'axial'")


def first_bank(shot) -> str:
    """Name under which the first bank's series stand.  Raises InputError where no bank drives the shot."""
    if not shot.bank_places:
        raise InputError("the currents were prescribed: there is no bank whose voltage reverses")
    return shot.bank_places[0]


def burst_times(shot, name: str) -> tuple[Estimate | None, Estimate | None]:
    """When a coil's first turn reaches the least and the largest strain its metal breaks at, seconds; None where none does."""
    shot.section.part(name)

    def burst_time(k: int) -> Estimate | None:
        burst = shot.metal.bursts(name)[k]
        return burst and estimate(shot, lambda run: getattr(run.metal.bursts(name)[k], "time", run.times[-1]), "s")
    return burst_time(0), burst_time(1)
