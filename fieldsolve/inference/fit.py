"""Gauss-Newton iterations on coarse shots, and the shot at the case's accuracy at their end."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.errors import GeometryError, InputError, SolveError
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.inference.discrepancy import CURRENT_LENGTHS, RADIUS_LENGTH, CurrentModes, Sizes, all_sizes, current_modes, radius_shapes
from fieldsolve.inference.observation import INNER_ITERATIONS, Measurement, Observation
from fieldsolve.inference.posterior import Posterior, mixture
from fieldsolve.inference.response import circuit_of, current_response, inductance_slope
from fieldsolve.inference.runs import ModelRun, ShotModel
from fieldsolve.inference.samples import RecordSamples
from fieldsolve.inference.surrogate import Surrogate

MOST_ITERATIONS = 6
TRUST_RADIUS = 1.5              # standard deviations of the prior that a parameter may move in one iteration
SETTLED = 0.2                   # standard deviations of the posterior that the parameters still move, at which iterations end
NUMERICAL_SHARE = 0.27          # of the difference between the full and the coarse shot: a standard deviation of the full one's error


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotFit:
    """What a record tells.

    observation  the record
    surrogate    the shots about the last one
    posterior    mean and covariance of the unknowns
    shares       (m,) weights of the choices of the model's errors, after the record
    sizes        these choices
    good         logarithm of the evidence of a good model: the smallest errors
    noise        standard deviation of a block mean, ampere
    iterations   that it took
    settled      whether the iterations ended by themselves
    """

    observation: Observation
    surrogate: Surrogate
    posterior: Posterior
    shares: np.ndarray
    sizes: tuple[Sizes, ...]
    good: float
    noise: float
    iterations: int
    settled: bool

    @property
    def x(self) -> np.ndarray:
        """Most probable parameters in standard deviations of their priors."""
        return self.posterior.mean[:len(self.observation.parameters)]


@one_thread()
def observe(model: ShotModel, surrogate: Surrogate, samples: RecordSamples, deviation: tuple[np.ndarray, np.ndarray],
            measured: tuple[Measurement, ...] = (), others: tuple[RecordSamples, ...] = ()) -> Observation:
    """A record beside the shots of a model.

    deviation  of the radius and of the current, (n,) each, that go with another flow stress
    """
    run = surrogate.run
    displacement = np.abs(run.series["radius"] - run.series["radius"][0])
    rise = rise_time(run)
    shapes = radius_shapes(run.times, displacement, RADIUS_LENGTH * rise)
    circuit = circuit_of(model.case, run)
    slope, _ = inductance_slope(circuit, *deviation)
    nothing = np.zeros(len(run.times))
    counts = samples.times - samples.start <= min(run.end, float(run.times[-1]))
    return Observation(parameters=model.parameters, samples=samples, rise=rise, shapes=shapes,
                       response=current_response(circuit, slope, shapes), modes=_modes(samples, counts, rise), counts=counts,
                       numerical=nothing, numerical_radius=nothing, measured=measured,
                       others=tuple((each, _modes(each, np.ones(len(each.times), dtype=bool), rise)) for each in others))


def _modes(samples: RecordSamples, counts: np.ndarray, rise: float) -> dict[float, CurrentModes]:
    """Modes of the current's error at the samples that count, by correlation length."""
    return {share * rise: current_modes((samples.times - samples.start)[counts], share * rise) for share in CURRENT_LENGTHS}


def rise_time(run: ModelRun) -> float:
    """Seconds to the first peak of the current, or to the end where it only rises."""
    current = np.abs(run.series["current"])
    falling = np.flatnonzero(np.diff(current) < 0)
    return float(run.times[falling[0]] if len(falling) else run.times[-1])


@one_thread()
def weigh(observation: Observation, surrogate: Surrogate, start: np.ndarray, iterations: int, settled: bool) -> ShotFit:
    """The posterior of one surrogate, over all sizes of the model's errors."""
    choices = all_sizes(observation.rise)
    unknowns, best = start, (choices[0],)
    for _ in range(INNER_ITERATIONS):
        found, noise = observation.infer(surrogate, unknowns, best)
        unknowns = found[0].mean
    found, noise = observation.infer(surrogate, unknowns, choices)
    posterior, shares = mixture(found, np.array([choice.weight for choice in choices]))
    found, noise = observation.infer(surrogate, posterior.mean, choices)
    posterior, shares = mixture(found, np.array([choice.weight for choice in choices]))
    return ShotFit(observation=observation, surrogate=surrogate, posterior=posterior, shares=shares, sizes=choices,
               good=max(each.evidence for each, choice in zip(found, choices, strict=True)
                        if choice.current == choices[0].current and choice.radius == choices[0].radius),
               noise=noise, iterations=iterations, settled=settled)


def iterate(model: ShotModel, surrogate: Surrogate, observation: Observation) -> tuple[ShotFit, bool]:
    """Coarse shots at the most probable parameters until they stay there; and whether a KeyboardInterrupt ended them before."""
    shots = np.array([not parameter.is_gain for parameter in model.parameters], dtype=bool)
    fit = weigh(observation, surrogate, np.zeros(observation.size), 0, False)
    for iteration in range(1, MOST_ITERATIONS + 1):
        step = np.where(shots, fit.x - fit.surrogate.x, 0.0)
        if distance(fit, step) < SETTLED:
            return replace(fit, settled=True), False
        step *= min(1.0, TRUST_RADIUS / np.abs(step).max())
        x = np.where(shots, fit.surrogate.x + step, 0.0)
        try:
            run = model.coarse(x, f"iteration {iteration}")
        except KeyboardInterrupt:
            return fit, True
        except (SolveError, GeometryError, InputError):       # there is no such shot: what is known so far is not settled
            return fit, False
        fit = weigh(observation, fit.surrogate.moved(x, run), fit.posterior.mean, iteration, False)
    return fit, False


def distance(fit: ShotFit, step: np.ndarray) -> float:
    """Length of a step of the parameters in standard deviations of the posterior."""
    covariance = fit.posterior.covariance[:len(step), :len(step)]
    return math.sqrt(max(0.0, float(step @ np.linalg.pinv(covariance, hermitian=True) @ step)))


def finish(model: ShotModel, fit: ShotFit) -> tuple[ShotFit, ModelRun]:
    """The fit with the shot at the case's accuracy in place of the coarse one, and what is left of its numerical error."""
    at = fit.surrogate.x
    full = model.full(at, "the shot at full accuracy")
    coarse = fit.surrogate.run
    offsets = {name: full.series[name] - coarse.series[name] for name in coarse.series} \
        | {name: np.array([full.scalars[name] - coarse.scalars[name]]) for name in coarse.scalars}
    seen = fit.observation
    counts = seen.counts & (seen.samples.times - seen.samples.start <= full.end)
    observation = replace(seen, numerical=NUMERICAL_SHARE * offsets["current"], numerical_radius=NUMERICAL_SHARE * offsets["radius"],
                          counts=counts, modes=_modes(seen.samples, counts, seen.rise) if counts.sum() < seen.counts.sum() else seen.modes)
    return weigh(observation, fit.surrogate.raised(offsets, full), fit.posterior.mean, fit.iterations, fit.settled), full

