"""A number that carries its own numerical error and its unit."""
from __future__ import annotations

import math


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
