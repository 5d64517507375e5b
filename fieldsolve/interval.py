"""A number with its 95 % interval and its unit."""
from __future__ import annotations

import math
from dataclasses import dataclass

from fieldsolve.units import display

QUANTILE = 1.959963984540054     # of the standard normal distribution at 97.5 %


@dataclass(frozen=True)
class Interval:
    """A quantity that was fitted or measured, with its 95 % interval.

    Parameters
    ----------
    value : float or None
        The best estimate, None where there is none.
    low, high : float or None
        Ends of the 95 % interval; None where the data do not determine it.
    unit : str
        SI unit, empty for a pure number.

    Examples
    --------
    >>> print(Interval(350e-9, 349e-9, 351e-9, "H"))
    350 nH (349 to 351 nH)
    >>> Interval.normal(6e-3, 1e-4, "ohm").determined, Interval(40.0, None, None, "V").determined
    (True, False)
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str = ""

    @classmethod
    def normal(cls, value: float, deviation: float, unit: str = "") -> Interval:
        """The interval of a normally distributed estimate with standard deviation `deviation`; undetermined where that is infinite."""
        if not math.isfinite(deviation):
            return cls(value, None, None, unit)
        return cls(value, value - QUANTILE * deviation, value + QUANTILE * deviation, unit)

    @property
    def determined(self) -> bool:
        """Whether the data determine it."""
        return self.low is not None and self.high is not None

    @property
    def uncertainty(self) -> float | None:
        """Standard uncertainty: a quarter of the interval's width, nearly; None where it is undetermined."""
        return None if self.low is None or self.high is None else (self.high - self.low) / (2 * QUANTILE)

    def __str__(self) -> str:
        if self.value is None:
            return "undetermined"
        if self.low is None or self.high is None:
            return f"{display(self.value, self.unit)} (undetermined)"
        low, high = display(self.low, self.unit, 4), display(self.high, self.unit, 4)
        number, _, unit = low.partition(" ")
        if unit and high.endswith(f" {unit}"):
            low = number
        return f"{display(self.value, self.unit, 4)} ({low} to {high})"
