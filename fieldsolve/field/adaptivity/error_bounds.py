"""What error is stated with a figure, from its values and its estimated errors on two meshes and more.

The estimate (accuracy.py) is a sum without signs: a bound that most figures stay far below, some not.  What share of it an error is,
the figure itself tells: where the estimate fell from E to rho E and the figure moved by D, the share is D / (E - rho E).
The largest share that any mesh of the chain told holds, an older one less, and no less than the figure's `least_effectivity`, lest a
difference be small by chance.  Where a mesh was refined for other figures alone the error before, and the move, bound the new one.
"""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass, replace
from statistics import median

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Goal

SAFETY_FACTOR = 4.0            # factor on the error that the difference between two meshes tells
MIN_DIFFERENCE_FACTOR, MIN_RATIO_FACTOR = 0.5, 20.0     # of the difference, but no more than so many times rho of it, is stated at least
FADING_FACTOR = 2.0            # by which a share told by the meshes before counts less
MAX_DIFFERENCE_FACTOR = 100.0      # of the difference that the estimate alone can bring to be stated, times rho^2
MAX_RATIO = 0.5        # largest ratio rho of estimates whose fall is taken at its word
ROUNDING = 1e-11        # of a figure's scale, stated at least


@dataclass(frozen=True)
class ErrorReduction:
    """What the finer of two meshes tells of a figure, each over the figure's scale.

    estimate  its estimated error;  ratio  rho of that to the coarser mesh's;  bound  the error that was stated with it
    coarse_bound  the error that was stated with it on the coarser mesh
    """

    estimate: float
    ratio: float
    bound: float = 0.0
    coarse_bound: float = math.inf

    def error(self, difference: float, size: float) -> float:
        """Error stated with a figure of a size that differs by so much between the meshes, in the figure's unit."""
        least = min(MIN_DIFFERENCE_FACTOR, MIN_RATIO_FACTOR * self.ratio)
        by_difference = difference * max(least, SAFETY_FACTOR * self.ratio * self.extrapolation_factor)
        by_dual_estimate = self.ratio**2 * min(MAX_DIFFERENCE_FACTOR * difference, self.estimate * size)
        return min(max(by_difference, by_dual_estimate, self.bound * size), self.coarse_bound * size + difference) + ROUNDING * size

    @property
    def extrapolation_factor(self) -> float:
        """Error on the coarser mesh over the difference: 1 / (1 - rho)."""
        return 1 / (1 - min(self.ratio, MAX_RATIO))


@dataclass(frozen=True)
class ErrorBounds:
    """Stated errors and falls by figure, and by family the largest share of an estimate that an error has been so far."""

    errors: dict[str, float]
    reductions: dict[str, ErrorReduction]
    effectivities: dict[str, float]


def bound_errors(goals: dict[str, Goal], estimates: np.ndarray, coarse: dict[str, Goal], coarse_estimates: np.ndarray,
                 coarse_bounds: ErrorBounds) -> ErrorBounds:
    """Errors of figures on the finer of two meshes; `coarse_bounds` is what the meshes before told.

    A figure's error is MARGIN times its estimate's share, and what `ErrorReduction` states; of a figure that is new the whole estimate.
    """
    previous = dict(zip(coarse, coarse_estimates, strict=True))
    reductions, effectivities = {}, {family: share / FADING_FACTOR for family, share in coarse_bounds.effectivities.items()}
    for (name, goal), estimate in zip(goals.items(), estimates, strict=True):
        if previous.get(name, 0.0) > 0:
            reductions[name] = ErrorReduction(float(estimate / goal.scale), min(float(estimate / previous[name]), 1.0),
                                              coarse_bound=coarse_bounds.errors.get(name, math.inf) / goal.scale)
            by_difference = abs(goal.value - coarse[name].value) * reductions[name].extrapolation_factor / previous[name]
            effectivities[goal.family or name] = max(effectivities.get(goal.family or name, 0.0), by_difference)
    errors = {}
    for (name, goal), estimate in zip(goals.items(), estimates, strict=True):
        if name not in reductions:
            errors[name] = float(estimate) + ROUNDING * goal.scale
            continue
        by_estimate = max(SAFETY_FACTOR * effectivities[goal.family or name], goal.least_effectivity) * estimate
        reductions[name] = replace(reductions[name], bound=float(by_estimate / goal.scale))
        errors[name] = float(reductions[name].error(abs(goal.value - coarse[name].value), goal.scale))
        reductions[name] = replace(reductions[name], bound=errors[name] / goal.scale)
    return ErrorBounds(errors, reductions, effectivities)


def typical_reduction(reductions: Iterable[ErrorReduction]) -> ErrorReduction:
    """Fall of a figure without a dual field of its own: the median of the others'."""
    reductions = list(reductions) or [ErrorReduction(0.0, 1.0)]
    return ErrorReduction(*(median(column) for column in _columns(reductions)))


def worst_reduction(*reductions: ErrorReduction) -> ErrorReduction:
    """The largest of each."""
    return ErrorReduction(*(max(column) for column in _columns(reductions)))


def _columns(reductions: Iterable[ErrorReduction]) -> Iterable[tuple[float, ...]]:
    return zip(*(astuple(reduction) for reduction in reductions), strict=True)
