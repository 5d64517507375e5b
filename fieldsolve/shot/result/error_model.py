"""Bounds on the errors of a shot's quantities, from how much they change between the shot and a coarser or finer run of it.

Where the error of the finer of two runs is rho times that of the coarser one, a quantity Q that differs by D between them is off by
(L. F. Richardson, Phil. Trans. R. Soc. A 226 (1927) 299)

    rho / (1 - rho) D   in the finer run,        1 / (1 - rho) D   in the coarser one.

The order of the method gives rho of the steps, and the dual estimates at the drive's frequency give it of the mesh.  Cells of metal that
moves converge at second order at least.  One quantity alone may agree by chance, so that none is trusted further than others of its
kind:

    bound = SAFETY_FACTOR max(factor |D|, typical |Q|),        typical: how much series in the same unit differ over the shot

The hottest surface of metal is off by a share of how far it is above the mean of the hottest cell, which tells how well a skin, and the
edges in it, are resolved there: that is the least of its bound.
"""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median
from typing import Any

import numpy as np

from fieldsolve.ode.spline import cubic_spline
from fieldsolve.shot.history import UNITS, History

SAFETY_FACTOR = 2.0         # of every bound; this and the shares below are calibrated by `python -m benchmarks errors shots`
TYPICAL_SHARE = 0.7         # of the rms difference of series of a kind: no smaller difference of the kind counts
MOTION_REDUCTION = 0.18    # of an error by cells of half the size in metal that moves, of second order; 0.13 was found
SATURATING_REDUCTION = 0.28    # of an error in space where metal saturates, for whose skin no mesh is made
MAX_REDUCTION = 0.5         # that is trusted to extrapolate
MIN_REDUCTION = 0.15
UNRESOLVED_SHARE = 0.065    # of the hottest surface's rise above the hottest cell; up to 6.3 % was found
EDGE_FACTOR = 0.45          # least factor of the largest |B|, which is mostly at an edge
SKIN_CHANGE = 2.0           # ratio of skin depths between which the differences of a rising |B| count alike
NOT_CONVERGED = 0.2         # of a quantity: runs that differ by more are far from where errors fall as their order says
COMPARED_UNITS = ("A", "V", "T", "N", "W", "K", "J", "m", "m/s")


