"""Parameters of a model calibrated to several shots at once, and the prediction of shots that were held out."""
from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fieldsolve.cases.case_file import Case, read_case
from fieldsolve.cases.solve import check_shot_case
from fieldsolve.errors import InputError
from fieldsolve.estimate import Interval
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.inference.calibration.held_out import HeldOut, predict_held_out
from fieldsolve.inference.calibration.joint import Joint, join
from fieldsolve.inference.calibration.text import calibration_facts, calibration_text
from fieldsolve.inference.fit import SETTLED, TRUST_RADIUS, ShotFit, finish, observe, weigh, weigh_about
from fieldsolve.inference.parameters import Parameter, Prior
from fieldsolve.inference.record_fit import measurements, radius_model, stress_deviation
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.samples import sampled_current, sampled_others
from fieldsolve.inference.statistics.misfit import MisfitTest, combined_misfit
from fieldsolve.inference.surrogate import build_surrogate
from fieldsolve.records.record import Record
from geometries.keywords import known_keywords

MOST_PARAMETERS = 6
MOST_ITERATIONS = 8


@dataclass(frozen=True, eq=False)
class ShotRecord:
    """One shot: its case, its record and what was measured after it.

    name      for messages and the page
    measured  (value, standard uncertainty) in SI by name
    """

    name: str
    case: Case
    record: Record
    measured: Mapping[str, tuple[float, float]]


@known_keywords
@dataclass(frozen=True, eq=False, kw_only=True)
class ModelCalibration:
    """Parameters of a model as several shots tell them.  Made by `calibrate`; reading it computes nothing.

    Attributes
    ----------
    parameters : dict of Interval
        By name, at the first shot's case; 95 %.
    priors : dict of Interval
        The same before the records.
    factors : dict of Interval
        Over the case's own values; of a parameter with an absolute prior, its value.
    varied : tuple of str
        Those whose value differs from case to case, which share a factor.
    correlations : dict
        By pair of names.
    shares : dict of dict
        By parameter and shot: the share of what is known of it that this shot's data brought.
    disagreement : float
        By what factor the shots lie farther from each other than their bands allow (root of chi squared over its degrees of freedom, at
        least 1); the intervals are widened by it.
    held_out : tuple of HeldOut
        The shots that were predicted, each with its verdict.
    shots, cases, records : tuple of str
        Names of the calibrated shots, SHA-256 of the text of their cases and of their records.
    misfits : dict of MisfitTest
        Of each calibrated shot, by name: whether its record contradicts the model, fitted to it alone.
    current_error, motion_error : float
        Expected size of the model's errors, as in `RadiusFromTrace`.
    runs : int
        Shots that were computed, in `cost` seconds of processor time.
    settled, interrupted : bool
        Whether the iterations ended by themselves, or by Ctrl-C.

    Examples
    --------
    See `calibrate`.
    """

    parameters: dict[str, Interval]
    priors: dict[str, Interval]
    factors: dict[str, Interval]
    varied: tuple[str, ...]
    correlations: dict[tuple[str, str], float]
    shares: dict[str, dict[str, float]]
    disagreement: float
    held_out: tuple[HeldOut, ...]
    shots: tuple[str, ...]
    cases: tuple[str, ...]
    records: tuple[str, ...]
    misfits: dict[str, MisfitTest]
    current_error: float
    motion_error: float
    runs: int
    cost: float
    settled: bool
    interrupted: bool

    @property
    def misfit_probability(self) -> float:
        """How often records of a right model together show as much misfit or more (`combined_misfit`)."""
        return combined_misfit(self.misfits.values())

    def report(self) -> str:
        """One screen: parameters, which shots moved them, the held-out shots with their verdicts."""
        return calibration_text(self)

    def facts(self) -> dict[str, Any]:
        """Everything as plain data for JSON."""
        return calibration_facts(self)

    def save(self, path: str | Path) -> None:
        """Write the file that a case names with [calibration] file = "...": values, intervals, shots, hashes, date."""
        from fieldsolve.inference.calibration.file import write_calibration

        write_calibration(path, self)

    def __repr__(self) -> str:
        return f"ModelCalibration({', '.join(f'{name} {interval}' for name, interval in self.parameters.items())})"


