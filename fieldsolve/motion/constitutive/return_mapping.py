"""The plastic strain that brings a stress back to the flow stress, whatever the law."""
from __future__ import annotations

from typing import Any

import numpy as np

from fieldsolve.errors import SolveError
from fieldsolve.materials.flow_stress.contract import FlowStressLaw

MOLTEN_FLOOR = 0.01        # of the law's initial stress: flow stress that is left to molten metal
TOLERANCE = 1e-8           # of the largest initial stress: last change of the iteration, which doubles its digits each time
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
) -> np.ndarray:
    """The increment d >= 0 of plastic strain in a step, implicit in strain and rate, 0 where the trial stress is below the flow stress:

        trial - stiffness d = max(Y(strain + d, d/duration), Y_molten)

    Apart from the knee at the quasi-static rate Y is concave in d.  On either side of the knee Newton's iterates, kept on their side,
    therefore approach the root from below, and none can run away.

    law        that of all cells
    trial      (..., cells) equivalent stress in Pa, were the step elastic
    stiffness  (cells,) Pa by which plastic strain lowers it: 3 G in a body, E in a hoop
    strain     (..., cells) plastic strain before the step
    softening  `law.thermal_softening` at the cells' temperatures
    duration   of the step, s
    guess      (..., cells) where to begin, such as the increment of the step before
    Raises SolveError where the iteration does not converge.
    """
    knee = law.quasi_static_rate * duration
    above = trial - stiffness * knee > law.quasi_static_stress(strain + knee, softening)
    low, high = np.where(above, knee, 0.0), np.where(above, np.inf, knee)
    largest = law.initial_stress.max(initial=0.0)
    tolerance = TOLERANCE * largest + ROUNDING * trial.max(initial=0.0)
    increment = np.minimum(np.maximum(guess, low), high)
    for _ in range(ITERATIONS):
        stress, slope = law.stress_along_step(strain, increment, duration, softening, above)
        excess = trial - stiffness * increment - stress
        following = np.minimum(np.maximum(increment + excess / (stiffness + slope), low), high)
        change = (np.abs(following - increment) * stiffness).max(initial=0.0)
        increment = following
        if change <= tolerance:
            if stress.min(initial=np.inf) > MOLTEN_FLOOR * largest:
                return increment
            # of two flow stresses the larger one has the smaller root
            return np.minimum(increment, np.maximum(trial - MOLTEN_FLOOR * law.initial_stress, 0.0) / stiffness)
    raise SolveError(f"the return to the flow stress did not converge in {ITERATIONS} iterations: largest trial stress {trial.max():g} Pa, "
                     f"last change {change:g} Pa; a shorter step may help")
