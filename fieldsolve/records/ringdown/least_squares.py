"""Least squares of the ringing waveform over one record, or over several of one loop at different charges."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.errors import SolveError
from fieldsolve.records.ringdown.start import starting_waveform
from fieldsolve.records.ringdown.trace import CurrentTrace
from fieldsolve.records.ringdown.waveform import Waveform

SHARED, SINGLE = 4, 3             # parameters of the loop and instrument, and of each record
TOLERANCE = 1e-10
DAMPING_SHARES = (1.0, 0.5, 0.0)  # of the damping that the resistance takes at the start; the arc takes the rest
WEAK = 0.2                        # last amplitude over the first, below which the arc may have gone out within the record
NEARLY = 10.0                     # twice the log likelihood, by which two fits are not told apart


@dataclass(frozen=True, eq=False)
class Solution:
    """A fit: a waveform a record, and the residual with its derivatives.

    vector     log(omega / omega_0), alpha / omega_0, drop / I_0, droop / omega_0; then a record: omega_0 start, first / I_0, offset / I_0
    residual   fitted less measured in ampere, all records in turn
    jacobian   its derivatives by `vector`
    weights    1 over the noise of each sample's record, 1/A
    """

    traces: tuple[CurrentTrace, ...]
    vector: np.ndarray
    half_waves: tuple[int | None, ...]
    omega: float
    current: float
    residual: np.ndarray
    jacobian: np.ndarray
    weights: np.ndarray

    @property
    def waveforms(self) -> list[Waveform]:
        """The waveform of each record."""
        return _waveforms(self.vector, self.half_waves, self.omega, self.current)

    @property
    def cost(self) -> float:
        """Weighted sum of squares."""
        return float(np.sum((self.weights * self.residual) ** 2))

    def parts(self) -> list[slice]:
        """Where the samples of each record stand in the residual."""
        ends = np.cumsum([len(trace.times) for trace in self.traces])
        return [slice(end - len(trace.times), end) for end, trace in zip(ends, self.traces, strict=True)]


def fit_waveform(traces: Sequence[CurrentTrace]) -> Solution:
    """The waveforms that fit the traces best; frequency, damping, drop and droop are common to all.

    Raises InputError where nothing rings, SolveError where no fit is found.
    """
    starts = [starting_waveform(trace.times, trace.values, trace.name) for trace in traces]
    omega, current = starts[0].omega, abs(starts[0].first)
    solution = min((_solve(traces, _vector(starts, omega, current, damping), (None,) * len(traces), omega, current)
                    for damping in DAMPING_SHARES), key=lambda found: found.cost)
    for number in range(len(traces)):
        solution = _best_start(_best_count(solution, number), number)
    return _weighted(solution)


def without_first(solution: Solution, count: int) -> list[CurrentTrace]:
    """The traces of a fit from the end of half-wave number `count` on."""
    cut = []
    for trace, waveform in zip(solution.traces, solution.waveforms, strict=True):
        later = trace.times > waveform.start + count * np.pi / waveform.omega
        cut.append(replace(trace, times=trace.times[later], values=trace.values[later]))
    return cut


def _vector(starts: Sequence[Waveform], omega: float, current: float, damping: float) -> np.ndarray:
    drop = (1 - damping) * np.pi * starts[0].alpha / omega * np.sign(starts[0].first)
    single = [(omega * start.start, start.first / current, start.offset / current) for start in starts]
    return np.array([0.0, damping * starts[0].alpha / omega, drop, 0.0, *np.ravel(single)])


def _waveforms(vector: np.ndarray, half_waves: Sequence[int | None], omega: float, current: float) -> list[Waveform]:
    """Each record's waveform; a drop and a first amplitude that differ in sign in a second record stand for its other polarity."""
    log_omega, alpha, drop, droop = vector[:SHARED]
    first_sign = np.sign(vector[SHARED + 1]) or 1.0
    found = []
    for count, (start, first, offset) in zip(half_waves, vector[SHARED:].reshape(-1, SINGLE), strict=True):
        sign = first_sign * (np.sign(first) or 1.0)
        values = (omega * np.exp(log_omega), alpha * omega, first * current, sign * drop * current, start / omega, offset * current,
                  droop * omega)
        found.append(Waveform(*map(float, values), count))
    return found


