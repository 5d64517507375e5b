"""Quantities of a shot with their error bounds, which come from the runs that it was compared with."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from fieldsolve.estimate import Estimate
from fieldsolve.field.system.coefficients import is_saturable
from fieldsolve.shot.history import UNITS
from fieldsolve.shot.result import quantities
from fieldsolve.shot.result.energy_balance import EnergyBalance
from fieldsolve.shot.result.error_model import MOTION_REDUCTION, SATURATING_REDUCTION, RunComparison, compare_runs, time_reduction
from fieldsolve.shot.result.peak_errors import peak_bounds
from geometries.errors import InputError

THICKNESS_PLACES = ("axis", "mid-radius", "rim", "waist")
DIRECTIONS = ("radial", "axial")
NO_BOUND = "no error bound is known: solve with error_bounds=True, or call refined() and read what it returns"
SAME_END = 1e-6             # of the end time: two runs that end this near have the same end


def estimate(shot, evaluate: Callable[..., float], unit: str = "", time: float | None = None, *, kind: str | None = None,
             scale: float | None = None) -> Estimate:
    """A quantity of a shot, `evaluate(shot)`, with the tightest of the error bounds that the compared runs tell; infinite without any.

    kind   unit of the series whose typical error is the least of the bound; default `unit`
    scale  what the typical error is relative to; default the quantity
    """
    value = float(evaluate(shot))
    errors = [comparison.bound(value, float(evaluate(comparison.run)), unit if kind is None else kind, scale)
              for comparison in shot.comparisons]
    return Estimate(value, min(errors, default=math.inf), unit, time=time)


def peak(shot, quantity: str, place: str) -> Estimate:
    """Largest magnitude of a series with its sign kept, and its time, each with its error bound."""
    value, time = shot.history.peak(quantity, place)
    bounds = [peak_bounds(comparison, shot, quantity, place) for comparison in shot.comparisons]
    error, time_error = (min(column) for column in zip(*bounds, strict=True)) if bounds else (math.inf, math.inf)
    return Estimate(value, error, UNITS.get(quantity, ""), time=time, time_error=time_error)


def series_error(shot, quantity: str, place: str) -> np.ndarray:
    """Error bound of a series at each of its instants; shape (k,)."""
    if not shot.comparisons:
        raise InputError(f"series_error: {NO_BOUND}")
    return np.min([comparison.series_bound(shot.history, quantity, place) for comparison in shot.comparisons], axis=0)


def compare_with(shot, run, finer: bool, space_reduction: float):
    """The shot with another run of it as one more comparison; the shot as it is where they do not end at the same time."""
    if abs(run.times[-1] - shot.times[-1]) > SAME_END * shot.times[-1]:
        return shot
    saturates = any(is_saturable(zone.material) for part in shot.section.parts for zone in part.zones)
    ratios = [max(space_reduction, SATURATING_REDUCTION) if saturates else space_reduction] if shot.instants else []
    ratios += [time_reduction(shot.times, run.times, shot.problem.method.order)]
    ratios += [] if shot.held else [MOTION_REDUCTION]
    comparisons = (*shot.comparisons, compare_runs(shot, run, finer, max(ratios)))
    return replace(shot, comparisons=comparisons, energy=replace(shot.energy, errors=_energy_errors(shot.energy, comparisons)))


def refine_shot(shot, progress):
    """The shot compared with a refined run, which is computed now."""
    end = float(shot.times[-1]) if shot.interrupted or shot.stop_reason else None
    run = shot.solver(shot.problem.refined(end), progress)
    if run.interrupted:
        raise KeyboardInterrupt("the refined run was interrupted: no error bounds are known")
    return compare_with(shot, run, True, quantities.REFINED_REDUCTION)


def _energy_errors(energy: EnergyBalance, comparisons: tuple[RunComparison, ...]) -> dict[str, float]:
    """Error bounds by name of the final energies in J; heat is known no better than the powers are that make it."""
    def final(balance: EnergyBalance) -> dict[str, float]:
        return {name: float(values[-1]) for name, values in (balance.stores | balance.sinks).items()}
    values, others = final(energy), [final(comparison.run.energy) for comparison in comparisons]
    return {name: min(comparison.bound(value, other.get(name, 0.0), "W" if name.startswith("heat in ") else "J")
                      for comparison, other in zip(comparisons, others, strict=True)) for name, value in values.items()}


def radius_ratio(shot, name: str) -> Estimate:
    """Final over initial outer radius of a body; 1 while metal is held."""
    shot.section.part(name)
    if ("outer_radius", name) not in shot.history.values:
        return Estimate(1.0, 0.0, "")
    return estimate(shot, lambda run: quantities.final_ratio(run, "outer_radius", name), kind="m")


def thickness_ratio(shot, name: str, at: str) -> Estimate:
    """Final over initial thickness of a body at one of THICKNESS_PLACES; 1 while metal is held."""
    _check_place(shot, name, at)
    quantity = f"{at.replace('-', '_')}_thickness"
    if (quantity, name) not in shot.history.values:
        return radius_ratio(shot, name)
    if not shot.series(quantity, name)[0] > 0:
        raise InputError(f"thickness at {at} of {name}: no metal was there at the start; take at='rim'")
    return estimate(shot, lambda run: quantities.final_ratio(run, quantity, name), kind="m")


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


def residual_voltage(shot, place: str) -> Estimate:
    """Voltage left on a bank at the end, V."""
    return estimate(shot, lambda run: run.series("voltage", place)[-1], "V", scale=float(np.abs(shot.series("voltage", place)).max()))


def burst_times(shot, name: str) -> tuple[Estimate | None, Estimate | None]:
    """When a coil's first turn reaches the least and the largest strain its metal breaks at, seconds; None where none does."""
    shot.section.part(name)

    def burst_time(k: int) -> Estimate | None:
        burst = shot.metal.bursts(name)[k]
        return burst and estimate(shot, lambda run: getattr(run.metal.bursts(name)[k], "time", run.times[-1]), "s")
    return burst_time(0), burst_time(1)
