"""The length of the next step, from the embedded error of the last one and the time of the next event."""
from __future__ import annotations

import math
from dataclasses import dataclass

SAFETY, MAX_GROWTH, MIN_GROWTH = 0.9, 4.0, 0.2
ROUNDING = 1e-12            # of a time: an event nearer than this is reached


@dataclass(frozen=True)
class StepController:
    """Keeps the embedded error, in units of its tolerance, below one.

    error_order   order of that error in the step length: the length goes with its root
    min_length    seconds; a step no longer than this is accepted whatever its error
    fixed_length  seconds: every step between events is this long, whatever its error; None: as the error allows
    """

    error_order: int
    min_length: float
    fixed_length: float | None = None

    def fit(self, length: float, time: float, due: float) -> tuple[float, bool]:
        """Length of a step from `time` that ends at `due` or leaves room for another, and whether it ends there."""
        length = self.fixed_length or length
        if time + length > due * (1 - ROUNDING):
            return due - time, True
        return (0.5 * (due - time), False) if time + 2 * length > due else (length, False)

    def rejects(self, length: float, error: float) -> bool:
        """Whether a step is to be taken again with `next_length`."""
        return not self.fixed_length and error > 1 and length > self.min_length

    def next_length(self, length: float, error: float) -> float:
        """Length in seconds that brings the embedded error of a step of `length` to one, with a margin; or the fixed one."""
        if self.fixed_length:
            return self.fixed_length
        error = max(error, 1e-12)
        root = math.sqrt(error) if self.error_order == 2 else error ** (1 / self.error_order)
        return length * min(MAX_GROWTH, max(MIN_GROWTH, SAFETY / root))
