"""What a person must know beside the numbers of a ring-down fit: what cannot be told apart, and what does not fit the model."""
from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldsolve.estimate import QUANTILE
from fieldsolve.records.ringdown.constants import Constants, Given
from fieldsolve.records.ringdown.half_waves import HalfWaves
from fieldsolve.records.ringdown.least_squares import Solution

HARDLY_APART = 0.95               # correlation
LONG_CORRELATION = 0.05           # of a half-wave
WORDS = {"inductance": "L", "resistance": "R", "arc_voltage": "arc voltage", "arc_ratio": "arc over initial voltage",
         "initial_voltage": "initial voltage"}


def fit_warnings(constants: Constants, given: Given, half_waves: Sequence[HalfWaves], solution: Solution, length: int) -> tuple[str, ...]:
    """The warnings of a fit, one sentence each."""
    return (*_undetermined(constants), *_not_apart(constants), *_scale(given), *_model(half_waves),
            *_correlated(solution, length))


def _undetermined(constants: Constants) -> list[str]:
    names = [WORDS.get(name, name) for name, interval in constants.intervals.items() if not interval.determined]
    remedy = "fit records at two voltages together, or record more half-waves"
    return [f"the record does not determine {' and '.join(names)}: {remedy}"] if names else []


def _not_apart(constants: Constants) -> list[str]:
    names = list(constants.intervals)
    spread = np.sqrt(np.maximum(constants.covariance.diagonal(), 0.0))
    found = []
    for one, other in (("gain", "capacitance"), ("inductance", "capacitance"), ("initial_voltage", "capacitance"),
                       ("resistance", "arc_voltage")):
        if one not in names or other not in names:
            continue
        k, m = names.index(one), names.index(other)
        correlation = constants.covariance[k, m] / (spread[k] * spread[m]) if spread[k] * spread[m] else 0.0
        if abs(correlation) > HARDLY_APART:
            found.append(f"{WORDS.get(one, one)} and {WORDS.get(other, other)} cannot be told apart (correlation {correlation:.3f})")
    return found


def _scale(given: Given) -> list[str]:
    found = [] if given.capacitance_uncertainty else ["the capacitance is taken as exact: L, R and volts per ampere go with 1/C: give "
                                                      "(value, standard uncertainty)"]
    if given.voltage is None and given.scale_uncertainty == 0:
        found.append("the record's scale is taken as exact: the initial voltage and the arc voltage go with it")
    elif given.voltage is None and np.isinf(given.scale_uncertainty):
        found.append("neither the voltage nor the record's scale is known: only the ratio of arc to initial voltage is given")
    return found


def _model(half_waves: Sequence[HalfWaves]) -> list[str]:
    return [f"a constant R and a constant arc voltage do not serve: {test.pattern} (p = {test.probability:.1g}); the intervals hold for "
            "the constant loop that fits best" for test in half_waves if not test.constant]


def _correlated(solution: Solution, length: int) -> list[str]:
    waveform, trace = solution.waveforms[0], solution.traces[0]
    seconds = length * float(np.median(np.diff(trace.times)))
    if seconds <= LONG_CORRELATION * np.pi / waveform.omega:
        return []
    return [f"the residual is correlated over {1e6 * seconds:.2g} us, which is no noise of an instrument: hum, or a model that does not "
            f"fit; the intervals are widened for it (they are {2 * QUANTILE:.2g} standard deviations wide)"]
