"""The radius of a body over time from the trace of the current, beside what the case predicts without it."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.shot_tables import missing_key
from fieldsolve.cases.solve import check_shot_case
from fieldsolve.errors import InputError
from fieldsolve.estimate import QUANTILE, Interval
from fieldsolve.inference.fit import Fit, finish, iterate, observe
from fieldsolve.inference.observation import Measurement
from fieldsolve.inference.parameters import FLOW_STRESS, Parameter, default_prior, read_parameters
from fieldsolve.inference.runs import ShotModel, check_part
from fieldsolve.inference.samples import current_samples, scale_uncertainty
from fieldsolve.inference.surrogate import Surrogate, build_surrogate
from fieldsolve.inference.text import radius_facts, radius_text
from fieldsolve.records.comparison.trace import Trace
from fieldsolve.records.record import Record

EVERY = 3                       # of the instants of a run, that a result has
MOST_PARAMETERS = 8
LEAST_DEVIATION = 1e-5          # of the radius: no blank is turned, nor its first movement computed, more exactly


@dataclass(frozen=True, eq=False)
class Band:
    """A quantity over time with its 95 % band.

    Attributes
    ----------
    values, low, high : ndarray (n,)
        In SI, on the times of the result.

    Examples
    --------
    >>> Band(np.ones(2), np.zeros(2), 2 * np.ones(2)).half_width
    array([1., 1.])
    """

    values: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @classmethod
    def normal(cls, values: np.ndarray, deviations: np.ndarray) -> Band:
        """The band of a normal distribution at each time."""
        return cls(values, values - QUANTILE * deviations, values + QUANTILE * deviations)

    @property
    def half_width(self) -> np.ndarray:
        """Half of the band's width."""
        return (self.high - self.low) / 2


@dataclass(frozen=True, eq=False, kw_only=True)
class RadiusFromTrace:
    """The radius of a body as the trace of the current tells it.  Made by `radius_from_trace`; reading it computes nothing.

    Attributes
    ----------
    times : ndarray (n,)
        Seconds from the start of the current, which the record has at the parameter "start_time".
    radius, low, high : ndarray (n,)
        Outer radius in metres and its 95 % band.
    speed : Band
        Of the rim, m/s, inward positive.
    coil_stretch : Band
        Outer radius of the coil over its first one.
    prediction : Band
        The radius that the case and the prior give without the record.
    parameters : dict of Interval
        By name: those of the prior, "start_time" (s) and "offset" (A) of the record.
    priors : dict of Interval
        The prior's, of those that have one.
    correlations : dict
        By pair of names.
    current : Trace
        As computed at the most probable parameters, in the record's time and scale.
    measured, residual : Trace
        Means of the record's samples, and these less the computed current.
    noise : float
        Of a mean, standard deviation in ampere; `block` samples make one.
    current_error, radius_error : float
        Expected size of the model's errors: of the current as a share of its peak, of the radius as a share of the way moved.
    misfit : float
        Logarithm of how many times as probable the record is with errors of the model as without.
    runs : int
        Shots that were computed; `cost` is their processor time in seconds, `shot_cost` that of one at full accuracy.
    settled : bool
        Whether the iterations ended by themselves; `interrupted` whether Ctrl-C ended them.

    Examples
    --------
    See `radius_from_trace`.
    """

    case: str
    record_name: str
    record_sha256: str
    part: str
    coil: str
    held: bool
    times: np.ndarray
    radius: np.ndarray
    low: np.ndarray
    high: np.ndarray
    speed: Band
    coil_stretch: Band
    prediction: Band
    parameters: dict[str, Interval]
    priors: dict[str, Interval]
    shifts: dict[str, float]
    correlations: dict[tuple[str, str], float]
    current: Trace
    measured: Trace
    residual: Trace
    noise: float
    block: int
    current_error: float
    radius_error: float
    misfit: float
    numerical_error: np.ndarray
    runs: int
    cost: float
    shot_cost: float
    settled: bool
    interrupted: bool
    remarks: tuple[str, ...]

    @property
    def band(self) -> Band:
        """The radius with its band."""
        return Band(self.radius, self.low, self.high)

    @property
    def determination(self) -> float:
        """Width of the band at the end over that of the prediction: 1 where the record tells nothing; 1 of held metal."""
        before = float(self.prediction.half_width[-1])
        return 1.0 if self.held or not before > 0 else min(float(self.band.half_width[-1]) / before, 1.0)

    def report(self) -> str:
        """One screen for a person in a workshop."""
        return radius_text(self)

    def facts(self) -> dict[str, Any]:
        """Everything as plain data for JSON, the traces left out."""
        return radius_facts(self)

    def plot(self, axes=None):
        """Radius with its band beside the prediction, and the residual of the current below; returns the two axes."""
        from fieldsolve.report.plots.records.radius import plot_radius_from_trace
        return plot_radius_from_trace(self, axes)

    def __repr__(self) -> str:
        return (f"RadiusFromTrace({self.part}: {1e3 * self.radius[-1]:.4g} mm, {1e3 * self.low[-1]:.4g} to {1e3 * self.high[-1]:.4g} mm, "
                f"at {1e6 * self.times[-1]:.4g} us)")


