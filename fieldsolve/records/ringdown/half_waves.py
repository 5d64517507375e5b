"""A test by half-waves: whether one resistance and one arc voltage serve from the first half-wave to the last."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.records.ringdown.least_squares import Solution
from fieldsolve.records.ringdown.noise import autocorrelation
from fieldsolve.records.ringdown.trace import CurrentTrace
from fieldsolve.records.ringdown.waveform import Waveform

SIGNIFICANT = 0.01                # probability below which the pattern is no chance
TREND = 3.0                       # standard deviations of a slope
LEAST_NOISE = 1e-7                # of the first amplitude: a computed trace has no noise, and its fit that of rounding
FEWEST_SAMPLES = 8                # of a half-wave
LOOP_PARAMETERS = 5               # amplitude, drop, damping, frequency, start: fitted to the same samples


@dataclass(frozen=True, eq=False)
class HalfWaves:
    """Amplitudes of the half-waves of one record, each fitted alone, beside those of the constant loop.

    numbers                   from 0
    amplitudes, deviations    ampere, and standard deviations
    expected                  ampere, of the constant loop
    late                      seconds by which each lags behind it; `late_deviations`
    resistances               ohm from each half-wave to the next, with the fitted arc taken off; `resistance_deviations`
    probability               of so large a pattern by chance, None where there are too few half-waves
    pattern                   what the pattern is, in words; empty where there is none
    """

    numbers: np.ndarray
    amplitudes: np.ndarray
    deviations: np.ndarray
    expected: np.ndarray
    late: np.ndarray
    late_deviations: np.ndarray
    resistances: np.ndarray
    resistance_deviations: np.ndarray
    probability: float | None
    pattern: str

    @property
    def constant(self) -> bool:
        """Whether a constant loop serves, as far as the record tells."""
        return self.probability is None or self.probability >= SIGNIFICANT


def half_waves_of(solution: Solution, number: int, inductance: float, length: int) -> HalfWaves:
    """The test of record `number`; `inductance` in henry, `length` samples over which the noise is correlated."""
    waveform, trace, residual = solution.waveforms[number], solution.traces[number], -solution.residual[solution.parts()[number]]
    numbers, rows = _projections(waveform, trace, residual)
    amplitude_off, amplitude_share, late, late_share = np.array(rows).reshape(-1, 4).T
    rest = float(residual @ residual - amplitude_off**2 @ amplitude_share - late**2 @ late_share)          # what no half-wave explains
    noise = max(math.sqrt(max(rest, 0.0) / len(residual) * _inflation(residual, length)), LEAST_NOISE * abs(waveform.first))
    expected = np.abs(waveform.amplitudes(int(numbers.max(initial=-1)) + 1)[numbers])
    deviations, late_deviations = noise / np.sqrt(amplitude_share), noise / np.sqrt(late_share)
    amplitudes = expected + amplitude_off
    resistances, of_resistances = _resistances(waveform, inductance, numbers, amplitudes, deviations)
    probability = _probability(np.concatenate([amplitude_off / deviations, late / late_deviations]))
    pattern = ""
    if probability is not None and probability < SIGNIFICANT:
        pattern = _pattern(numbers[:-1], resistances, of_resistances, numbers, late, late_deviations)
    return HalfWaves(numbers, amplitudes, deviations, expected, late, late_deviations, resistances, of_resistances, probability, pattern)


def with_negative_arc(test: HalfWaves, arc: float, deviation: float) -> HalfWaves:
    """The test where the arc voltage that fits best is below zero by more than chance: the damping falls with the current."""
    from scipy.stats import norm

    if not deviation or arc > -TREND * deviation:
        return test
    pattern = "R falls from half-wave to half-wave, as no arc makes it, or the record has a saturation"
    return replace(test, probability=float(norm.cdf(arc / deviation)), pattern=pattern)


def _inflation(residual: np.ndarray, length: int) -> float:
    """Variance of means over that of white noise."""
    if not length:
        return 1.0
    return max(1 + 2 * float(autocorrelation(residual, length)[1:].sum()), 1.0)


def _projections(waveform: Waveform, trace: CurrentTrace, residual: np.ndarray) -> tuple[np.ndarray, list[tuple[float, ...]]]:
    """Numbers of the half-waves, and for each what the residual holds of its amplitude (A) and of its lag (s), with sums of squares."""
    half, polarity = np.pi / waveform.omega, np.sign(waveform.first)
    which = np.floor((trace.times - waveform.start) / half).astype(int)
    last = int(min(which.max(initial=-1) + 1, waveform.half_waves or which.max(initial=-1) + 1))
    amplitudes, numbers, rows = np.abs(waveform.amplitudes(last)), [], []
    for k in range(last):
        samples = which == k
        if np.count_nonzero(samples) < FEWEST_SAMPLES or not amplitudes[k]:
            continue
        within = trace.times[samples] - waveform.start - k * half
        fade, sign = np.exp(-waveform.alpha * within), polarity * (1 - 2 * (k % 2))
        shape = sign * fade * np.sin(waveform.omega * within)
        slope = -sign * amplitudes[k] * fade * (waveform.omega * np.cos(waveform.omega * within) - waveform.alpha * np.sin(
            waveform.omega * within))
        left = residual[samples]
        numbers.append(k)
        rows.append((left @ shape / (shape @ shape), shape @ shape, left @ slope / (slope @ slope), slope @ slope))
    return np.array(numbers, dtype=int), rows


def _resistances(waveform: Waveform, inductance: float, numbers: np.ndarray, amplitudes: np.ndarray,
                 deviations: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """R from each half-wave to the next:  a_(k+1) + b = a_k exp(-pi R / (2 L omega));  a drop below 0 is no arc and left out."""
    drop = max(waveform.drop * np.sign(waveform.first), 0.0)
    factor = 2 * inductance * waveform.omega / np.pi
    here, there = amplitudes[:-1], np.maximum(amplitudes[1:], 0.0) + drop
    steps = np.maximum(np.diff(numbers), 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        values = factor * np.log(here / there) / steps
        spread = factor * np.hypot(deviations[:-1] / here, deviations[1:] / there) / steps
    return values, spread


def _probability(scores: np.ndarray) -> float | None:
    """Of the sum of squares of the scores under chance."""
    from scipy.stats import chi2

    freedom = len(scores) - LOOP_PARAMETERS
    return float(chi2.sf(float(scores @ scores), freedom)) if freedom > 0 else None


def _pattern(steps: np.ndarray, resistances: np.ndarray, spreads: np.ndarray, numbers: np.ndarray, late: np.ndarray,
             late_spreads: np.ndarray) -> str:
    """In words what changes from half-wave to half-wave."""
    found = []
    if trend := _trend(steps, resistances, spreads):
        found.append(f"R {'rises' if trend > 0 else 'falls'} from half-wave to half-wave")
    if trend := _trend(numbers[1:] if len(numbers) > 3 else numbers, np.gradient(late)[1:] if len(late) > 3 else late,
                       late_spreads[1:] if len(numbers) > 3 else late_spreads):
        found.append(f"the half-waves grow {'longer' if trend > 0 else 'shorter'}, so that L {'rises' if trend > 0 else 'falls'}")
    return " and ".join(found) or "the half-waves differ from those of a constant loop without a trend"


def _trend(x: np.ndarray, y: np.ndarray, spread: np.ndarray) -> float:
    """Slope of a straight line in standard deviations, 0 where it is within TREND of them."""
    there = np.isfinite(y) & np.isfinite(spread) & (spread > 0)
    if np.count_nonzero(there) < 2:
        return 0.0
    weight, x, y = 1 / spread[there] ** 2, x[there].astype(float), y[there]
    centred = x - (weight @ x) / weight.sum()
    information = float(weight @ centred**2)
    slope = float(weight @ (centred * y)) / information if information else 0.0
    return slope * math.sqrt(information) if abs(slope) * math.sqrt(information) > TREND else 0.0
