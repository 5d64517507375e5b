"""A shot that was not fitted, predicted with calibrated parameters, and what its record and its blank say of that."""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.estimate import QUANTILE
from fieldsolve.inference.bands import SeriesBand
from fieldsolve.inference.calibration.joint import Joint
from fieldsolve.inference.fit import NUMERICAL_SHARE, observe
from fieldsolve.inference.observation import Measurement
from fieldsolve.inference.record_fit import stress_deviation
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.samples import sampled_current
from fieldsolve.inference.statistics.posterior import Posterior, condition
from fieldsolve.inference.surrogate import build_surrogate
from fieldsolve.records.record import Record
from geometries.keywords import known_keywords

WITHIN = 2.0                # times the expected deviation: what the residual of a good prediction stays below


@known_keywords
@dataclass(frozen=True, eq=False, kw_only=True)
class HeldOut:
    """A predicted shot.

    Attributes
    ----------
    name : str
    times : ndarray (n,)
        Seconds from the start of the current.
    radius : SeriesBand
        Of the part, metres.
    residual, expected : float
        Root of the mean square of measured less predicted current, and what the bands and the noise lead to expect, ampere.
    measured : tuple
        (name, measured, predicted, half-width of the 95 % interval of the difference) of each value measured after the shot, SI.
    runs : int
        Shots that it took, in `cost` seconds of processor time.

    Examples
    --------
    >>> band = SeriesBand(np.ones(2), 0.9 * np.ones(2), 1.1 * np.ones(2))
    >>> HeldOut(name="shot 4", times=np.arange(2.0), radius=band, residual=300.0, expected=250.0, measured=(), runs=6, cost=30.0).verdict
    'shot 4: predicted within its bands'
    """

    name: str
    times: np.ndarray
    radius: SeriesBand
    residual: float
    expected: float
    measured: tuple[tuple[str, float, float, float], ...]
    runs: int
    cost: float

    @property
    def misses(self) -> tuple[str, ...]:
        """What lies outside its band."""
        current = (f"the current, {self.residual / self.expected:.1f} times as far off as expected",) \
            if self.residual > WITHIN * self.expected else ()
        return (*current, *(name for name, value, predicted, half in self.measured if abs(value - predicted) > half))

    @property
    def verdict(self) -> str:
        """One sentence."""
        return f"{self.name}: predicted within its bands" if not self.misses else f"{self.name}: NOT predicted: {'; '.join(self.misses)}"


def predict_held_out(model: ShotModel, name: str, record: Record, measured: tuple[Measurement, ...], joint: Joint) -> HeldOut:
    """The shot at the calibrated parameters, with the bands of these and of the model's errors as the fitted shots show them."""
    gains = np.array([parameter.is_gain for parameter in model.parameters])
    coarse = build_surrogate(model, np.where(gains, 0.0, joint.parameters))
    full = model.full(coarse.x, "the shot at full accuracy")
    difference = {key: full.series[key] - coarse.run.series[key] for key in full.series}
    scalars = {key: np.array([full.scalars[key] - coarse.run.scalars[key]]) for key in full.scalars}
    surrogate = coarse.raised(difference | scalars, full)
    held = not np.ptp(full.series["radius"]) > 0
    observation = replace(observe(model, surrogate, sampled_current(record, full), stress_deviation(model, coarse, held), measured),
                          numerical=NUMERICAL_SHARE * difference["current"], numerical_radius=NUMERICAL_SHARE * difference["radius"])
    rows, before = observation.radius_rows(surrogate), _before(observation, joint)
    motion = before.mean[observation.motion]
    radius = SeriesBand.normal(full.series["radius"] + observation.shapes @ motion, before.deviations(rows))
    residual, expected = _current(observation, surrogate, before, joint.current_error)
    compared = []
    for found in measured:
        row = observation.row_of(surrogate, found)
        half = QUANTILE * float(np.hypot(before.deviations(row)[0], found.uncertainty))
        predicted = float(surrogate.values(found.name)[0] + row[0, observation.motion] @ motion)
        compared.append((found.name, found.value, predicted, half))
    return HeldOut(name=name, times=full.times, radius=radius, residual=residual, expected=expected, measured=tuple(compared),
                   runs=len(model.known) + 1, cost=sum(run.cost for run in model.known.values()) + full.cost)


def _before(observation, joint: Joint) -> Posterior:
    """The unknowns before the held-out record: what the shots share from the calibration, everything else as before any record."""
    shared = np.r_[:joint.count, observation.motion]
    mean, covariance = np.zeros(observation.size), np.eye(observation.size)
    mean[shared], covariance[np.ix_(shared, shared)] = joint.mean, joint.covariance
    return Posterior(mean, covariance, 0.0)


def _current(observation, surrogate, before: Posterior, error: float) -> tuple[float, float]:
    """Root mean squares of what is left of the record and of what is expected to be left, time zero and offset fitted."""
    nuisances = slice(len(observation.parameters), observation.motion.start)
    unknowns, counts = before.mean.copy(), observation.counts
    for _ in range(3):
        predicted, jacobian = observation.predict(surrogate, unknowns)
        noise = observation.samples.noise(predicted)
        fitted = condition(jacobian[counts][:, nuisances], (observation.samples.values - predicted)[counts],
                           np.full(int(counts.sum()), noise**2), np.ones(2))
        unknowns[nuisances] += fitted.mean
    predicted, jacobian = observation.predict(surrogate, unknowns)
    left = (observation.samples.values - predicted)[counts]
    spread = before.covariance.copy()
    spread[nuisances, nuisances] = fitted.covariance
    variance = np.einsum("ij,jk,ik->i", jacobian, spread, jacobian)[counts].mean()
    return float(np.sqrt(np.mean(left**2))), float(np.sqrt(variance + noise**2 + (error * observation.samples.scale) ** 2))
