"""The series of a discharge through a reduced field, each computed when it is first read."""
from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property

import numpy as np

from fieldsolve.circuit.equations import Network
from fieldsolve.field.reduced.projection import ReducedField
from fieldsolve.shot.reduced.readings import Key, Readings
from fieldsolve.shot.reduced.separate_circuits import SeparateCircuits


class ReducedSeries(Mapping):
    """Series (k,) by (quantity, place), of unknowns (k, x + p) and their rates.  It pickles without what it has computed.

    field     without its basis;  resistance  (coils,) of the coils to direct current in ohm
    readings  the forms of the quantities that the field has
    """

    def __init__(self, network: Network | SeparateCircuits, field: ReducedField, resistance: np.ndarray, readings: Readings,
                 value: np.ndarray, slope: np.ndarray):
        self.network, self.field, self.resistance, self.readings = network, field, resistance, readings
        self.value, self.slope = value, slope

    def __reduce__(self):
        return ReducedSeries, (self.network, self.field, self.resistance, self.readings, self.value, self.slope)

    def __getitem__(self, key: Key) -> np.ndarray:
        if key not in self._found:
            self._found[key] = self._compute(key)
        return self._found[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._keys)

    def __len__(self) -> int:
        return len(self._keys)

    def __contains__(self, key: object) -> bool:
        return key in self._keys

    @cached_property
    def _found(self) -> dict[Key, np.ndarray]:
        return {}

    @cached_property
    def _keys(self) -> dict[Key, None]:
        coils = [(quantity, name) for name in self.field.coils for quantity in ("current", "current_rate", "voltage")]
        banks = [(quantity, name) for name in self.network.bank_names for quantity in ("voltage", "current", "current_rate")]
        keys = [*coils, *banks, ("current", "crowbar"), ("current_rate", "crowbar"), *self.readings.keys]
        return dict.fromkeys(keys)

    @cached_property
    def _forms_of(self) -> np.ndarray:
        """w = (p, p', I) at the instants; (k, 2 m + coils)."""
        size = self.network.size
        return np.concatenate([self.value[:, size:], self.slope[:, size:], self.value[:, self._branch_of_coil]], axis=1)

    @cached_property
    def _branch_of_coil(self) -> list[int]:
        """Index of each coil's current."""
        branches = {name: k for k, branch in enumerate(self.network.branches) for name in branch}
        return [self.network.branch_current_index(branches[name]) for name in self.field.coils]

    def _compute(self, key: Key) -> np.ndarray:
        if key in self.readings:
            return self.readings.evaluate(key, self._forms_of)
        quantity, place = key
        source = self.slope if quantity == "current_rate" else self.value
        if place in self.field.coils:
            k = self.field.coils.index(place)
            if quantity == "voltage":
                return self.resistance[k] * self.value[:, self._branch_of_coil[k]] + self._induced_voltage(k)
            return source[:, self._branch_of_coil[k]]
        if place == "crowbar":
            return source[:, self.network.crowbar_current_index]
        bank = self.network.bank_names.index(place)
        index = self.network.bank_voltage_index(bank) if quantity == "voltage" else self.network.bank_current_index(bank)
        return source[:, index]

    def _induced_voltage(self, k: int) -> np.ndarray:
        """Rate of the flux linkage of a coil, volt; (k,)."""
        return 2 * np.pi * self.slope[:, self.network.size:] @ self.field.coupling[:, k]
