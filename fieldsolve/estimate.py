"""A number that carries its own numerical error, or its 95 % interval, and its unit."""
from __future__ import annotations

import math
from dataclasses import dataclass

from fieldsolve.units import display

QUANTILE = 1.959963984540054     # of the standard normal distribution at 97.5 %


class Estimate(float):
    """A float with an error bound, a unit and, where useful, a place or a time.

    It is data: copying, pickling and printing it computes nothing, and `json` writes it as the number alone.

    Parameters
    ----------
    value : float
        The number itself.
    error : float
        Bound on the numerical error of the value, absolute and in `unit`; `math.inf` where no bound is known.
    unit : str
        SI unit, empty for a pure number.
    r, z : float, optional
        Place in metres.
    time : float, optional
        In seconds.
    time_error : float, optional
        Bound on the numerical error of the time in seconds.

    Examples
    --------
    >>> Estimate(0.31363, error=6e-5, unit="T", r=0.0156, z=0.00166)
    0.31363 +- 6e-05 T at r = 0.0156 m, z = 0.00166 m
    >>> Estimate(0.31363, error=math.inf, unit="T")
    0.31363 T
    """

    unit: str
    r: float | None
    z: float | None
    time: float | None
    time_error: float | None
    error: float

    def __new__(cls, value: float, error: float = 0.0, unit: str = "", r: float | None = None,
                z: float | None = None, time: float | None = None, time_error: float | None = None) -> Estimate:
        self = super().__new__(cls, value)
        self.error, self.unit, self.r, self.z, self.time, self.time_error = abs(float(error)), unit, r, z, time, time_error
        return self

    @property
    def value(self) -> float:
        """The number as a float without error and unit."""
        return float(self)

    def __getnewargs__(self):
        return self.value, self.error, self.unit, self.r, self.z, self.time, self.time_error

    def __repr__(self):
        place = "" if self.r is None else f" at r = {self.r:.6g} m, z = {self.z:.6g} m"
        moment = "" if self.time is None else f" at {self.time:.6g} s"
        return f"{self.value:.6g}{_error_text(self.error)} {self.unit}{place}{moment}".strip()


class ComplexEstimate(complex):
    """A phasor (peak value, exp(+j omega t)) with an error bound and a unit.

    Parameters
    ----------
    value : complex
        The phasor itself.
    error : float
        Bound on the length of its numerical error, in `unit`; `math.inf` where no bound is known.
    unit : str
        SI unit.

    Examples
    --------
    >>> ComplexEstimate(3 + 4j, error=0.01, unit="A")
    3+4j +- 0.01 A
    """

    error: float
    unit: str

    def __new__(cls, value: complex, error: float = 0.0, unit: str = "") -> ComplexEstimate:
        self = super().__new__(cls, value)
        self.error, self.unit = abs(float(error)), unit
        return self

    @property
    def value(self) -> complex:
        """The number as a complex without error and unit."""
        return complex(self)

    def __getnewargs__(self):
        return self.value, self.error, self.unit

    def __repr__(self):
        return f"{self.value:.6g}{_error_text(self.error)} {self.unit}".strip()


def _error_text(error: float) -> str:
    return f" +- {error:.1g}" if math.isfinite(error) else ""


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
