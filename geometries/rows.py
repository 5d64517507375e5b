"""Rows of cells across a thin zone: how many, and how much lower at its surfaces than in its middle.

At a share s of the thickness t the rows are h(s) = h_middle [ratio + 4 (1 - ratio) s (1 - s)] high: near a surface they grow in
proportion to the distance.  Their number is the integral of t / h, which is t / h_middle times `_mean_inverse`.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

MAX_EQUAL_ROWS = 10              # rows are graded where more than these would be needed if all were as high as at the surface
MIN_RATIO = 1e-4


@dataclass(frozen=True)
class Rows:
    """Rows across a thin zone.

    count   how many
    ratio   height of the outermost over that of the middle one, at most 1
    """

    count: int
    ratio: float = 1.0

    @property
    def lowest(self) -> float:
        """Height of a row at the surface, as a share of the thickness."""
        return self.ratio * _mean_inverse(self.ratio) / self.count

    @property
    def highest(self) -> float:
        """Height of a row in the middle, as a share of the thickness."""
        return _mean_inverse(self.ratio) / self.count


def first_rows(surface: float, minimum: int, scale: float) -> Rows:
    """Rows whose outermost are at most `surface` high, as a share of the thickness, and no less than `minimum` of them.

    scale   factor on all heights
    """
    surface = min(surface, 1 / minimum)
    middle = max(surface, 1 / MAX_EQUAL_ROWS)
    ratio = max(surface / middle, MIN_RATIO)
    return Rows(math.ceil(_mean_inverse(ratio) / middle / scale), ratio)


def graded_rows(count: float, surface: float) -> Rows:
    """That many rows, the outermost `surface` high as a share of the thickness if that is lower than equal ones."""
    count = max(1, round(count))
    ratios = np.geomspace(MIN_RATIO, 1.0, 200)
    lowest = np.array([Rows(count, ratio).lowest for ratio in ratios])
    return Rows(count, float(f"{np.interp(surface, lowest, ratios):.3g}"))


def finest_rows(one: Rows, other: Rows) -> Rows:
    """Rows that are at least as many and at the surfaces about as low as those of both."""
    count = max(one.count, other.count)
    return graded_rows(count, min(one.lowest, other.lowest))


def _mean_inverse(ratio: float) -> float:
    """Integral over s of 1 / [ratio + 4 (1 - ratio) s (1 - s)]."""
    if ratio > 1 - 1e-6:
        return 1.0
    root = math.sqrt(1 - ratio)
    return math.log((1 + root) / (1 - root)) / (2 * root)
