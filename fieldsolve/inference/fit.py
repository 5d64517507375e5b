"""Gauss-Newton iterations on coarse shots, and the shot at the case's accuracy at their end."""
from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.errors import GeometryError, InputError, SolveError
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.inference.observation import INNER_ITERATIONS, Measurement, Observation
from fieldsolve.inference.parameters import FLOW_STRESS
from fieldsolve.inference.response import circuit_of, current_response, field_response, inductance_slope, voltage_response
from fieldsolve.inference.runs import FIELD_RATE, ModelRun, ShotModel
from fieldsolve.inference.samples import RecordSamples
from fieldsolve.inference.statistics.discrepancy import (
    CURRENT_LENGTHS,
    MOTION_SIZES,
    CurrentModes,
    Sizes,
    all_sizes,
    current_modes,
    motion_shapes,
)
from fieldsolve.inference.statistics.misfit import MisfitTest, misfit_test
from fieldsolve.inference.statistics.posterior import Posterior, condition, mixture
from fieldsolve.inference.surrogate import Surrogate, relative_width

MOST_ITERATIONS = 8
TRUST_RADIUS = 1.5              # standard deviations of the prior that a parameter may move in one iteration
SETTLED = 0.3                   # standard deviations of the posterior that the parameters still move, at which iterations end
NUMERICAL_SHARE = 0.27          # of the difference between the full and the coarse shot: a standard deviation of the full one's error


@dataclass(frozen=True, eq=False, kw_only=True)
class ShotFit:
    """What a record tells.

    observation  the record
    surrogate    the shots about the last one
    posterior    mean and covariance of the unknowns
    shares       (m,) weights of the choices of the model's errors, after the record
    sizes        these choices
    by_motion    the posterior for each of MOTION_SIZES
    nearest      the same of a model whose push and flow stress are right: where the next shot comes nearest to the record
    noise        standard deviation of a block mean, ampere
    iterations   that it took
    settled      whether the iterations ended by themselves
    """

    observation: Observation
    surrogate: Surrogate
    posterior: Posterior
    shares: np.ndarray
    sizes: tuple[Sizes, ...]
    by_motion: tuple[Posterior, ...]
    nearest: Posterior
    noise: float
    iterations: int
    settled: bool

    @property
    def x(self) -> np.ndarray:
        """Most probable parameters in standard deviations of their priors."""
        return self.posterior.mean[:len(self.observation.parameters)]

    @one_thread()
    def misfit(self) -> MisfitTest:
        """Whether the record contradicts a model without errors, fitted by itself: its current, and what was measured with it.

        Other channels are left out: one that is exact shows how far the shots are from linear about the last one.
        """
        seen, unknowns = replace(self.observation, others=()), np.delete(self.nearest.mean, self.observation.scales)
        for _ in range(INNER_ITERATIONS):
            linear = seen.linearised(self.surrogate, unknowns)
            unknowns = condition(linear.jacobian, linear.data, linear.variances, seen.unknown_deviations(0.0)).mean
        linear = seen.linearised(self.surrogate, unknowns)
        return misfit_test(linear, seen.motion, CURRENT_LENGTHS[0] * seen.rise)


@one_thread()
def observe(model: ShotModel, surrogate: Surrogate, samples: RecordSamples, deviation: Mapping[str, np.ndarray],
            measured: tuple[Measurement, ...] = (), others: tuple[RecordSamples, ...] = ()) -> Observation:
    """A record beside the shots of a model.

    deviation  derivatives of all series, (n,) each, by the logarithm of the part's flow stress
    """
    run = surrogate.run
    rise = rise_time(run)
    nothing = np.zeros(len(run.times))
    counts = samples.times - samples.start <= min(run.end, float(run.times[-1]))
    return Observation(parameters=model.parameters, samples=samples, rise=rise, **_motion_errors(model, surrogate, deviation, rise),
                       modes=_modes(samples, counts, rise), counts=counts, numerical=nothing, numerical_radius=nothing, measured=measured,
                       others=tuple((each, _modes(each, np.ones(len(each.times), dtype=bool), rise)) for each in others))


