"""Bounds on the errors of goals, from their values and their estimated errors on two meshes and more.

The estimate (`error_indicators.py`) is a sum without signs: most errors are far below it, some are not.  The effectivity of a goal is
its error over this estimate.  It follows from how the goal changed: where the estimate fell from E to rho E and the goal changed by D,
the effectivity is D / (E - rho E).  The error bound is a safety factor times the largest effectivity of all meshes so far times the
estimate.  An effectivity from earlier meshes counts less.  It is never taken below the goal's `least_effectivity`, as a change may be
small by chance.  Where a mesh was refined for other goals only, the bound on the mesh before and the change bound the new error.

A peak is read off recovered slopes, whose errors fall faster than the dual estimate of slopes in one triangle.  Its effectivity does
not follow from how it changed; it is known beforehand: on 26 coils with and without metal, at rest and up to 150 kHz, the error was
0.4 % of the estimate in the median, 1.4 % or less in 19 of 20 cases, and 2.2 % at most, from the second mesh on.
"""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass, replace
from statistics import median

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Goal

SAFETY_FACTOR = 4.0             # error bound over the error as extrapolated from the change between two meshes
LEAST_SAFETY_FACTOR = 2.8       # the same in orders above 2 of a goal with a least effectivity, which a change by chance cannot spoil
MIN_DIFFERENCE_FACTOR = {2: 0.5, 3: 0.3, 4: 0.3}    # by order the least error bound over the change between two meshes,
MIN_RATIO_FACTOR = 20.0         # or this many times rho of the change, where that is less
FADING_FACTOR = 2.0             # by which an effectivity from earlier meshes counts less
MAX_DIFFERENCE_FACTOR = 100.0   # most that the estimate alone contributes to a bound, in units of rho^2 times the change
MAX_RATIO = 0.5                 # largest ratio rho of two estimates that is used to extrapolate
KNOWN_DIFFERENCE_FACTOR = 0.25  # least error bound of a goal of known effectivity over the change between two meshes
ROUNDING = 1e-11                # least error bound over the goal's scale


@dataclass(frozen=True)
class ErrorReduction:
    """How the error of a goal fell from one mesh to the next finer one, in units of the goal's scale.

    estimate      estimated error on the finer mesh
    ratio         rho, this estimate over that on the coarser mesh
    bound         error bound on the finer mesh
    coarse_bound  error bound on the coarser mesh
    safety        factor on what the change extrapolates to
    least         smallest error bound over the change, see MIN_DIFFERENCE_FACTOR
    """

    estimate: float
    ratio: float
    bound: float = 0.0
    coarse_bound: float = math.inf
    safety: float = SAFETY_FACTOR
    least: float = MIN_DIFFERENCE_FACTOR[2]

    def error(self, difference: float, size: float) -> float:
        """Error bound of a quantity of a size that differs by so much between the meshes, in its unit."""
        least = min(self.least, MIN_RATIO_FACTOR * self.ratio)
        by_difference = difference * max(least, self.safety * self.ratio * self.extrapolation_factor)
        by_dual_estimate = self.ratio**2 * min(MAX_DIFFERENCE_FACTOR * difference, self.estimate * size)
        return min(max(by_difference, by_dual_estimate, self.bound * size), self.coarse_bound * size + difference) + ROUNDING * size

    @property
    def extrapolation_factor(self) -> float:
        """Error on the coarser mesh over the difference: 1 / (1 - rho)."""
        return 1 / (1 - min(self.ratio, MAX_RATIO))


@dataclass(frozen=True)
class ErrorBounds:
    """Error bounds and reductions by goal, and by family the largest effectivity so far."""

    errors: dict[str, float]
    reductions: dict[str, ErrorReduction]
    effectivities: dict[str, float]


def bound_errors(goals: dict[str, Goal], estimates: np.ndarray, coarse: dict[str, Goal], coarse_estimates: np.ndarray,
                 coarse_bounds: ErrorBounds, order: int = 2) -> ErrorBounds:
    """Error bounds of goals on the finer of two meshes of an order; `coarse_bounds` holds those of the meshes before.

    A bound is a safety factor times the effectivity times the estimate, and at least that of `ErrorReduction.error`.  Of a goal that
    was not there on the coarser mesh it is the estimate itself.
    """
    previous = dict(zip(coarse, coarse_estimates, strict=True))
    reductions, effectivities = {}, {family: value / FADING_FACTOR for family, value in coarse_bounds.effectivities.items()}
    for (name, goal), estimate in zip(goals.items(), estimates, strict=True):
        if previous.get(name, 0.0) > 0:
            reductions[name] = ErrorReduction(float(estimate / goal.scale), min(float(estimate / previous[name]), 1.0),
                                              coarse_bound=coarse_bounds.errors.get(name, math.inf) / goal.scale,
                                              safety=_safety_factor(goal, order), least=MIN_DIFFERENCE_FACTOR[order])
            by_difference = abs(goal.value - coarse[name].value) * reductions[name].extrapolation_factor / previous[name]
            effectivities[goal.family or name] = max(effectivities.get(goal.family or name, 0.0), by_difference)
    errors = {}
    for (name, goal), estimate in zip(goals.items(), estimates, strict=True):
        if name not in reductions:
            errors[name] = float(goal.effectivity or 1.0) * float(estimate) + ROUNDING * goal.scale
            continue
        if goal.effectivity:
            change = abs(goal.value - coarse[name].value)
            errors[name] = float(max(goal.effectivity * estimate, KNOWN_DIFFERENCE_FACTOR * change)) + ROUNDING * goal.scale
            reductions[name] = replace(reductions[name], bound=errors[name] / goal.scale)
            continue
        by_estimate = max(reductions[name].safety * effectivities[goal.family or name], goal.least_effectivity) * estimate
        reductions[name] = replace(reductions[name], bound=float(by_estimate / goal.scale))
        errors[name] = float(reductions[name].error(abs(goal.value - coarse[name].value), goal.scale))
        reductions[name] = replace(reductions[name], bound=errors[name] / goal.scale)
    return ErrorBounds(errors, reductions, effectivities)


def _safety_factor(goal: Goal, order: int) -> float:
    return LEAST_SAFETY_FACTOR if order > 2 and goal.least_effectivity else SAFETY_FACTOR


def typical_reduction(reductions: Iterable[ErrorReduction]) -> ErrorReduction:
    """Error reduction of a quantity that is no goal: the median of those of the goals."""
    reductions = list(reductions) or [ErrorReduction(0.0, 1.0)]
    return ErrorReduction(*(median(column) for column in _columns(reductions)))


def worst_reduction(*reductions: ErrorReduction) -> ErrorReduction:
    """The largest of each."""
    return ErrorReduction(*(max(column) for column in _columns(reductions)))


def _columns(reductions: Iterable[ErrorReduction]) -> Iterable[tuple[float, ...]]:
    return zip(*(astuple(reduction) for reduction in reductions), strict=True)
