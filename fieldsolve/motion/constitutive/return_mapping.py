"""The plastic strain that brings a stress back to the flow stress, whatever the law."""
from __future__ import annotations

from typing import Any

import numpy as np

from fieldsolve.errors import SolveError
from fieldsolve.materials.flow_stress.contract import FlowStressLaw

MOLTEN_FLOOR = 0.01        # of the law's initial stress: flow stress that is left to molten metal
TOLERANCE = 1e-13          # of the largest initial stress: error that the iteration leaves, which doubles its digits each time
SUBSTEP_TOLERANCE = 1e-4   # the same for one of many small steps, of which each corrects the one before
ROUNDING = 1e-14           # of the largest trial stress
ITERATIONS = 40


def plastic_strain_increment(
    law: FlowStressLaw,
    trial: np.ndarray,
    stiffness: np.ndarray,
    strain: np.ndarray,
    softening: Any,
    duration: float,
    guess: np.ndarray,
    tolerance: float = TOLERANCE,
) -> np.ndarray:
    """The increment d >= 0 of plastic strain in a step, implicit in strain and rate, 0 where the trial stress is below the flow stress:

        trial - stiffness d = max(Y(strain + d, d/duration), Y_molten)

    Apart from the knee at the quasi-static rate Y is concave in d.  On either side of the knee Newton's iterates, kept on their side,
    therefore approach the root from below, and none can run away.  Where Y is a power or a logarithm of d and has the slope Y', a step s
    of Newton's leaves an error of the stress of at most about `Y' s^2/(2 d)`.

    law        that of all cells
    trial      (..., cells) equivalent stress in Pa, were the step elastic
    stiffness  (cells,) Pa by which plastic strain lowers it: 3 G in a body, E in a hoop
    strain     (..., cells) plastic strain before the step
    softening  `law.thermal_softening` at the cells' temperatures
    duration   of the step, s
    guess      (..., cells) where to begin
    tolerance  error of the stress, of the largest initial stress
    Raises SolveError where the iteration does not converge.
    """
    knee, largest = law.quasi_static_rate * duration, law.initial_stress.max(initial=0.0)
    allowed = tolerance * largest + ROUNDING * trial.max(initial=0.0)
    increment, above, low, high = np.maximum(guess, knee), True, knee, np.inf
    for iteration in range(ITERATIONS):
        stress, slope = law.stress_along_step(strain, increment, duration, softening, above)
        following = increment + (trial - stiffness * increment - stress) / (stiffness + slope)
        if iteration == 0 and not (flows := following > knee).all():
            above = flows
            if (flows < (increment > knee)).any():            # the tangent leads back across the knee: the root may lie on either side
                above = trial - stiffness * knee > law.quasi_static_stress(strain + knee, softening)
            low, high = np.where(above, knee, 0.0), np.where(above, np.inf, knee)
        following = np.minimum(np.maximum(following, low), high)
        error = _stress_error(increment, following, slope, stiffness, knee)
        increment = following
        if error <= allowed:
            return _above_molten(law, trial, stiffness, stress, increment)
    raise SolveError(f"the return to the flow stress did not converge in {ITERATIONS} iterations: largest trial stress {trial.max():g} Pa, "
                     f"last error {error:g} Pa; a shorter step may help")


def _stress_error(before: np.ndarray, after: np.ndarray, slope: np.ndarray, stiffness: np.ndarray, knee: np.ndarray) -> float:
    """Largest error in Pa that a step of Newton's method leaves, at most that of the step itself."""
    step = np.abs(after - before)
    remaining = slope * step / (2 * np.maximum(np.minimum(before, after), knee))
    return float((np.minimum(remaining, stiffness) * step).max(initial=0.0))


def _above_molten(law: FlowStressLaw, trial: np.ndarray, stiffness: np.ndarray, stress: np.ndarray, increment: np.ndarray) -> np.ndarray:
    """The increments, with the flow stress that molten metal keeps: of two flow stresses the larger one has the smaller root."""
    floor = MOLTEN_FLOOR * law.initial_stress
    if stress.min(initial=np.inf) > floor.max(initial=0.0):
        return increment
    return np.minimum(increment, np.maximum(trial - floor, 0.0) / stiffness)
