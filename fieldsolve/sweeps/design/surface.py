"""What is known of one quantity of a design: its response, about what the first pass says of it where that leaves less to explain.

    log y(x) = log y_1(x) + b_0 + b . x + z(x)

y_1 is the response of the first pass.  Source: M. C. Kennedy and A. O'Hagan, Biometrika 87 (2000) 1, with the factor of y_1 set to one.
"""
from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from fieldsolve.sweeps.design.response import Response, fit_response, response_with, trend_scatter

REACH, LABEL_NOISE = 1.0, 1e-2  # length in the unit cube and share of noise of what tells where limits are assessed
NEAR = 1e-4                     # of the unit cube: a point as near to a computed one is that one
SMOOTH = 0.7                    # least length of a first pass in the unit cube: its geometries are a quarter of that or more apart
UNREACHABLE = -1e3              # on a logarithmic scale: a limit that is not above 0


@dataclass(frozen=True)
class ResponseSurface:
    """A quantity's response, of its logarithm where all its values are above 0.

    x      (n, free values), from 0 to 1;  y  (n,) on the scale of the response, less what `first` says
    first  the first pass's surface that it is about; None: none
    """

    response: Response
    logarithmic: bool
    x: np.ndarray
    y: np.ndarray
    first: ResponseSurface | None = None

    @classmethod
    def of_first_pass(cls, x: np.ndarray, values: np.ndarray) -> ResponseSurface:
        """The surface through values (n,) of a first pass at x, which lie at few geometries each with many circuits."""
        logarithmic = bool((values > 0).all())
        y = np.log(values) if logarithmic else values
        return cls(fit_response(x, y, SMOOTH), logarithmic, x, y)

    @classmethod
    def through(cls, x: np.ndarray, values: np.ndarray, first: ResponseSurface | None = None) -> ResponseSurface:
        """The surface through values (n,) at x; about `first` where that leaves less scatter about a linear trend."""
        logarithmic = bool((values > 0).all())
        y = np.log(values) if logarithmic else values
        if first is not None and first.logarithmic == logarithmic:
            rest = y - first.mean_at(x)
            if trend_scatter(x, rest) < trend_scatter(x, y):
                return cls(fit_response(x, rest), logarithmic, x, rest, first)
        return cls(fit_response(x, y), logarithmic, x, y)

    def at(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and standard deviation (m,) at points (m, free values), on the scale of the response."""
        mean, deviation = self.response.at(x)
        return (mean if self.first is None else mean + self.first.mean_at(x)), deviation

    def mean_at(self, x: np.ndarray) -> np.ndarray:
        """The mean alone, which is quicker."""
        mean = self.response.mean_at(x)
        return mean if self.first is None else mean + self.first.mean_at(x)

    def values_at(self, x: np.ndarray) -> np.ndarray:
        """The quantity (m,) at points (m, free values)."""
        mean = self.mean_at(x)
        return np.exp(mean) if self.logarithmic else mean

    def scaled(self, value: float) -> float:
        """A value on the scale of the response; a limit that is not above 0 is never reached on a logarithmic one."""
        if not self.logarithmic:
            return value
        return float(np.log(value)) if value > 0 else UNREACHABLE

    def with_believed(self, x: np.ndarray) -> ResponseSurface:
        """The same as if a run at x (1, free values) had come out at the mean."""
        y = np.append(self.y, self.response.at(x)[0])
        points = np.vstack([self.x, x])
        return replace(self, response=response_with(self.response.lengths, self.response.noise, points, y), x=points, y=y)


@dataclass(frozen=True)
class Assessed:
    """Whether runs (n,) at x (n, free values) came out with every limit assessed, which changes suddenly where it changes.

    A response of fixed length goes through 1 where one did and -1 where not:  P = Phi(mean / deviation).
    """

    x: np.ndarray
    complete: np.ndarray

    def joined(self, other: Assessed | None) -> Assessed:
        """These and others."""
        return self if other is None else Assessed(np.vstack([self.x, other.x]), np.concatenate([self.complete, other.complete]))

    def log_probability(self, x: np.ndarray) -> np.ndarray:
        """Logarithm of the probability that a run at points (m, free values) does; (m,)."""
        from scipy.special import log_ndtr

        if self.complete.all():
            return np.zeros(len(x))
        mean, deviation = self._response.at(x)
        return log_ndtr(mean / deviation)

    @cached_property
    def _response(self) -> Response:
        return response_with(np.full(self.x.shape[1], REACH), LABEL_NOISE, self.x, np.where(self.complete, 1.0, -1.0))
