"""Contact of turns: the gaps between them, and the impulses that keep them apart."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg.lapack import dposv

SLACK = 1e-3               # of the film, by which the kept distance is larger, for a step's curvature
ROUNDING = 1e-14            # of the largest rate: what is less is no approach
MAX_TRIES = 3               # of changing all entries on the wrong side at once, after which they have to be fewer
MAX_CHANGES = 10            # of the active set, for each pair
REGULARIZATION = 1e-12              # of the largest inverse mass, so that more contacts than degrees of freedom have one solution


def gaps(pairs: np.ndarray, middle: np.ndarray, half: np.ndarray, is_round: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance in m between the surfaces of each pair, the direction from the first to the second, and both half widths along it.

    Between circles it is along the line of centres, between other sections along r or z, whichever separates them more.
    pairs (p, 2); middle and half (turns, 2) in m; results (p,) m, (p, 2), (p, 2) m
    """
    first, second = pairs.T
    apart, each = middle[second] - middle[first], np.arange(len(pairs))
    boxes = np.abs(apart) - half[first] - half[second]
    side = np.where(boxes[:, 1] > boxes[:, 0], 1, 0)
    gap, normal = boxes[each, side], np.zeros_like(apart)
    normal[each, side] = np.sign(apart[each, side])
    circles = is_round[first] & is_round[second]
    if circles.any():
        distance = np.hypot(*apart.T)
        gap = np.where(circles, distance - half[first, 0] - half[second, 0], gap)
        normal = np.where(circles[:, None], apart / distance[:, None], normal)
        side[circles] = 0
    return gap, normal, half[pairs, side[:, None]]


def gap_rates(pairs: np.ndarray, middle: np.ndarray, normal: np.ndarray, widths: np.ndarray) -> np.ndarray:
    """Rates (p, 2 turns) of the gaps per velocity of the turns; a growing turn becomes thinner, its half width w by w r'/(2 r)."""
    rows, each, thinning = np.zeros((len(pairs), len(middle), 2)), np.arange(len(pairs)), widths / (2 * middle[pairs, 0])
    for turn, direction, thinner in zip(pairs.T, (-normal, normal), thinning.T, strict=True):
        rows[each, turn] = direction
        rows[each, turn, 0] += thinner
    return rows.reshape(len(pairs), -1)


@dataclass(frozen=True, eq=False)
class Contacts:
    """Pairs of turns near enough to touch, as they are in one place.

    rates         (p, 2 turns) of the gaps per velocity of the turns
    inverse_mass  (2 turns,) 1/kg
    """

    rates: np.ndarray
    inverse_mass: np.ndarray

    @cached_property
    def compliance(self) -> np.ndarray:
        """A = rates M^-1 rates^T, (p, p): how fast impulses open the gaps."""
        matrix = (self.rates * self.inverse_mass) @ self.rates.T
        matrix.flat[::len(matrix) + 1] += REGULARIZATION * matrix.max()
        return matrix

    def velocity_changes(self, min_rates: np.ndarray, speeds: np.ndarray, pressing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Changes of velocity after which every gap opens at least as fast as `min_rates`, and the pairs that press to make it so.

        That is the linear complementarity problem of compressive impulses p: `A p + rates v - min_rates >= 0, p >= 0`, one of them zero
        for each pair.

        min_rates (p,) m/s; speeds (2 turns,) m/s, as the result; pressing (p,) those that are likely to
        """
        impulses = complementary(self.compliance, min_rates - self.rates @ speeds, pressing)
        return self.inverse_mass * (self.rates.T @ impulses), impulses > 0


def complementary(matrix: np.ndarray, missing: np.ndarray, likely: np.ndarray) -> np.ndarray:
    """p >= 0 with `A p >= missing`, one of them an equality for each entry; A symmetric and positive definite.  Shape of `missing`.

    The entries that are `likely` to be positive are tried first; from there all entries on the wrong side change it at once, as long
    as they become fewer (J. J. Judice and F. M. Pires, Comput. Oper. Res. 21 (1994) 587).  Where they do not, an active set grows by
    the entry that misses most and loses those that would become negative
    (C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), chapter 23, on the normal equations).
    """
    tolerance = ROUNDING * np.abs(missing).max()
    active, fewest, tries = likely, len(missing) + 1, MAX_TRIES
    while tries:
        found = _equalities(matrix, missing, active)
        is_wrong = np.where(active, found <= 0, missing - matrix @ found > tolerance)
        count = np.count_nonzero(is_wrong)
        if not count:
            return found
        fewest, tries = (count, MAX_TRIES) if count < fewest else (fewest, tries - 1)
        active = active ^ is_wrong
    return _by_active_set(matrix, missing, tolerance)


def _equalities(matrix: np.ndarray, missing: np.ndarray, active: np.ndarray) -> np.ndarray:
    """`A p = missing` for the active entries, p = 0 for the others."""
    found, at = np.zeros(len(missing)), active.nonzero()[0]
    if len(at):
        of_active = matrix[at[:, None], at]
        _, solution, failed = dposv(of_active, missing[at])             # by Cholesky, unless rounding makes that fail
        found[at] = np.linalg.solve(of_active, missing[at]) if failed else solution
    return found


def _by_active_set(matrix: np.ndarray, missing: np.ndarray, tolerance: float) -> np.ndarray:
    found, active = np.zeros_like(missing), np.zeros(len(missing), dtype=bool)
    for _ in range(MAX_CHANGES * len(missing)):
        short = np.where(active, 0.0, missing - matrix @ found)
        if not short.max() > tolerance:
            break
        active[short.argmax()] = True
        while True:
            trial = _equalities(matrix, missing, active)
            falling = active & (trial <= 0)
            if not falling.any():
                break
            share = np.where(falling, found / np.maximum(found - trial, 1e-300), np.inf)       # of the way, until it is zero
            found = found + share.min() * (trial - found)
            active[share.argmin()] = False
            found[~active] = 0.0
        found = trial
    return found