def radius_from_trace(case: Case | str | Mapping[str, Any], record: Record, *, part: str | None = None,
                      prior: Mapping[str, float | str] | None = None, coil: str | None = None,
                      measured: Mapping[str, tuple[float, float]] | None = None,
                      progress: Callable[[str], None] | None = None) -> RadiusFromTrace:
    """The radius of a body over time from the record of the current alone, with a 95 % band that allows for a wrong model.

    Parameters
    ----------
    case : Case, path or mapping
        A shot, as for `read_case`.
    record : Record
        With a channel "current" in ampere, or "current_rate".  Its time zero is fitted.
    part : str, optional
        The body whose radius it is; by default the only one.
    prior : mapping, optional
        Relative standard deviation, or a text with its unit such as "20 V", of what is uncertain: dotted keys of the case, "gain" of the
        record, "flow_stress of PART".  By default the case's own uncertainties of bank and leads, and 30 % of the flow stress.
    coil : str, optional
        Whose current it is; by default the first in the circuit.
    measured : mapping, optional
        What was measured after the shot, as for `compare`: (value, standard uncertainty) in SI by name, such as {"radius of disc":
        (12.9e-3, 0.1e-3)}.
    progress : callable, optional
        Called with a text before each shot.  A KeyboardInterrupt ends the iterations: the best so far is the result, marked.

    Returns
    -------
    RadiusFromTrace

    Raises
    ------
    InputError
        For a case that is no shot, an unknown parameter or part, and a record without current.
    SolveError
        Where a shot of the case itself cannot be computed.

    Notes
    -----
    Gauss-Newton iterations on coarse shots with secant updates; then one shot at the case's accuracy.  The model's errors of the current
    and of the radius are Gaussian processes whose sizes are weighed by the record: see the room's README.
    Source: M. C. Kennedy, A. O'Hagan, J. R. Statist. Soc. B 63, 425 (2001).

    Examples
    --------
    >>> from fieldsolve.cases.solve import solve_case
    >>> case = read_case({"coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm",
    ...                            "pitch": "3.3 mm", "material": "copper"},
    ...                   "disc": {"shape": "disc", "radius": "15 mm", "thickness": "4 mm", "material": "copper"},
    ...                   "bank": {"capacitance": "120 uF", "voltage": "4 kV", "inductance": "350 nH", "resistance": "6 mohm"},
    ...                   "run": {"end_time": "25 us", "motion": False, "heating": False, "accuracy": 3e-2}})
    >>> shot = solve_case(case)
    >>> record = Record(times=shot.times, values={"current": shot.series("current", "coil")})
    >>> radius_from_trace(case, record, prior={"bank.resistance": 0.1}).held            # its radius is that of the case
    True
    """
    case = read_case(case)
    check_shot_case(case)
    if case.run.end_time is None:
        raise missing_key("run", "end_time")
    model = radius_model(case, record, part, prior, coil, progress, tuple(measured or {}))
    return radius_result(model, record, fit_record(model, record, measurements(model.part, measured or {})))