@known_keywords
@one_thread()
def calibrate(cases: Sequence[Case | str | Mapping[str, Any]], records: Sequence[Record], *, parameters: Prior,
              measured: Sequence[Mapping[str, tuple[float, float]]] | None = None, hold_out: Iterable[int] = (),
              names: Sequence[str] | None = None, part: str | None = None, coil: str | None = None,
              progress: Callable[[str], None] | None = None) -> ModelCalibration:
    """Calibrate a few parameters to the records of one or more shots, and predict the shots that are held out.

    Parameters
    ----------
    cases : sequence of Case, path or mapping
        One for each shot; their banks may be charged differently.
    records : sequence of Record
        As for `radius_from_trace`.
    parameters : mapping or sequence of str
        What is calibrated, with its prior, as for `radius_from_trace`: at most six.  The shots share each one's relative deviation
        from its value in their cases.
    measured : sequence of mapping, optional
        What was measured after each shot, or read off a bridge before it, as for `radius_from_trace`.
    hold_out : iterable of int, optional
        Numbers, from 0, of the shots that are predicted and not fitted.
    names : sequence of str, optional
        Of the shots; by default those of the records' files.
    part, coil : str, optional
        As for `radius_from_trace`.
    progress : callable, optional
        Called with a text before each shot.  A KeyboardInterrupt keeps the best so far, marked.

    Returns
    -------
    ModelCalibration

    Raises
    ------
    InputError
        For sequences of unequal length, no shot to fit, and what `radius_from_trace` refuses.

    Notes
    -----
    Each record's posterior is taken for a normal distribution; their product with the prior is that of all.  The shots share the errors
    of push and flow stress: what these are is learned from all of them, and goes into the prediction.  Where the shots disagree the
    covariance is multiplied by chi squared over its degrees of freedom: R. T. Birge, Phys. Rev. 40, 207 (1932).

    Examples
    --------
    >>> from fieldsolve.cases.solve import solve_case
    >>> case = read_case({"coil": {"shape": "solenoid", "turns": 3, "bore_radius": "15.6 mm", "wire_diameter": "4 mm",
    ...                            "pitch": "4.5 mm", "material": "copper"},
    ...                   "disc": {"shape": "disc", "radius": "15 mm", "thickness": "4 mm", "material": "copper"},
    ...                   "bank": {"capacitance": "120 uF", "voltage": "4 kV", "inductance": "350 nH", "resistance": "8 mohm"},
    ...                   "run": {"end_time": "15 us", "motion": False, "heating": False, "accuracy": 3e-2}})
    >>> shot = solve_case(case.with_values({"bank.resistance": "9 mohm"}))
    >>> record = Record(times=shot.times, values={"current": shot.series("current", "coil")})
    >>> found = calibrate([case], [record], parameters={"bank.resistance": 0.1})
    >>> found.parameters["bank.resistance"].low < 9e-3 < found.parameters["bank.resistance"].high
    True
    """
    shots = _shots(cases, records, measured, names)
    held = set(hold_out)
    if not held <= set(range(len(shots))) or len(held) == len(shots):
        raise InputError(f"hold_out = {sorted(held)}: give numbers from 0 to {len(shots) - 1}, and leave at least one shot to fit")
    pairs = [(_model(shot, parameters, part, coil, progress), shot) for shot in shots]
    return calibrate_models([pair for number, pair in enumerate(pairs) if number not in held],
                            [pair for number, pair in enumerate(pairs) if number in held])


def calibrate_models(fitted: Sequence[tuple[ShotModel, ShotRecord]], held: Sequence[tuple[ShotModel, ShotRecord]]) -> ModelCalibration:
    """The calibration of models to shots, and the prediction of those that are held out."""
    models, shots = ([pair[side] for pair in fitted] for side in (0, 1))
    fits, joint, settled, interrupted = _iterate(models, shots)
    predictions = () if interrupted else tuple(
        predict_held_out(model, shot.name, shot.record, measurements(model.part, shot.measured), joint) for model, shot in held)
    return _result(models, shots, fits, joint, predictions, settled, interrupted)


def _shots(cases, records, measured, names) -> list[ShotRecord]:
    measured = [{}] * len(records) if measured is None else measured
    names = distinct([record.path.name for record in records] if names is None else names)
    if not len(cases) == len(records) == len(measured) == len(names) or not cases:
        raise InputError(f"calibrate: {len(cases)} cases, {len(records)} records, {len(measured)} measured, {len(names)} names: give one "
                         "of each for every shot")
    found = [ShotRecord(name, read_case(case), record, values) for name, case, record, values in zip(
        names, cases, records, measured, strict=True)]
    for shot in found:
        check_shot_case(shot.case)
    return found


def distinct(names: Iterable[str]) -> list[str]:
    """Names with a number behind those that were there before.

    >>> distinct(["a.csv", "b.csv", "a.csv"])
    ['a.csv', 'b.csv', 'a.csv (2)']
    """
    found: list[str] = []
    for name in names:
        number = 1 + sum(other == name or other.startswith(f"{name} (") for other in found)
        found.append(name if number == 1 else f"{name} ({number})")
    return found


