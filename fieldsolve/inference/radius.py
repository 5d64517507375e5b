"""The radius of a body over time from the trace of the current, beside what the case predicts without it."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.shot_tables import missing_key
from fieldsolve.cases.solve import check_shot_case
from fieldsolve.estimate import Interval
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.inference.bands import SeriesBand, prediction_band, radius_band, speed_band, stretch_band
from fieldsolve.inference.fit import ShotFit
from fieldsolve.inference.parameters import Prior
from fieldsolve.inference.record_fit import RecordFit, fit_record, measurements, radius_model
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.statistics.misfit import MisfitTest
from fieldsolve.inference.text import radius_facts, radius_text
from fieldsolve.records.comparison.trace import Trace
from fieldsolve.records.record import Record
from geometries.keywords import known_keywords

EVERY = 3                       # of the instants of a run, that a result has


@known_keywords
@dataclass(frozen=True, eq=False, kw_only=True)
class RadiusFromTrace:
    """The radius of a body as the trace of the current tells it.  Made by `radius_from_trace`; reading it computes nothing.

    Attributes
    ----------
    times : ndarray (n,)
        Seconds from the start of the current, which the record has at the parameter "start_time".
    radius, low, high : ndarray (n,)
        Outer radius in metres and its 95 % band.
    speed : SeriesBand
        Of the rim, m/s, inward positive.
    coil_stretch : SeriesBand
        Outer radius of the coil over its first one.
    prediction : SeriesBand
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
    current_error, motion_error : float
        Expected size of the model's errors: of the current as a share of its peak, of push and flow stress as a share of them.
    misfit : MisfitTest
        Whether the record contradicts the model, and what error of the model it would show.
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
    speed: SeriesBand
    coil_stretch: SeriesBand
    prediction: SeriesBand
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
    motion_error: float
    misfit: MisfitTest
    numerical_error: np.ndarray
    runs: int
    cost: float
    shot_cost: float
    settled: bool
    interrupted: bool
    remarks: tuple[str, ...]

    @property
    def band(self) -> SeriesBand:
        """The radius with its band."""
        return SeriesBand(self.radius, self.low, self.high)

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


@known_keywords
@one_thread()
def radius_from_trace(case: Case | str | Mapping[str, Any], record: Record, *, part: str | None = None,
                      prior: Prior | None = None, coil: str | None = None,
                      measured: Mapping[str, tuple[float, float]] | None = None,
                      progress: Callable[[str], None] | None = None) -> RadiusFromTrace:
    """The radius of a body over time from the record of the current alone, with a 95 % band that allows for a wrong model.

    Parameters
    ----------
    case : Case, path or mapping
        A shot, as for `read_case`.
    record : Record
        With a channel "current" in ampere, or "current_rate".  Its time zero is fitted.  Channels of the role "voltage" (of the first
        bank) and "velocity" (of the rim) count as well.
    part : str, optional
        The body whose radius it is; by default the only one.
    prior : mapping or sequence of str, optional
        Relative standard deviation, or a text with its unit such as "20 V", of what is uncertain: dotted keys of the case, "gain" of the
        record, "flow_stress of PART".  Names alone get the uncertainty that the case gives, a flow
        stress 30 %.  By default: what the case gives uncertain of bank and leads, and the flow stress.
    coil : str, optional
        Whose current it is; by default the first in the circuit.
    measured : mapping, optional
        What was measured after the shot, as for `compare`: (value, standard uncertainty) in SI by name, such as {"radius of disc":
        (12.9e-3, 0.1e-3)}; and before it "inductance of COIL empty", a bridge's reading at 10 kHz.
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
    mean_sizes = [float(fit.shares @ [getattr(s, name) for s in fit.sizes]) for name in ("current", "motion")]
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
        noise=fit.noise, block=seen.samples.block, current_error=mean_sizes[0], motion_error=mean_sizes[1],
        misfit=fit.misfit(), numerical_error=np.abs(seen.numerical_radius[every]), runs=found.runs, cost=found.cost,
        shot_cost=found.shot_cost, settled=fit.settled, interrupted=found.interrupted, remarks=tuple(record.remarks))


def _thinned(band: SeriesBand, every: slice) -> SeriesBand:
    return SeriesBand(band.values[every], band.low[every], band.high[every])


def _nuisances(fit: ShotFit, deviations: np.ndarray) -> dict[str, Interval]:
    """Start and offset of the record."""
    seen, count = fit.observation, len(fit.observation.parameters)
    start = seen.samples.start_deviation
    return {"start_time": Interval.normal(seen.start(fit.posterior.mean), start * float(deviations[count]), "s"),
            "offset": Interval.normal(seen.offset_scale * float(fit.posterior.mean[count + 1]),
                                      seen.offset_scale * float(deviations[count + 1]), "A")}
