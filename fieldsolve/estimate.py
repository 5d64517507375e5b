"""A number that carries its own numerical error and its unit."""
from __future__ import annotations


class Estimate(float):
    """A float with `error` (absolute, never negative), `unit` and, where useful, a place or a time.

    value   the number itself
    error   estimated numerical error of the value, in `unit`; may be given as a function that works it out when it is first read
    r, z    place in metres, or None
    time    in seconds, or None
    """

    def __new__(cls, value, error=0.0, unit="", r=None, z=None, time=None):
        self = super().__new__(cls, value)
        self._error, self.unit, self.r, self.z, self.time = error, unit, r, z, time
        return self

    @property
    def error(self) -> float:
        """Absolute error in `unit`, never negative."""
        self._error = abs(float(self._error() if callable(self._error) else self._error))
        return self._error

    @property
    def value(self) -> float:
        """The plain float."""
        return float(self)

    def __getnewargs__(self):
        return self.value, self.error, self.unit, self.r, self.z, self.time

    def __repr__(self):
        place = "" if self.r is None else f" at r = {self.r:.6g} m, z = {self.z:.6g} m"
        moment = "" if self.time is None else f" at {self.time:.6g} s"
        error = "" if callable(self._error) else f" +- {self.error:.1g}"
        return f"{self.value:.6g}{error} {self.unit}{place}{moment}".strip()


class ComplexEstimate(complex):
    """A phasor (peak value, exp(+j omega t)) with a float `error` and a `unit`."""

    def __new__(cls, value, error=0.0, unit=""):
        self = super().__new__(cls, value)
        self.error, self.unit = abs(float(error)), unit
        return self

    @property
    def value(self) -> complex:
        """The plain complex number."""
        return complex(self)

    def __getnewargs__(self):
        return self.value, self.error, self.unit

    def __repr__(self):
        return f"{self.value:.6g} +- {self.error:.1g} {self.unit}".strip()
