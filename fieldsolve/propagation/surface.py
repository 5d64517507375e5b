"""What shots do as a function of the inputs: the reduced model's result, and how full shots differ from it, quadratic in each input."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Control = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class Surface:
    """Outputs (n, m) of inputs (n, d):  c(x) + D_0 + sum_i (a_i s_i + b_i s_i^2),  s_i = (x_i - x_0i) / h_i.

    control     c, the result of the reduced model; 0 for outputs that it does not have, None where there is no such model
    middle      x_0 (d,), the best estimates;  steps  h (d,)
    base        D_0 (m,), full shot less control at x_0
    slopes, curvatures  a and b, each (d, m); zero for inputs whose effect the control has
    """

    control: Control | None
    middle: np.ndarray
    steps: np.ndarray
    base: np.ndarray
    slopes: np.ndarray
    curvatures: np.ndarray

    def __call__(self, inputs: np.ndarray) -> np.ndarray:
        """Outputs (n, m) at inputs (n, d)."""
        scaled = (inputs - self.middle) / self.steps
        full = self.base + scaled @ self.slopes + scaled**2 @ self.curvatures
        return full if self.control is None else full + self.control(inputs)

    def gradient(self, deviations: np.ndarray) -> np.ndarray:
        """Derivatives (d, m) at the best estimates, by central differences over the deviations (d,)."""
        shifts = np.diag(deviations)
        return (self(self.middle + shifts) - self(self.middle - shifts)) / (2 * deviations[:, None])


def fit_surface(control: Control | None, middle: np.ndarray, steps: np.ndarray, full: np.ndarray,
                changed: dict[int, tuple[np.ndarray, np.ndarray]]) -> Surface:
    """The surface through full shots.

    full     outputs (m,) of the shot at the best estimates
    changed  outputs of the shots with the input of a number changed by + and by - its step;
             a = (D_+ - D_-) / 2,  b = (D_+ + D_-) / 2 - D_0,  D = full shot less control
    """
    shifts = np.vstack([np.zeros(len(middle)), *(sign * steps * (np.arange(len(middle)) == k) for k in changed for sign in (1, -1))])
    of_control = np.zeros((len(shifts), len(full))) if control is None else control(middle + shifts)
    base, slopes, curvatures = full - of_control[0], np.zeros((len(middle), len(full))), np.zeros((len(middle), len(full)))
    for number, (k, (ahead, behind)) in enumerate(changed.items()):
        up, down = ahead - of_control[1 + 2 * number], behind - of_control[2 + 2 * number]
        slopes[k], curvatures[k] = 0.5 * (up - down), 0.5 * (up + down) - base
    return Surface(control, middle, steps, base, slopes, curvatures)