def radius_model(case: Case, record: Record, part: str | None = None, prior: Mapping[str, float | str] | None = None,
                 coil: str | None = None, progress: Callable[[str], None] | None = None, scalars: tuple[str, ...] = ()) -> ShotModel:
    """The shots of a case as a function of what the prior names."""
    coils = [each.name for each in case.parts if each.is_coil]
    part = check_part(case, part, [each.name for each in case.parts if not each.is_coil])
    parameters = read_parameters(case, default_prior(case, part) if prior is None else prior, scale_uncertainty(record))
    if not 1 <= len(parameters) <= MOST_PARAMETERS:
        raise InputError(f"prior: {len(parameters)} parameters; give 1 to {MOST_PARAMETERS}, such as {{'bank.resistance': 0.1}}")
    return ShotModel(case=case, parameters=parameters, part=part, coil=coil or coils[0], scalars=scalars,
                     progress=progress or (lambda text: None))


@dataclass(frozen=True, eq=False, kw_only=True)
class RecordFit:
    """What the shots of a model make of a record.

    first        the surrogate about the case's own values
    fit          about the most probable ones
    held         whether the part does not move
    interrupted  whether Ctrl-C ended the iterations
    runs         shots that were computed for this record
    cost         processor time in seconds of all that it rests on; `shot_cost` that of one at full accuracy
    """

    first: Surrogate
    fit: Fit
    held: bool
    interrupted: bool
    runs: int
    cost: float
    shot_cost: float


def fit_record(model: ShotModel, record: Record, measured: tuple[Measurement, ...] = ()) -> RecordFit:
    """Coarse shots until the parameters settle, then one at the case's accuracy."""
    before = len(model.known)
    first = build_surrogate(model, np.zeros(len(model.parameters)))
    held = not np.ptp(first.run.series["radius"]) > 0
    observation = observe(model, first, current_samples(record, first.run), stress_deviation(model, first, held), measured)
    fit, interrupted = iterate(model, first, observation)
    fit, full = finish(model, fit) if not interrupted else (fit, None)
    costs = [run.cost for run in model.known.values()]
    return RecordFit(first=first, fit=fit, held=held, interrupted=interrupted, runs=len(model.known) - before + (full is not None),
                     cost=sum(costs) + (full.cost if full else 0.0), shot_cost=full.cost if full else float(np.mean(costs)))


def measurements(part: str, measured: Mapping[str, tuple[float, float]]) -> tuple[Measurement, ...]:
    """What was measured after a shot; InputError for a value without a standard uncertainty above 0."""
    found = []
    for name, given in measured.items():
        if not isinstance(given, (tuple, list)) or len(given) != 2 or not all(isinstance(x, (int, float)) for x in given) or given[1] <= 0:
            raise InputError(f"measured {name!r}: {given!r}: give (value, standard uncertainty above 0) in SI, such as (12.9e-3, 0.1e-3)")
        of_radius = {f"radius of {part}": 1.0, f"diameter of {part}": 2.0}.get(name, 0.0)
        found.append(Measurement(name, float(given[0]), float(given[1]), of_radius))
    return tuple(found)


def stress_deviation(model: ShotModel, surrogate: Surrogate, held: bool) -> tuple[np.ndarray, np.ndarray]:
    """How radius and current move together with the part's flow stress."""
    name = FLOW_STRESS + model.part
    for k, parameter in enumerate(model.parameters):
        if parameter.name == name:
            return surrogate.slopes["radius"][k], surrogate.slopes["current"][k]
    nothing = np.zeros(len(surrogate.run.times))
    if held:
        return nothing, nothing
    extended = replace(model, parameters=(*model.parameters, Parameter(name, 1.0, 0.3)), known={})
    x = np.zeros(len(extended.parameters))
    x[-1] = 0.5
    run = extended.coarse(x, f"sensitivity to {name}")
    return tuple((run.series[series] - surrogate.run.series[series]) / x[-1] for series in ("radius", "current"))