def _motion_errors(model: ShotModel, surrogate: Surrogate, deviation: Mapping[str, np.ndarray], rise: float) -> dict[str, Any]:
    """What errors of the push and of the flow stress do to the radius, to the current and to the other channels, (n, k) each."""
    run = surrogate.run
    shapes = motion_shapes(run.times, run.series["radius"], run.series["current"], deviation["radius"], rise)
    circuit = circuit_of(model.case, run)
    slope, _ = inductance_slope(circuit, deviation["radius"], deviation["current"])
    response = current_response(circuit, slope, shapes)
    answers = {"speed": -np.gradient(shapes, run.times, axis=0), "voltage": voltage_response(circuit, response)}
    for name in model.loops:
        together = tuple(deviation[series] for series in ("radius", "current", name))
        answers[FIELD_RATE + name] = np.gradient(field_response(circuit, run.series[name], together, shapes, response), run.times, axis=0)
    return {"shapes": shapes, "response": response, "answers": answers}


def stress_slopes(model: ShotModel, surrogate: Surrogate) -> dict[str, np.ndarray] | None:
    """Derivatives (n,) of all series by the logarithm of the part's flow stress; None where that is no parameter."""
    for k, parameter in enumerate(model.parameters):
        if parameter.name == FLOW_STRESS + model.part:
            return {series: surrogate.slopes[series][k] / relative_width(parameter) for series in surrogate.run.series}
    return None


def _about(observation: Observation, model: ShotModel, surrogate: Surrogate) -> Observation:
    """The observation with the model's errors about another run."""
    deviation = stress_slopes(model, surrogate)
    if deviation is None:
        return observation
    return replace(observation, **_motion_errors(model, surrogate, deviation, observation.rise))


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
    choices = all_sizes(observation.rise, bool(observation.others))
    weights = np.array([choice.weight for choice in choices])
    posterior = nearest = _nearest(observation, surrogate, start)
    for _ in range(2):
        found, noise = observation.infer(surrogate, posterior.mean, choices)
        posterior, shares = mixture(found, weights)
    by_motion = tuple(_mixture_of(found, choices, size) for size in MOTION_SIZES)
    return ShotFit(observation=observation, surrogate=surrogate, posterior=posterior, shares=shares, sizes=choices, by_motion=by_motion,
                   nearest=nearest, noise=noise, iterations=iterations, settled=settled)


def _nearest(observation: Observation, surrogate: Surrogate, start: np.ndarray) -> Posterior:
    """The posterior of a model whose push and flow stress are right."""
    choices = all_sizes(observation.rise, bool(observation.others), (0.0,))
    unknowns = np.where(np.arange(observation.size) < observation.motion.start, start, 0.0)
    for _ in range(INNER_ITERATIONS):
        found, _ = observation.infer(surrogate, unknowns, choices)
        posterior, _ = mixture(found, np.array([choice.weight for choice in choices]))
        unknowns = posterior.mean
    return posterior


def _mixture_of(found: Sequence[Posterior], choices: Sequence[Sizes], motion: float) -> Posterior:
    """The posterior over all choices with one size of the errors of push and flow stress."""
    chosen = [(posterior, choice.weight) for posterior, choice in zip(found, choices, strict=True) if choice.motion == motion]
    return mixture([posterior for posterior, _ in chosen], np.array([weight for _, weight in chosen]))[0]


def iterate(model: ShotModel, surrogate: Surrogate, observation: Observation) -> tuple[ShotFit, bool]:
    """Coarse shots at the most probable parameters until they stay there; and whether a KeyboardInterrupt ended them before."""
    shots = np.array([not parameter.is_gain for parameter in model.parameters], dtype=bool)
    fit = weigh(observation, surrogate, np.zeros(observation.size), 0, False)
    for iteration in range(1, MOST_ITERATIONS + 1):
        step = np.where(shots, fit.nearest.mean[:len(shots)] - fit.surrogate.x, 0.0)
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
        fit = weigh_about(model, fit, fit.surrogate.moved(x, run), iteration)
    return fit, False


def weigh_about(model: ShotModel, fit: ShotFit, surrogate: Surrogate, iteration: int) -> ShotFit:
    """The fit about another run, with the model's errors there."""
    return weigh(_about(fit.observation, model, surrogate), surrogate, fit.posterior.mean, iteration, False)


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
    surrogate = fit.surrogate.raised(offsets, full)
    observation = replace(_about(seen, model, surrogate), numerical=NUMERICAL_SHARE * offsets["current"],
                          numerical_radius=NUMERICAL_SHARE * offsets["radius"],
                          counts=counts, modes=_modes(seen.samples, counts, seen.rise) if counts.sum() < seen.counts.sum() else seen.modes)
    return weigh(observation, surrogate, fit.posterior.mean, fit.iterations, fit.settled), full

