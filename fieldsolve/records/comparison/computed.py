"""The computed side of a comparison: traces and quantities of shots, their error bounds, and how they move with the inputs."""
from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.records.comparison.helix import ModelTerm
from fieldsolve.records.comparison.sensitivities import Sensitivities
from fieldsolve.records.comparison.trace import Reading, Trace, read_trace
from fieldsolve.shot.result.estimates import estimate

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot

IN_THE_RECORD = " in the record"
INSTANTS = 4001            # of a computed trace
Evaluate = Callable[[Any], float]


class ReadingMissing(Exception):
    """A shot has no such peak or crossing."""


def computed_trace(shot: Shot, coil: str, end: float) -> Trace:
    """Current of a coil from 0 to `end` in seconds, by the cubic through values and slopes."""
    from scipy.interpolate import CubicHermiteSpline

    times = np.linspace(0.0, min(end, float(shot.times[-1])), INSTANTS)
    cubic = CubicHermiteSpline(shot.times, shot.series("current", coil), shot.series("current_rate", coil))
    return Trace(times, cubic(times))


def trace_reader(coil: str, end: float, block: float) -> Callable[[Shot, str], float]:
    """Function of a shot and a name that gives a reading of its current up to `end`; each shot is read once."""
    known: dict[int, tuple[Shot, dict[str, Reading]]] = {}

    def read(shot: Shot, name: str) -> float:
        if id(shot) not in known:
            known[id(shot)] = shot, read_trace(computed_trace(shot, coil, end), block)
        readings = known[id(shot)][1]
        if name not in readings:
            raise ReadingMissing(name)
        return readings[name].value
    return read


def numerical_uncertainty(shot: Shot, evaluate: Evaluate, unit: str) -> float | None:
    """Half the error bound of a quantity, None where none is known."""
    try:
        error = estimate(shot, evaluate, unit).error
    except ReadingMissing:                # of a compared run
        return None
    return 0.5 * error if math.isfinite(error) else None


def input_uncertainty(name: str, bands, shot: Shot, evaluate: Evaluate, sensitivities: Sensitivities | None,
                      of_shape: bool) -> tuple[float | None, dict[str, float]]:
    """Standard uncertainty of a quantity from the inputs, and what each adds to it alone: of its band where there is one.

    bands  of `fieldsolve.bands`, or None
    """
    for band in bands.rows if bands is not None else ():
        if band.name == name.removesuffix(IN_THE_RECORD):
            u = band.standard_uncertainty
            return u, {key: u * math.sqrt(share) for key, share in band.first_order.items()}
    contributions = input_contributions(shot, evaluate, sensitivities, of_shape)
    return combined(contributions), contributions or {}


def input_contributions(shot: Shot, evaluate: Evaluate, sensitivities: Sensitivities | None, of_shape: bool) -> dict[str, float] | None:
    """What each uncertain input adds to the standard uncertainty of a quantity; None where it is not known."""
    if sensitivities is None or not sensitivities.changed or (of_shape and sensitivities.held):
        return None
    try:
        scale = _scale(shot, evaluate, sensitivities)
        return {changed.key: scale * changed.contribution(sensitivities.base, evaluate) for changed in sensitivities.changed}
    except ReadingMissing:
        return None


def model_offsets(shot: Shot, evaluate: Evaluate, sensitivities: Sensitivities | None, terms: tuple[ModelTerm, ...],
                  of_shape: bool) -> dict[str, float]:
    """By how much each term that the model leaves out would move a quantity; empty where it is not known."""
    total = sum(term.inductance for term in terms)
    if sensitivities is None or sensitivities.with_term is None or not total or (of_shape and sensitivities.held):
        return {}
    try:
        moved = _scale(shot, evaluate, sensitivities) * (evaluate(sensitivities.with_term) - evaluate(sensitivities.base))
    except ReadingMissing:
        return {}
    return {term.name: moved * term.inductance / total for term in terms}


def combined(contributions: dict[str, float] | None) -> float | None:
    """Root of the sum of squares; None where there are none."""
    return None if contributions is None else math.hypot(*contributions.values())


def _scale(shot: Shot, evaluate: Evaluate, sensitivities: Sensitivities) -> float:
    """The quantity of the shot over that of the shot that the changed ones are compared with."""
    base = evaluate(sensitivities.base)
    return abs(evaluate(shot) / base) if base else 1.0
