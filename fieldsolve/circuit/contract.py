"""The contract of a circuit around the coils: what the integrator, the observables and the balance of energy need of it."""
from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, runtime_checkable

import numpy as np

from fieldsolve.circuit.bank import Bank, Crowbar, Leads
from fieldsolve.circuit.equations import Switches


@runtime_checkable
class Circuit(Protocol):
    """Equations `E x' + A x + P^T V = b` of the circuit; V are the voltages that the field induces in its coils.

    A circuit is a frozen dataclass.  To write another one:

    1. `branches` are names of the coils in series in each branch; `coil_names` are the same names one after the other.  The coils of
       a branch share one current.
    2. `size` is the number of unknowns x.  `branch_current_index(k)` is the index of the current of branch k.  `currents` and
       `voltages` are slices of the unknowns that are currents of the circuit and voltages of its banks; errors in time are measured
       on both.
    3. `initial_state()` are the unknowns (size,) just before t = 0.
    4. `matrices(switches, coil_resistance, time)` are E, A (size, size) and b (size,) with the switches as they stand, the resistances
       of the coils in ohm by name, and at a time in s.  The induced voltages are added to the rows of the branch currents, which the
       circuit therefore writes as voltages.
    5. `corner_times` are instants in s, beside those of the switches, on which steps have to end.
    6. `applied_field` in tesla is a uniform steady field along z that was there long before t = 0.
    7. `scales(inductance)` are a current (A), a voltage (V), a magnetic energy (J) and a first step (s) to be expected, from the
       inductance of the empty coils in H.
    8. `banks`, `crowbar` and `leads` are what the circuit is made of.  A circuit without banks has no switches; it says by `frequency`
       in Hz how fast its currents change, from which the mesh is made.
    """

    @property
    def banks(self) -> tuple[Bank, ...]: ...

    @property
    def crowbar(self) -> Crowbar | None: ...

    @property
    def leads(self) -> Leads: ...

    @property
    def branches(self) -> tuple[tuple[str, ...], ...]: ...

    @property
    def coil_names(self) -> tuple[str, ...]: ...

    @property
    def size(self) -> int: ...

    @property
    def currents(self) -> slice: ...

    @property
    def voltages(self) -> slice: ...

    @property
    def corner_times(self) -> tuple[float, ...]: ...

    @property
    def applied_field(self) -> float: ...

    def branch_current_index(self, k: int) -> int: ...

    def initial_state(self) -> np.ndarray: ...

    def matrices(self, switches: Switches, coil_resistance: Mapping[str, float],
                 time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]: ...

    def scales(self, inductance: float) -> tuple[float, float, float, float]: ...
