"""Where the banks' energy went, from the recorded series alone: stores by their formula, sinks by integrating their power."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.estimate import Estimate


@dataclass(frozen=True, eq=False)
class EnergyBalance:
    """Energies in joule over `times`; `stores` and `sinks` by name, `initial` the banks' energy at the start; `finer`: of a finer run."""

    times: np.ndarray
    initial: float
    stores: dict[str, np.ndarray]
    sinks: dict[str, np.ndarray]
    finer: Callable[[], EnergyBalance]

    @property
    def unexplained(self) -> np.ndarray:
        """Initial energy less all stores and sinks, joule."""
        return self.initial - sum(self.stores.values()) - sum(self.sinks.values())

    @property
    def residual(self) -> Estimate:
        """Largest unexplained energy of the shot as a share of the banks' initial energy."""
        k = int(np.abs(self.unexplained).argmax())
        value = float(np.abs(self.unexplained[k])) / self.initial
        return Estimate(value, lambda: value - self.finer().residual, "", time=float(self.times[k]))

    def at_end(self) -> dict[str, Estimate]:
        """Joule in each store and sink at the end."""
        return {name: Estimate(values[-1], lambda name=name, value=float(values[-1]): value - self.finer().at_end()[name], "J")
                for name, values in {**self.stores, **self.sinks}.items()}


def integral(times: np.ndarray, values: np.ndarray, slopes: np.ndarray | None = None) -> np.ndarray:
    """Running integral; with slopes by the corrected trapezoid h/2 (f0 + f1) + h^2/12 (f0' - f1'), of fourth order."""
    h = np.diff(times)
    parts = 0.5 * h * (values[1:] + values[:-1])
    if slopes is not None:
        parts += h**2 / 12 * (slopes[:-1] - slopes[1:])
    return np.concatenate([[0.0], np.cumsum(parts)])