def _solve(traces: Sequence[CurrentTrace], vector: np.ndarray, half_waves: tuple[int | None, ...], omega: float, current: float,
           weights: np.ndarray | None = None) -> Solution:
    from scipy.optimize import least_squares

    values = np.concatenate([trace.values for trace in traces])
    weights = np.full(len(values), 1 / current) if weights is None else weights

    def residual(vector: np.ndarray) -> np.ndarray:
        waveforms = _waveforms(vector, half_waves, omega, current)
        fitted = [waveform.at(trace.times) for waveform, trace in zip(waveforms, traces, strict=True)]
        return weights * (np.concatenate(fitted) - values)

    found = least_squares(residual, vector, x_scale=0.01, xtol=TOLERANCE, ftol=TOLERANCE)
    if not np.isfinite(found.x).all():
        raise SolveError(f"{traces[0].name}: the fit of the ringing current did not converge")
    return Solution(tuple(traces), found.x, half_waves, omega, current, found.fun / weights, found.jac / weights[:, None], weights)


def _again(solution: Solution, vector: np.ndarray | None = None, half_waves: tuple[int | None, ...] | None = None,
           weights: np.ndarray | None = None) -> Solution:
    return _solve(solution.traces, solution.vector if vector is None else vector,
                  solution.half_waves if half_waves is None else half_waves, solution.omega, solution.current,
                  solution.weights if weights is None else weights)


def _best_count(solution: Solution, number: int) -> Solution:
    """The same with the number of half-waves before the arc goes out that fits best, or all that the record shows."""
    waveform, trace = solution.waveforms[number], solution.traces[number]
    window = max(int(np.ceil((trace.times[-1] - waveform.start) * waveform.omega / np.pi)), 1)
    amplitudes = np.abs(waveform.amplitudes(window + 1))
    natural = int(np.count_nonzero(amplitudes))
    counts = {window} if amplitudes[window - 1] > WEAK * amplitudes[0] else {natural - 1, natural, natural + 1, window}
    found = [_again(solution, half_waves=_replaced(solution.half_waves, number, count)) for count in sorted(counts) if 1 <= count <= window]
    return min(found, key=lambda candidate: candidate.cost)


def _replaced(values: tuple, number: int, value) -> tuple:
    return (*values[:number], value, *values[number + 1:])


def _best_start(solution: Solution, number: int) -> Solution:
    """The same with the first half-wave that the record shows: one before it, which no sample shows, is left out."""
    waveform = solution.waveforms[number]
    half = np.pi / waveform.omega
    if waveform.start > solution.traces[number].times[0] - 0.5 * half or solution.half_waves[number] < 2:
        return solution
    vector, at = solution.vector.copy(), SHARED + SINGLE * number
    vector[at] += solution.omega * half
    vector[at + 1] = -float(np.append(waveform.amplitudes(2), 0.0)[1]) / solution.current
    if number == 0:
        vector[2] = -vector[2]
    later = _again(solution, vector, _replaced(solution.half_waves, number, solution.half_waves[number] - 1))
    level = solution.cost / max(len(solution.residual) - len(vector), 1)
    return _best_start(later, number) if later.cost < solution.cost + NEARLY * level else solution


def _weighted(solution: Solution) -> Solution:
    """The same with each record weighted by its own noise, where there are several."""
    if len(solution.traces) == 1:
        return solution
    weights = solution.weights.copy()
    for part in solution.parts():
        weights[part] = 1 / max(float(np.std(solution.residual[part])), 1e-9 * solution.current)
    return _again(solution, weights=weights)
