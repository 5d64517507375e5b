"""Draws of a Monte Carlo to bands with their sensitivity indices and remarks."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.propagation.full_shots import scatter_moments, scatter_of
from fieldsolve.propagation.indices import Indices, QuadraticResponse, columns_of, fit_quadratic, sample_size, sobol_indices
from fieldsolve.propagation.inputs import InputGroup, UncertainCase, unit_of_key
from fieldsolve.propagation.monte_carlo import Propagated, coverage_interval, linear_interval
from fieldsolve.propagation.outputs import Output, OutputVector
from fieldsolve.propagation.result import Band, Bands, TraceBand, UncertainInput
from fieldsolve.propagation.surface import Surface
from fieldsolve.shot.display.summary import summary_title
from fieldsolve.shot.history import UNITS
from fieldsolve.shot.problem import CaseText

FIRST_STREAM, SECOND_STREAM = 3, 4           # numbers of the streams of draws that the indices are computed from
NUMERICAL_STREAM = 5
STEADY = 1e-9                                # of a value: a smaller standard uncertainty is rounding
POOR_RESPONSE = 0.1


@dataclass(frozen=True, eq=False)
class Sources:
    """What the bands are of.

    shot  about which they lie;  held  whether the inputs were varied with the metal held still
    """

    uncertain: UncertainCase
    vector: OutputVector
    shot: Any
    held: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class Computed:
    """What was computed for the bands.

    residuals   (n, m) of the shots at random about the surface
    numerical   (m,) standard uncertainties of the shot's numerical error, None where they are not known
    nominal     (m,) of a shot that is not the one the surface goes through, None where it is that
    controlled  (m,) whether the reduced model has an output
    varies      (m,) whether every input was varied for an output
    """

    surface: Surface
    propagated: Propagated
    residuals: np.ndarray
    numerical: np.ndarray | None
    nominal: np.ndarray | None
    controlled: np.ndarray
    varies: np.ndarray
    shots: int
    seed: int


@dataclass(frozen=True, eq=False)
class _Columns:
    """Results by column of the outputs: (m,) each."""

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    median: np.ndarray
    uncertainty: np.ndarray
    linear_low: np.ndarray
    linear_high: np.ndarray
    scale: np.ndarray
    numerical: np.ndarray


def assemble_bands(sources: Sources, computed: Computed, remarks: list[str]) -> Bands:
    """The bands of all quantities that have one."""
    uncertain, vector = sources.uncertain, sources.vector
    columns = _columns(sources, computed)
    indices, response = _indices(uncertain, computed, len(vector.outputs))
    kept = [k for k, output in enumerate(vector.outputs) if computed.varies[k] and _has_band(output, columns, k, sources)]
    rows = tuple(_row(k, sources, computed, columns, indices, response) for k in kept)
    traces = tuple(_trace(number, vector, columns) for number in range(len(vector.traces))
                   if computed.varies[vector.trace_columns(number)].all())
    return Bands(rows=rows, traces=tuple(trace for trace in traces if np.isfinite(trace.low).all()),
                 inputs=tuple(entry for group in uncertain.groups for entry in _inputs_of(group)),
                 draws=len(computed.propagated.inputs), shots=computed.shots, checks=len(computed.residuals), seed=computed.seed,
                 held=sources.held, title=summary_title(sources.shot), case=CaseText(uncertain.case.name, uncertain.case.text),
                 remarks=tuple(dict.fromkeys([*remarks, *_remarks(rows, sources, computed)])))


def _columns(sources: Sources, computed: Computed) -> _Columns:
    """Results of all columns, moved to the shot about which the bands lie, numbers in proportion."""
    surface, outputs = computed.surface, computed.propagated.outputs
    base = surface(surface.middle[None, :])[0]
    value = base if computed.nominal is None else computed.nominal
    numbers, scale = np.arange(len(base)) < len(sources.vector.outputs), np.ones(len(base))
    np.divide(value, base, out=scale, where=numbers & (base != 0))
    numerical = np.zeros(len(base)) if computed.numerical is None else computed.numerical / np.abs(scale)
    low, high = coverage_interval(outputs + numerical * _normal(computed.seed, len(outputs)))
    gradient = surface.gradient(sources.uncertain.uncertainties)
    mean, variance = scatter_moments(computed.residuals)
    linear_low, linear_high, _ = linear_interval(base + mean, gradient, sources.uncertain.covariance, variance + numerical**2)
    moved = [value + scale * (column - base) for column in (low, high, np.median(outputs, axis=0), linear_low, linear_high)]
    return _Columns(value, moved[0], moved[1], moved[2], np.abs(scale) * outputs.std(axis=0, ddof=1), moved[3], moved[4], scale,
                    np.abs(scale) * numerical)


def _normal(seed: int, count: int) -> np.ndarray:
    """Draws (count, 1) of what the numerical error is multiplied by."""
    return np.random.default_rng(np.random.SeedSequence((seed, NUMERICAL_STREAM))).standard_normal((count, 1))


def _indices(uncertain: UncertainCase, computed: Computed, count: int) -> tuple[Indices, QuadraticResponse]:
    """Indices of a quadratic response that is fitted to the draws, without the scatter of shots about their surface."""
    inputs, batches = computed.propagated.inputs, computed.propagated.batches
    scatter = [scatter_of(computed.residuals[:, :count], len(inputs) // batches, computed.seed, batch) for batch in range(batches)]
    response = fit_quadratic(inputs, np.nan_to_num(computed.propagated.outputs[:, :count] - np.concatenate(scatter)))
    size = sample_size(len(uncertain.keys))
    samples = (uncertain.draw(size, computed.seed, stream) for stream in (FIRST_STREAM, SECOND_STREAM))
    return sobol_indices(response, *samples, columns_of([len(group.keys) for group in uncertain.groups])), response


def _has_band(output: Output, columns: _Columns, k: int, sources: Sources) -> bool:
    """Whether an output has a band: every run has it, something moves it, and the shots are within their model when it is read."""
    known = np.isfinite([columns.low[k], columns.high[k], columns.value[k]]).all()
    moves = columns.uncertainty[k] > STEADY * abs(columns.value[k])
    return bool(known and moves) and not (output.of_shape and sources.held) and not _is_beyond(output, sources)


def _is_beyond(output: Output, sources: Sources) -> bool:
    end = sources.shot.validity_end
    return end is not None and output.time is not None and output.time(sources.shot) > end


def _row(k: int, sources: Sources, computed: Computed, columns: _Columns, indices: Indices, response: QuadraticResponse) -> Band:
    output, names = sources.vector.outputs[k], [group.name for group in sources.uncertain.groups]
    residuals, scale = computed.residuals[:, k], abs(columns.scale[k])
    return Band(
        name=output.name, unit=output.unit, value=float(columns.value[k]), time=None if output.time is None else output.time(sources.shot),
        low=_ordered(columns, k)[0], high=_ordered(columns, k)[1], median=float(columns.median[k]),
        standard_uncertainty=float(columns.uncertainty[k]), tolerance=float(scale * computed.propagated.tolerance[k]),
        settled=bool(computed.propagated.settled[k]), linear_low=min(columns.linear_low[k], columns.linear_high[k]).item(),
        linear_high=max(columns.linear_low[k], columns.linear_high[k]).item(),
        numerical_uncertainty=None if computed.numerical is None else float(columns.numerical[k]),
        residual=float(scale * np.sqrt(np.mean(residuals**2))) if len(residuals) else None,
        first_order=_shares(names, indices.first_order[:, k]), total=_shares(names, indices.total[:, k]),
        unexplained=float(response.unexplained[k]), method=_method(k, computed))


def _ordered(columns: _Columns, k: int) -> tuple[float, float]:
    return float(min(columns.low[k], columns.high[k])), float(max(columns.low[k], columns.high[k]))


def _shares(names: list[str], shares: np.ndarray) -> dict[str, float]:
    """Indices by name; estimates below 0 are 0."""
    return {name: max(float(share), 0.0) for name, share in zip(names, shares, strict=True)}


def _method(k: int, computed: Computed) -> str:
    if computed.controlled[k]:
        return "reduced model, corrected by full shots"
    return "surface through full shots"


def _trace(number: int, vector: OutputVector, columns: _Columns) -> TraceBand:
    (quantity, place), part = vector.traces[number], vector.trace_columns(number)
    return TraceBand(quantity=quantity, place=place, unit=UNITS.get(quantity, ""), times=vector.times, value=columns.value[part],
                     low=columns.low[part], high=columns.high[part], median=columns.median[part])


def _inputs_of(group: InputGroup) -> Iterator[UncertainInput]:
    for key, value, uncertainty in zip(group.keys, group.values, group.uncertainties, strict=True):
        yield UncertainInput(key=key, unit=unit_of_key(key), value=float(value), standard_uncertainty=float(uncertainty),
                             distribution="rectangular" if group.rectangular else "normal",
                             correlated_with=tuple(other for other in group.keys if other != key))


def _remarks(rows: tuple[Band, ...], sources: Sources, computed: Computed) -> Iterator[str]:
    shot = sources.shot
    if not computed.propagated.settled[:len(sources.vector.outputs)].all():
        yield f"{sum(not row.settled for row in rows)} of {len(rows)} quantities are not settled to their digits: draw more"
    if not len(computed.residuals):
        yield "no shots at random were computed: nothing checks the bands against the full model"
    if sources.held and shot.problem.motion is not False:
        yield "the inputs were varied with the metal held still: shapes have no band"
    if computed.numerical is None:
        yield "the numerical error of the shot is not known and not in the bands: solve it with error_bounds=True"
    for coil in shot.coils:
        if shot.burst(coil) and not any(row.name == f"burst time of {coil}" for row in rows):
            yield f"{coil} bursts in the shot, but not in every shot with changed inputs: its time has no band"
    if shot.validity_end is not None:
        yield f"the shot is beyond the model from {1e6 * shot.validity_end:.1f} us on: what comes later has no band"
    poor = [row.name for row in rows if row.unexplained > POOR_RESPONSE]
    if poor:
        yield f"the indices leave more than {100 * POOR_RESPONSE:.0f} % of the variance of {', '.join(poor)}"