@dataclass(frozen=True, eq=False)
class RunComparison:
    """Another run of the same shot, and what the differences from it tell.

    run      the other run
    finer    whether it is the finer of the two
    factor   error of the shot over its difference from the run
    typical  relative error by unit, of series in this unit; "" of all of them
    """

    run: Any
    finer: bool
    factor: float
    typical: Mapping[str, float]

    def for_quantity(self, quantity: str) -> RunComparison:
        """The comparison for one quantity: of the hottest surface, which is where a skin is least resolved, nothing is extrapolated."""
        return replace(self, factor=max(self.factor, 1.0)) if quantity == "temperature" else self

    def bound(self, value, other, unit: str = "", scale=None):
        """Error bound of a quantity, a number or an array, from its values in both runs.

        scale  what its kind is measured by; by default its value
        """
        size = np.maximum(np.abs(value), np.abs(other)) if scale is None else np.abs(scale)
        return SAFETY_FACTOR * np.maximum(self._extrapolated(np.abs(np.subtract(value, other)), size), self._typical(unit) * size)

    def field_bound(self, difference: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Error bound of |B| in tesla at points, from `difference_around` each, which has a margin already."""
        return np.maximum(self._extrapolated(difference, size), SAFETY_FACTOR * self._typical("T") * size)

    def _extrapolated(self, difference: np.ndarray, size: np.ndarray) -> np.ndarray:
        return np.where(difference > NOT_CONVERGED * size, max(self.factor, 1.0), self.factor) * difference

    def _typical(self, unit: str) -> float:
        return self.typical.get(unit, self.typical[""])

    def series_bound(self, history: History, quantity: str, place: str) -> np.ndarray:
        """Error bound of a series at each instant: of the difference there, and not less than by its root mean square over the shot."""
        times, scale = history.times, series_scale(history, quantity, place)
        difference = np.abs(history.series(quantity, place) - interpolate_series(self.run, quantity, place, times))
        typical = self._typical(UNITS.get(quantity, "")) * scale
        factor: float | np.ndarray = self.for_quantity(quantity).factor
        if quantity == "field":
            factor, difference = self._by_skin(times, difference, float(times[np.abs(history.series(quantity, place)).argmax()]))
        by_difference = factor * np.maximum(difference, TYPICAL_SHARE * root_mean_square(times, difference))
        return np.maximum(SAFETY_FACTOR * np.maximum(by_difference, typical), unresolved_rise(history, quantity, place))

    def _by_skin(self, times: np.ndarray, difference: np.ndarray, peak_time: float) -> tuple[np.ndarray, np.ndarray]:
        """(factor, difference) of the largest |B| of a bore at each instant, which is mostly at an edge of metal.

        The skin grows like the root of time.  While it is less than half as deep as at the peak the cells at edges are too large for
        either run, and nothing is extrapolated.  Up to the peak the difference is the largest of the times with about this skin, for it
        changes its sign.
        """
        early = times < peak_time / SKIN_CHANGE**2
        ratio = times / np.maximum(times[:, None], 1e-300)
        alike = (ratio >= SKIN_CHANGE**-2) & (ratio <= SKIN_CHANGE**2)
        largest = np.where(alike, difference, 0.0).max(axis=1)
        return (np.where(early, max(self.factor, 1.0), max(self.factor, EDGE_FACTOR)),
                np.where(times <= peak_time, largest, difference))


def compare_runs(shot: Any, run: Any, finer: bool, reduction: float) -> RunComparison:
    """The comparison of a shot with another run, of which the finer one has `reduction` times the error of the coarser one."""
    rho = min(max(reduction, MIN_REDUCTION), MAX_REDUCTION)
    factor = (1.0 if finer else rho) / (1 - rho)
    typical = {unit: factor * TYPICAL_SHARE * share for unit, share in _typical_differences(shot, run).items()}
    return RunComparison(run, finer, factor, typical)


def time_reduction(times: np.ndarray, other_times: np.ndarray, order: int) -> float:
    """Share of the error in time that is left where a run makes shorter steps than another, by a method of this order.

    Each step of length h adds about h^(order + 1), so that the many small ones after an event count for next to nothing.
    """
    one, other = (float((np.diff(t) ** (order + 1)).sum()) for t in (times, other_times))
    return min(one, other) / max(one, other)


def interpolate_series(shot: Any, quantity: str, place: str, times: np.ndarray) -> np.ndarray:
    """A series of a shot at any times in seconds: cubic splines from event to event, at whose kinks they end."""
    own, values = shot.times, shot.series(quantity, place)
    if own is times:
        return values
    switched = np.unique([int(np.abs(own - time).argmin()) for time in shot.history.events])
    ends = np.unique([0, *switched, len(own) - 1])
    found = np.interp(times, own, values)
    for start, end in pairwise(ends):
        inside = (times >= own[start]) & (times <= own[end])
        if end - start >= 3 and inside.any():
            found[inside] = cubic_spline(own[start:end + 1], values[start:end + 1], times[inside])
    return found


def root_mean_square(times: np.ndarray, values: np.ndarray) -> float:
    """Root mean square over time of a series, by trapezoids; 0 of a single instant."""
    span = float(np.ptp(times))
    return math.sqrt(0.5 * float((np.diff(times) * (values[1:] ** 2 + values[:-1] ** 2)).sum()) / span) if span else 0.0


def _typical_differences(shot: Any, run: Any) -> dict[str, float]:
    """By unit the median over series of their rms difference over their largest size; under "" the median over all."""
    shares: dict[str, list[float]] = {unit: [] for unit in COMPARED_UNITS}
    times = shot.times[shot.times <= run.times[-1]]
    for (quantity, place), values in shot.history.values.items():
        unit, scale = UNITS.get(quantity, ""), series_scale(shot.history, quantity, place)
        if unit in shares and scale > 0 and (quantity, place) in run.history.values and len(times) > 1:
            difference = values[:len(times)] - interpolate_series(run, quantity, place, times)
            shares[unit].append(root_mean_square(times, difference) / scale)
    found = {unit: median(values) for unit, values in shares.items() if values}
    return {**found, "": median(found.values()) if found else math.inf}


def unresolved_rise(history: History, quantity: str, place: str) -> np.ndarray | float:
    """Kelvin by which cells too large for a skin may leave the hottest surface off at each instant (k,); 0 of other quantities."""
    if quantity != "temperature" or ("cell_temperature", place) not in history.values:
        return 0.0
    return UNRESOLVED_SHARE * (history.values[quantity, place] - history.values["cell_temperature", place])


def series_scale(history: History, quantity: str, place: str) -> float:
    """What the differences of a series are measured by: its largest size; of a force that of the whole force, of a temperature its rise."""
    if quantity in ("temperature", "cell_temperature", "mean_temperature"):
        return float(np.ptp(history.values[quantity, place]))
    quantities: Sequence[str] = ("radial_force", "axial_force") if quantity in ("radial_force", "axial_force") else (quantity,)
    return max(float(np.abs(history.values[name, place]).max()) for name in quantities if (name, place) in history.values)