def radius_result(model: ShotModel, record: Record, found: RecordFit) -> RadiusFromTrace:
    """The result of a fit."""
    every, fit = slice(None, None, EVERY), found.fit
    seen, run, count = fit.observation, fit.surrogate.run, len(model.parameters)
    radius, speed = radius_band(fit), speed_band(fit)
    deviations = np.sqrt(np.maximum(np.diag(fit.posterior.covariance), 0.0))
    parameters = {p.name: p.interval(float(x), float(d)) for p, x, d in zip(model.parameters, fit.x, deviations, strict=False)}
    parameters |= _nuisances(fit, deviations)
    measured = Trace(seen.samples.times, seen.samples.values)
    computed, _ = seen.predict(fit.surrogate, fit.posterior.mean)
    mean_sizes = [float(fit.shares @ [getattr(s, name) for s in fit.sizes]) for name in ("current", "radius")]
    pairs = [(i, j) for i in range(count) for j in range(i)]
    return RadiusFromTrace(
        case=model.case.name, record_name=record.path.name, record_sha256=record.sha256, part=model.part, coil=model.coil, held=found.held,
        times=run.times[every], radius=radius.values[every], low=radius.low[every], high=radius.high[every],
        speed=_thinned(speed, every), coil_stretch=_thinned(stretch_band(fit), every),
        prediction=_thinned(prediction_band(found.first, seen), every), parameters=parameters,
        priors={p.name: p.interval() for p in model.parameters},
        shifts={p.name: float(x) for p, x in zip(model.parameters, fit.x, strict=True)},
        correlations={(model.parameters[i].name, model.parameters[j].name): float(
            fit.posterior.covariance[i, j] / (deviations[i] * deviations[j] or 1.0)) for i, j in pairs},
        current=Trace(seen.samples.times, computed), measured=measured, residual=Trace(measured.times, measured.values - computed),
        noise=fit.noise, block=seen.samples.block, current_error=mean_sizes[0], radius_error=mean_sizes[1],
        misfit=fit.posterior.evidence - fit.good, numerical_error=np.abs(seen.numerical_radius[every]), runs=found.runs, cost=found.cost,
        shot_cost=found.shot_cost, settled=fit.settled, interrupted=found.interrupted, remarks=tuple(record.remarks))


def _thinned(band: Band, every: slice) -> Band:
    return Band(band.values[every], band.low[every], band.high[every])


def _nuisances(fit: Fit, deviations: np.ndarray) -> dict[str, Interval]:
    """Start and offset of the record."""
    seen, count = fit.observation, len(fit.observation.parameters)
    start = seen.samples.start_deviation
    return {"start_time": Interval.normal(seen.start(fit.posterior.mean), start * float(deviations[count]), "s"),
            "offset": Interval.normal(seen.offset_scale * float(fit.posterior.mean[count + 1]),
                                      seen.offset_scale * float(deviations[count + 1]), "A")}


def radius_band(fit: Fit) -> Band:
    """The radius on the run's times, where the unknowns are most probable."""
    radius = fit.surrogate.run.series["radius"]
    return _band(fit, radius, fit.observation.radius_rows(fit.surrogate), LEAST_DEVIATION * radius[0])


def speed_band(fit: Fit) -> Band:
    """Speed of the rim, inward positive: minus the slope of the radius."""
    run = fit.surrogate.run
    rows = -np.gradient(fit.observation.radius_rows(fit.surrogate), run.times, axis=0)
    return _band(fit, -np.gradient(run.series["radius"], run.times), rows)


def stretch_band(fit: Fit) -> Band:
    """Outer radius of the coil over its first one."""
    values = fit.surrogate.run.series["coil_radius"]
    return _band(fit, values / values[0], fit.observation.parameter_rows(fit.surrogate, "coil_radius") / values[0])


def _band(fit: Fit, values: np.ndarray, rows: np.ndarray, least: float = 0.0) -> Band:
    moved = fit.posterior.mean.copy()
    moved[:len(fit.surrogate.x)] -= fit.surrogate.x
    return Band.normal(values + rows @ moved, np.hypot(fit.posterior.deviations(rows), least))


def prediction_band(surrogate: Surrogate, observation) -> Band:
    """The radius before the record, with the prior's deviations of the parameters and of the model."""
    radius = surrogate.run.series["radius"]
    return Band.normal(radius, np.hypot(observation.prior_deviations(surrogate), LEAST_DEVIATION * radius[0]))

