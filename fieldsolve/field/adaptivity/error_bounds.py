"""What error is stated with a figure, from its values and its estimated errors on two meshes and more.

The estimate (accuracy.py) is a sum without signs: a bound that most figures stay far below, some not.  What share of it an error is,
the figure itself tells: where the estimate fell from E to rho E and the figure moved by D, the share is D / (E - rho E).
The largest share that any mesh of the chain told holds, an older one less, and no less than the figure's `least`, lest a difference
be small by chance.  Where a mesh was refined for other figures alone the error before, and the move, bound the new one.
"""
from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass, replace
from statistics import median

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Figure

MARGIN = 4.0            # factor on the error that the difference between two meshes tells
LEAST, OF_RATIO = 0.5, 20.0     # of the difference, but no more than so many times rho of it, is stated at least
FADING = 2.0            # by which a share told by the meshes before counts less
MOST_SHARE = 100.0      # of the difference that the estimate alone can bring to be stated, times rho^2
MOST_RATIO = 0.5        # largest ratio rho of estimates whose fall is taken at its word
ROUNDING = 1e-11        # of a figure's scale, stated at least


@dataclass(frozen=True)
class Fall:
    """What the finer of two meshes tells of a figure, each over the figure's scale.

    estimate  its estimated error;  ratio  rho of that to the coarser mesh's;  stated  the error that was stated with it
    before    the error that was stated with it on the coarser mesh
    """

    estimate: float
    ratio: float
    stated: float = 0.0
    before: float = math.inf

    def error(self, difference: float, size: float) -> float:
        """Error stated with a figure of a size that differs by so much between the meshes, in the figure's unit."""
        told = difference * max(min(LEAST, OF_RATIO * self.ratio), MARGIN * self.ratio * self.per_coarse)
        doubted = self.ratio**2 * min(MOST_SHARE * difference, self.estimate * size)
        return min(max(told, doubted, self.stated * size), self.before * size + difference) + ROUNDING * size

    @property
    def per_coarse(self) -> float:
        """Error on the coarser mesh over the difference: 1 / (1 - rho)."""
        return 1 / (1 - min(self.ratio, MOST_RATIO))


@dataclass(frozen=True)
class Stated:
    """Stated errors and falls by figure, and by family the largest share of an estimate that an error has been so far."""

    errors: dict[str, float]
    falls: dict[str, Fall]
    shares: dict[str, float]


def stated_errors(figures: dict[str, Figure], estimates: np.ndarray, coarse: dict[str, Figure], coarse_estimates: np.ndarray,
                  coarse_stated: Stated) -> Stated:
    """Errors of figures on the finer of two meshes; `coarse_stated` is what the meshes before told.

    A figure's error is MARGIN times its estimate's share, and what `Fall` states; of a figure that is new the whole estimate.
    """
    before = dict(zip(coarse, coarse_estimates, strict=True))
    falls, shares = {}, {family: share / FADING for family, share in coarse_stated.shares.items()}
    for (name, figure), estimate in zip(figures.items(), estimates, strict=True):
        if before.get(name, 0.0) > 0:
            falls[name] = Fall(float(estimate / figure.scale), min(float(estimate / before[name]), 1.0),
                               before=coarse_stated.errors.get(name, math.inf) / figure.scale)
            told = abs(figure.value - coarse[name].value) * falls[name].per_coarse / before[name]
            shares[figure.family or name] = max(shares.get(figure.family or name, 0.0), told)
    errors = {}
    for (name, figure), estimate in zip(figures.items(), estimates, strict=True):
        if name not in falls:
            errors[name] = float(estimate) + ROUNDING * figure.scale
            continue
        by_estimate = max(MARGIN * shares[figure.family or name], figure.least) * estimate
        falls[name] = replace(falls[name], stated=float(by_estimate / figure.scale))
        errors[name] = float(falls[name].error(abs(figure.value - coarse[name].value), figure.scale))
        falls[name] = replace(falls[name], stated=errors[name] / figure.scale)
    return Stated(errors, falls, shares)


def typical(falls: Iterable[Fall]) -> Fall:
    """Fall of a figure without a dual field of its own: the median of the others'."""
    falls = list(falls) or [Fall(0.0, 1.0)]
    return Fall(*(median(column) for column in _columns(falls)))


def worse(*falls: Fall) -> Fall:
    """The largest of each."""
    return Fall(*(max(column) for column in _columns(falls)))


def _columns(falls: Iterable[Fall]) -> Iterable[tuple[float, ...]]:
    return zip(*(astuple(fall) for fall in falls), strict=True)
