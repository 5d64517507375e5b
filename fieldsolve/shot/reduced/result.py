"""The result of one discharge through a reduced model: series, peaks and quantities with their error bounds, as a shot has them."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.circuit.equations import Network
from fieldsolve.estimate import Estimate
from fieldsolve.pickling import declared_fields
from fieldsolve.shot.display import drawings
from fieldsolve.shot.history import History
from fieldsolve.shot.reduced.left_out import LeftOut, MetalZone, estimate_left_out
from fieldsolve.shot.reduced.separate_circuits import SeparateCircuits
from fieldsolve.shot.result import estimates, quantities
from fieldsolve.shot.result.error_model import RunComparison


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class ReducedShot:
    """What one discharge through a `ReducedModel` did.

    It is data: it pickles, and reading it solves nothing.  Metal is held and cold throughout; `left_out` says what that leaves out.
    The `error` of an estimate bounds its numerical error, by a companion on coarser cells, see `shot/result/error_model.py`.

    network      the circuit
    history      series over time
    events       (seconds, sentence) of what switched
    comparisons  the companion on coarser cells; none of the companion itself
    metal        the zones of metal, for what is left out
    bodies       names of the conducting bodies
    """

    network: Network | SeparateCircuits
    history: History
    events: tuple[tuple[float, str], ...]
    comparisons: tuple[RunComparison, ...]
    metal: tuple[MetalZone, ...]
    bodies: tuple[str, ...]

    __getstate__ = declared_fields

    plot_current = drawings.plot_current
    held, interrupted, validity_end, validity_reason, stop_reason = True, False, None, "", ""       # as a shot has them

    def __repr__(self) -> str:
        return (f"ReducedShot(to {1e6 * self.times[-1]:.4g} us, {len(self.times)} instants, coils: {', '.join(self.coils)}, "
                f"bodies: {', '.join(self.bodies) or 'none'}, metal held and cold)")

    @property
    def times(self) -> np.ndarray:
        """Instants in seconds; shape (k,)."""
        return self.history.times

    @property
    def coils(self) -> tuple[str, ...]:
        """Names of the coils in the circuit."""
        return self.network.coil_names

    @property
    def bank_places(self) -> tuple[str, ...]:
        """Names under which the banks' series stand."""
        return self.network.bank_names

    def series(self, quantity: str, place: str) -> np.ndarray:
        """A series over `times`, under the names that a shot has."""
        return self.history.series(quantity, place)

    def series_error(self, quantity: str, place: str) -> np.ndarray:
        """Error bound of a series at each of its `times`; (k,)."""
        return estimates.series_error(self, quantity, place)

    def peak(self, quantity: str, place: str) -> Estimate:
        """Largest magnitude of a series with its sign kept, and its time; `error` and `time_error` are their bounds."""
        return estimates.peak(self, quantity, place)

    @property
    def reversal(self) -> Estimate:
        """Largest reverse voltage of the first bank over its charge voltage."""
        return self.reversal_of(self.bank_places[0])

    def reversal_of(self, place: str) -> Estimate:
        """Largest reverse voltage of a bank over its charge voltage."""
        return estimates.estimate(self, lambda shot: quantities.reversal(shot, place), kind="V")

    @property
    def residual_voltages(self) -> dict[str, Estimate]:
        """Voltage left on each bank at the end, volt."""
        return {place: estimates.residual_voltage(self, place) for place in self.bank_places}

    def impulse(self, name: str, direction: str = "radial") -> Estimate:
        """Integral of the 'radial' (inward negative) or 'axial' (down negative) force on a part over the discharge in N s."""
        estimates.check_direction(direction)
        return estimates.estimate(self, lambda shot: quantities.impulse(shot, name, direction), "N s", kind="N")

    def action(self, name: str) -> Estimate:
        """Integral of the square of a coil's current over the discharge in A^2 s."""
        return estimates.estimate(self, lambda shot: quantities.action(shot, name), "A^2 s", kind="A")

    @cached_property
    def left_out(self) -> tuple[LeftOut, ...]:
        """How far each part would have heated and moved, had it been free to."""
        return tuple(estimate_left_out(self))
