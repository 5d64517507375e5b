"""A stage solved with the factor of an earlier one of the same length, by corrections that cost a back substitution each.

From stage to stage metal heats a little and moves by a small part of a cell, so that the matrix A of a stage is near the factored one
A_0.  With y' extrapolated from the steps before, each correction A_0^-1 (residual of y') leaves a share of the error that is about the
relative change of the conductivities and of the cells.
"""
from __future__ import annotations

import numpy as np

from fieldsolve.shot.integrator.field_circuit import Circuit, FieldCircuit
from fieldsolve.shot.integrator.newton_stage import solve_implicit_stage
from fieldsolve.shot.integrator.state import DischargeState

SAME_STAGE = 1e-9               # of a stage's length: a factor made for one this near serves
TOLERANCE = 1e-10              # of the field: error of a stage's field at which corrections end; at 5e-9 a disc's current is off by 2e-5
MAX_CORRECTIONS = 3             # a new factor costs about 8, and with one the next stages take fewer


def solve_stage(state: DischargeState, network: Circuit, number: int, time: float, base: np.ndarray, g: float, heats: bool,
                moves: bool) -> tuple[FieldCircuit, np.ndarray]:
    """Field and circuit of stage `number` of a step, of g seconds from base, and y' there; factored anew where no earlier factor serves.

    heats, moves  whether the metal does, so that the matrices change
    """
    model, has_curves = state.model, state.system is not None and bool(state.system.zones)
    if model is not None and not (heats or moves or has_curves) and network.banks and _is_as_long(model, g):
        return model, model.solve_stage(base, g)
    kept = None if has_curves or state.system is None else _solve_by_kept_factor(state, number, time, base, g)
    if kept is None:
        solution = solve_implicit_stage(state.system, network, state.switches, base, g, time, base + g * state.derivative, model)
        state.model = solution.model
        state.count(factorizations=solution.factorizations)
        kept = solution.model, solution.derivative
    state.stage_rates = state.stage_rates.followed_by(number, time, kept[1], state.unknowns)
    return kept


def _solve_by_kept_factor(state: DischargeState, number: int, time: float, base: np.ndarray,
                          g: float) -> tuple[FieldCircuit, np.ndarray] | None:
    """The same with the factor of the state's model; None where that is of another length or leaves too much of the error."""
    if state.model is None or not _is_as_long(state.model, g):
        return None
    now, size = state.model.with_kept_factor(state.system, state.switches, time), state.unknowns
    expected = state.stage_rates.expected(number, time)
    derivative, change = state.derivative if expected is None else expected, 0.0
    for left in reversed(range(MAX_CORRECTIONS)):
        guess, derivative, before = derivative, now.solve_stage(base, g, derivative), change
        change = g * float(np.linalg.norm(derivative[:size] - guess[:size]))
        fall = change / before if before else 1.0                   # known from the second one on
        allowed = TOLERANCE * max(float(np.linalg.norm(base[:size])), g * float(np.linalg.norm(derivative[:size])))
        if not change * fall > allowed or not np.isfinite(derivative[size:]).all():      # what is left of the error; no numbers
            return now, derivative
        if before and change * fall ** (left + 1) > allowed:
            return None
    return None


def _is_as_long(model: FieldCircuit, g: float) -> bool:
    return abs(model.stage / g - 1) <= SAME_STAGE
