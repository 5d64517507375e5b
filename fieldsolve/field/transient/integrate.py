"""A driven field in time, K u + M' u' = load, by steps whose embedded error stays within the accuracy."""
from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.nonlinear.implicit_stage import NonlinearField, nonlinear_field
from fieldsolve.field.system.bordered_operator import BorderedOperator, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.ode import StepController, Tableau, WorkCounts, take_step
from geometries.errors import SolveError

TOLERANCE = 0.3             # of the embedded error of the field's energy norm, in units of the accuracy
FIRST_STEP = 1e-4           # of the first instant
MIN_STEP = 1e-9             # of the last instant: a shorter step is accepted as it is
PROBE_STAGE = 1e-3          # of the next step: the stage that tells the rate at the start
SAME_STAGE = 1e-9           # of a stage's length: a factor for one this near serves


@dataclass(eq=False)
class LinearStages:
    """Stages of linear metal; the factor is used again for stages of the same length."""

    system: EddySystem
    operator: BorderedOperator | None = None
    factorizations: int = 0

    def stage(self, load: np.ndarray, base: np.ndarray, g: float, guess: np.ndarray) -> np.ndarray:
        """u' of a stage from K u + M' u' = load with u = base + g u'."""
        if self.operator is None or abs(self.operator.rate * g - 1) > SAME_STAGE:
            self.operator = factorize_bordered(self.system, 1 / g, self.operator and self.operator.factor)
            self.factorizations += 1
        return self.operator.solve(load - self.system.full_stiffness @ base) / g


def build_stage_solver(system: EddySystem, applied_field: float) -> LinearStages | NonlinearField:
    """What solves a stage: a linear solve, or Newton's method where metal has a B-H curve."""
    return nonlinear_field(system, applied_field) or LinearStages(system)


def integrate(stages: LinearStages | NonlinearField, system: EddySystem, load: Callable[[float], np.ndarray], u: np.ndarray,
              instants: Sequence[float], accuracy: float, method: Tableau) -> Iterator[tuple[np.ndarray, np.ndarray, WorkCounts]]:
    """Field (n,), its rate (n,) and the work so far at each of the instants in seconds, from the field u at t = 0.

    Raises SolveError where the field becomes no number.
    """
    controller = StepController(method.error_order, MIN_STEP * instants[-1])
    time, length, work, rate = 0.0, FIRST_STEP * instants[0], WorkCounts(), None
    scale = _norm(system, u)
    if method.first_stage_is_explicit:
        rate = stages.stage(load(0.0), u, PROBE_STAGE * method.gamma * length, u)
    for instant in instants:
        while time < instant * (1 - 1e-12):
            tried, _ = controller.fit(length, time, instant)
            step = take_step(method, lambda t, base, g, u=u: stages.stage(load(t), base, g, u), time, u, tried, rate)
            if not np.isfinite(step.value).all():
                raise SolveError(f"the field is not a number after the step to {time + tried:.6g} s: "
                                 "a material or waveform is not a number")
            scale = max(scale, _norm(system, step.value), 1e-300)
            error = _norm(system, step.error) / (TOLERANCE * accuracy * scale)
            work = work.plus(stages=len(method.b))
            if controller.rejects(tried, error):
                length, work = controller.next_length(tried, error), work.plus(rejected_steps=1)
                continue
            length = max(controller.next_length(tried, error), length if tried < length else 0.0)
            time, u, rate, work = time + tried, step.value, step.derivatives[-1], work.plus(steps=1)
        yield u, rate, work.plus(factorizations=stages.factorizations)


def _norm(system: EddySystem, u: np.ndarray) -> float:
    """Square root of u . K u."""
    return math.sqrt(float(u @ (system.full_stiffness @ u)))
