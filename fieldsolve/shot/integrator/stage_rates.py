"""The rates that the stages of a discharge ended with, and what is expected of the next one from them.

The stages of one number have in each step nearly the same error, so that their rates are smooth in time, as those of different numbers
beside each other are not.  They are extrapolated by the polynomial of that degree which would have served the stage before best, and
what the extrapolation missed there is added: the stages of one step are missed by about the same.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

MAX_DEGREE = 3              # more gains nothing: it enlarges what the stages before were left off by


@dataclass(frozen=True, eq=False)
class StageRates:
    """y' of the last steps' stages.

    by_number  for each number of a stage (seconds, y') of its last instants, the latest first
    degree     of the polynomials
    missed     y' of the stage before less what they gave for it; None: it was not expected
    """

    by_number: tuple[tuple[tuple[float, np.ndarray], ...], ...] = ()
    degree: int = 1
    missed: np.ndarray | None = None

    def expected(self, number: int, time: float) -> np.ndarray | None:
        """y' expected of a stage at a time in s; None where none of its number was solved."""
        known = self._before(number, time)
        if not known:
            return None
        rate = _extrapolated(known, time, (min(self.degree, len(known) - 1),))[0]
        return rate if self.missed is None else rate + self.missed

    def followed_by(self, number: int, time: float, rate: np.ndarray, size: int) -> StageRates:
        """The same with the stage that was solved; the first `size` entries of y' tell how near the polynomials came."""
        known = self._before(number, time)
        degree, missed = self.degree, None
        if known:
            misses = rate - _extrapolated(known, time, range(len(known)))
            degree = int(np.linalg.norm(misses[:, :size], axis=1).argmin())
            missed = misses[degree]
        kept = list(self.by_number) + [()] * (number + 1 - len(self.by_number))
        kept[number] = ((time, rate), *known)[:MAX_DEGREE + 1]
        return StageRates(tuple(kept), degree, missed)

    def _before(self, number: int, time: float) -> tuple[tuple[float, np.ndarray], ...]:
        """The stages of a number before a time: a step that was rejected may have left some after it."""
        known = self.by_number[number] if number < len(self.by_number) else ()
        return tuple(entry for entry in known if entry[0] < time)


def _extrapolated(known: tuple[tuple[float, np.ndarray], ...], time: float, degrees) -> np.ndarray:
    """Polynomials of some degrees through the latest of (seconds, value) at a time, in Lagrange's form; (degrees, n)."""
    times = [when for when, _ in known]
    weights = np.zeros((len(degrees), len(known)))
    for row, degree in zip(weights, degrees, strict=True):
        through = times[:degree + 1]
        row[:degree + 1] = [math.prod((time - other) / (here - other) for other in through if other != here) for here in through]
    return weights @ np.stack([value for _, value in known])
