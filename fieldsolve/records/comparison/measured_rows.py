"""Rows of a comparison that come from what was measured after the shot: radius, thickness, mass, fields, speeds."""
from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from fieldsolve.errors import InputError
from fieldsolve.records.comparison.computed import input_uncertainty, model_offsets, numerical_uncertainty
from fieldsolve.records.comparison.helix import ModelTerm
from fieldsolve.records.comparison.quantities import Quantity, find_quantity
from fieldsolve.records.comparison.rows import Row
from fieldsolve.records.comparison.sensitivities import Sensitivities
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.shot.result.shot import Shot


def measured_rows(shot: Shot, measured: Mapping[str, tuple[float, float] | float], sensitivities: Sensitivities | None,
                  terms: tuple[ModelTerm, ...], bands=None) -> Iterator[Row]:
    """A row for each measured value."""
    for name, given in measured.items():
        quantity = find_quantity(shot, name)
        value, uncertainty = _checked(name, given)
        computed = quantity.evaluate(shot)
        u_input, contributions = input_uncertainty(name, bands, shot, quantity.evaluate, sensitivities, quantity.of_shape)
        yield Row(name=name, unit=quantity.unit, computed=computed, measured=math.copysign(value, computed) if _is_peak(name) else value,
                  u_num=numerical_uncertainty(shot, quantity.evaluate, quantity.unit), u_input=u_input,
                  u_measured=uncertainty, contributions=contributions,
                  offsets=model_offsets(shot, quantity.evaluate, sensitivities, terms, quantity.of_shape),
                  reason=_no_prediction(shot, quantity))


def _is_peak(name: str) -> bool:
    """Whether a value is a magnitude, whose sign is that of the computed one."""
    return name.startswith("peak current")


def _checked(name: str, given: tuple[float, float] | float) -> tuple[float, float | None]:
    """Value and standard uncertainty; InputError where they cannot be."""
    pair = (given, None) if isinstance(given, (int, float)) else tuple(given) if isinstance(given, (tuple, list)) else ()
    if len(pair) != 2 or not _is_number(pair[0]) or not (pair[1] is None or (_is_number(pair[1]) and pair[1] >= 0)):
        raise InputError(f"measured {name!r}: {given!r}: expected (value, standard uncertainty) in SI, such as (12.9e-3, 0.1e-3)")
    return float(pair[0]), None if pair[1] is None else float(pair[1])


def _is_number(value) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _no_prediction(shot: Shot, quantity: Quantity) -> str:
    """Why the computed value predicts nothing; empty where it does."""
    if quantity.of_shape and shot.problem.motion is False:
        return "the metal was held still in the computed shot: its shape predicts nothing"
    time = quantity.time(shot)
    if shot.validity_end is not None and time is not None and time > shot.validity_end:
        return f"beyond the model, from {display(shot.validity_end, 's')} on: predicts nothing"
    return ""
