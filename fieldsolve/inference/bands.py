"""Quantities over time with their 95 % bands: the radius, the speed, the coil's stretch, and the prediction."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.estimate import QUANTILE
from fieldsolve.inference.fit import ShotFit
from fieldsolve.inference.observation import Observation
from fieldsolve.inference.surrogate import Surrogate
from geometries.keywords import known_keywords

LEAST_DEVIATION = 1e-5          # of the radius: no blank is turned, nor its first movement computed, more exactly


@known_keywords
@dataclass(frozen=True, eq=False)
class SeriesBand:
    """A quantity over time with its 95 % band.

    Parameters
    ----------
    values, low, high : ndarray (n,)
        In SI, on the times of the result.

    Examples
    --------
    >>> SeriesBand(np.ones(2), np.zeros(2), 2 * np.ones(2)).half_width
    array([1., 1.])
    """

    values: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @classmethod
    def normal(cls, values: np.ndarray, deviations: np.ndarray) -> SeriesBand:
        """The band of a normal distribution at each time."""
        return cls(values, values - QUANTILE * deviations, values + QUANTILE * deviations)

    @property
    def half_width(self) -> np.ndarray:
        """Half of the band's width."""
        return (self.high - self.low) / 2


def radius_band(fit: ShotFit) -> SeriesBand:
    """The radius on the run's times, where the unknowns are most probable."""
    radius = fit.surrogate.run.series["radius"]
    return _band(fit, radius, fit.observation.radius_rows(fit.surrogate), LEAST_DEVIATION * radius[0])


def speed_band(fit: ShotFit) -> SeriesBand:
    """Speed of the rim, inward positive: minus the slope of the radius."""
    run = fit.surrogate.run
    rows = -np.gradient(fit.observation.radius_rows(fit.surrogate), run.times, axis=0)
    return _band(fit, -np.gradient(run.series["radius"], run.times), rows)


def stretch_band(fit: ShotFit) -> SeriesBand:
    """Outer radius of the coil over its first one."""
    values = fit.surrogate.run.series["coil_radius"]
    return _band(fit, values / values[0], fit.observation.parameter_rows(fit.surrogate, "coil_radius") / values[0])


def _band(fit: ShotFit, values: np.ndarray, rows: np.ndarray, least: float = 0.0) -> SeriesBand:
    moved = fit.posterior.mean.copy()
    moved[:len(fit.surrogate.x)] -= fit.surrogate.x
    return SeriesBand.normal(values + rows @ moved, np.hypot(fit.posterior.deviations(rows), least))


def prediction_band(surrogate: Surrogate, observation: Observation) -> SeriesBand:
    """The radius before the record, with the prior's deviations of the parameters and of the model."""
    radius = surrogate.run.series["radius"]
    return SeriesBand.normal(radius, np.hypot(observation.prior_deviations(surrogate), LEAST_DEVIATION * radius[0]))