def _model(shot: ShotRecord, parameters: Prior, part: str | None, coil: str | None, progress) -> ShotModel:
    if not 1 <= len(parameters) <= MOST_PARAMETERS:
        raise InputError(f"parameters: {len(parameters)}; give 1 to {MOST_PARAMETERS}, such as {{'bank.resistance': 0.1}}")
    report = progress or (lambda text: None)
    return radius_model(shot.case, shot.record, part, parameters, coil, lambda text: report(f"{shot.name}: {text}"), tuple(shot.measured))


def _iterate(models: list[ShotModel], shots: list[ShotRecord]) -> tuple[list[ShotFit], Joint, bool, bool]:
    """Fits of all shots about common parameters, these parameters, whether they settled and whether Ctrl-C came."""
    fits = [_first_fit(model, shot) for model, shot in zip(models, shots, strict=True)]
    count = len(models[0].parameters)
    gains = np.array([parameter.is_gain for parameter in models[0].parameters])
    joint, settled = join(fits, count), False
    try:
        for iteration in range(1, MOST_ITERATIONS + 1):
            step = np.where(gains, 0.0, joint.nearest - fits[0].surrogate.x)
            if joint.distance(step) < SETTLED:
                settled = True
                break
            x = fits[0].surrogate.x + step * min(1.0, TRUST_RADIUS / np.abs(step).max())
            runs = [model.coarse(x, f"iteration {iteration}") for model in models]
            fits = [weigh_about(model, fit, fit.surrogate.moved(x, run), iteration)
                    for model, fit, run in zip(models, fits, runs, strict=True)]
            joint = join(fits, count)
        fits = [finish(model, fit)[0] for model, fit in zip(models, fits, strict=True)]
    except KeyboardInterrupt:
        return fits, joint, settled, True
    return fits, join(fits, count), settled, False


def _first_fit(model: ShotModel, shot: ShotRecord) -> ShotFit:
    first = build_surrogate(model, np.zeros(len(model.parameters)))
    held = not np.ptp(first.run.series["radius"]) > 0
    samples = sampled_current(shot.record, first.run)
    observation = observe(model, first, samples, stress_deviation(model, first, held), measurements(model.part, shot.measured),
                          sampled_others(shot.record, samples, first.run))
    return weigh(observation, first, np.zeros(observation.size), 0, False)


def _result(models: list[ShotModel], shots: list[ShotRecord], fits: list[ShotFit], joint: Joint, held_out: tuple[HeldOut, ...],
            settled: bool, interrupted: bool) -> ModelCalibration:
    parameters, deviations = models[0].parameters, np.sqrt(np.diag(joint.parameter_covariance))
    found = list(zip(parameters, joint.parameters, deviations, strict=True))
    costs = [run.cost for model in models for run in model.known.values()] + [fit.surrogate.run.cost for fit in fits if not interrupted]
    return ModelCalibration(
        parameters={p.name: p.interval(float(x), float(d)) for p, x, d in found},
        priors={p.name: p.interval() for p in parameters},
        factors={p.name: (replace(p, value=1.0, unit="") if p.logarithmic else p).interval(float(x), float(d)) for p, x, d in found},
        varied=tuple(p.name for k, p in enumerate(parameters) if len({model.parameters[k].value for model in models}) > 1),
        correlations=_correlations(parameters, joint),
        shares={p.name: {shot.name: float(share) for shot, share in zip(shots, joint.shares[:, k], strict=True)}
                for k, p in enumerate(parameters)},
        disagreement=joint.disagreement, held_out=held_out, shots=tuple(shot.name for shot in shots),
        cases=tuple(sha256_of(shot.case.text) for shot in shots), records=tuple(shot.record.sha256 for shot in shots),
        misfits={shot.name: fit.misfit() for shot, fit in zip(shots, fits, strict=True)},
        current_error=joint.current_error, motion_error=joint.motion_error, runs=len(costs) + sum(each.runs for each in held_out),
        cost=sum(costs) + sum(each.cost for each in held_out), settled=settled, interrupted=interrupted)


def _correlations(parameters: tuple[Parameter, ...], joint: Joint) -> dict[tuple[str, str], float]:
    deviations = np.sqrt(np.diag(joint.parameter_covariance))
    return {(parameters[i].name, parameters[j].name): float(joint.covariance[i, j] / (deviations[i] * deviations[j]))
            for i in range(len(parameters)) for j in range(i)}


def sha256_of(text: str) -> str:
    """Hash of a text."""
    import hashlib

    return hashlib.sha256(text.encode()).hexdigest()
