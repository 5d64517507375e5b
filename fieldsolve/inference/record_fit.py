"""A model fitted to one record: its shots as a function of what is uncertain, and the iterations from the prior to the end."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.cases.case_file import Case
from fieldsolve.errors import InputError
from fieldsolve.inference.fit import ShotFit, finish, iterate, observe, stress_slopes
from fieldsolve.inference.observation import Measurement
from fieldsolve.inference.parameters import FLOW_STRESS, Parameter, Prior, default_prior, read_parameters
from fieldsolve.inference.runs import ShotModel, check_part
from fieldsolve.inference.samples import field_places, gain_uncertainty, sampled_current, sampled_others
from fieldsolve.inference.surrogate import Surrogate, build_surrogate
from fieldsolve.records.record import Record

MOST_PARAMETERS = 8
STRESS_STEP = 0.15              # of the logarithm of a flow stress that is no parameter, for its sensitivity


def radius_model(case: Case, record: Record, part: str | None = None, prior: Prior | None = None,
                 coil: str | None = None, progress: Callable[[str], None] | None = None, scalars: tuple[str, ...] = ()) -> ShotModel:
    """The shots of a case as a function of what the prior names."""
    coils = [each.name for each in case.parts if each.is_coil]
    part = check_part(case, part, [each.name for each in case.parts if not each.is_coil])
    parameters = read_parameters(case, default_prior(case, part) if prior is None else prior, gain_uncertainty(record))
    if not 1 <= len(parameters) <= MOST_PARAMETERS:
        raise InputError(f"prior: {len(parameters)} parameters; give 1 to {MOST_PARAMETERS}, such as {{'bank.resistance': 0.1}}")
    return ShotModel(case=case, parameters=parameters, part=part, coil=coil or coils[0], scalars=scalars, loops=field_places(record),
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
    fit: ShotFit
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
    samples = sampled_current(record, first.run)
    observation = observe(model, first, samples, stress_deviation(model, first, held), measured, sampled_others(record, samples, first.run))
    fit, interrupted = iterate(model, first, observation)
    full = None
    if not interrupted:
        try:
            fit, full = finish(model, fit)
        except KeyboardInterrupt:
            interrupted = True
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


def stress_deviation(model: ShotModel, surrogate: Surrogate, held: bool) -> Mapping[str, np.ndarray]:
    """Derivatives (n,) of all series by the logarithm of the part's flow stress; one more shot where that is no parameter."""
    known = stress_slopes(model, surrogate)
    if known is not None:
        return known
    if held:
        return {series: np.zeros(len(surrogate.run.times)) for series in surrogate.run.series}
    name = FLOW_STRESS + model.part
    extended = replace(model, parameters=(*model.parameters, Parameter(name, 1.0, STRESS_STEP)), known={})
    run = extended.coarse(np.append(surrogate.x, 1.0), f"sensitivity to {name}")
    return {series: (values - surrogate.run.series[series]) / STRESS_STEP for series, values in run.series.items()}
