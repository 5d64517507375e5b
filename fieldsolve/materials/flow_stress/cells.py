"""The laws of the zones of a body as one law of all its cells."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from fieldsolve.materials.flow_stress.contract import FlowStressLaw


def law_of_cells(laws: Sequence[FlowStressLaw], zone: np.ndarray) -> FlowStressLaw | MixedLaws:
    """One law for all cells: that of each cell's zone, with arrays (cells,) in place of numbers.

    laws  of each zone
    zone  (cells,) index of each cell's zone
    """
    kinds = list(dict.fromkeys(type(law) for law in laws))
    if len(kinds) == 1:
        return _with_arrays(laws, zone)
    kind_of_cell = np.array([kinds.index(type(law)) for law in laws])[zone]
    groups = []
    for k in range(len(kinds)):
        cells = np.flatnonzero(kind_of_cell == k)
        zones, zone_of_cell = np.unique(zone[cells], return_inverse=True)
        groups.append((cells, _with_arrays([laws[number] for number in zones], zone_of_cell)))
    return MixedLaws(len(zone), tuple(groups))


def _with_arrays(laws: Sequence[FlowStressLaw], zone: np.ndarray) -> FlowStressLaw:
    """Laws of one kind as that law with arrays (cells,)."""
    return type(laws[0])(**{entry.name: np.array([getattr(law, entry.name) for law in laws], dtype=float)[zone]
                            for entry in fields(laws[0])})


@dataclass(frozen=True, eq=False)
class MixedLaws:
    """Cells that obey different laws, with the items 2, 3, 5, 6 and 7 of `FlowStressLaw`, which the return mapping uses.

    size    number of cells
    groups  (indices of cells, their law), one for each kind of law
    """

    size: int
    groups: tuple[tuple[np.ndarray, FlowStressLaw], ...]

    @property
    def quasi_static_rate(self) -> np.ndarray:
        """1/s, (cells,)."""
        return self._gather([law.quasi_static_rate for _, law in self.groups])

    @property
    def initial_stress(self) -> np.ndarray:
        """Pa, (cells,)."""
        return self._gather([law.initial_stress for _, law in self.groups])

    def thermal_softening(self, temperature: np.ndarray) -> tuple[Any, ...]:
        """What each law makes of the temperatures in K of its cells."""
        return tuple(law.thermal_softening(temperature[cells]) for cells, law in self.groups)

    def quasi_static_stress(self, strain: np.ndarray, softening: tuple[Any, ...]) -> np.ndarray:
        """Y in Pa at the quasi-static rate, (..., cells)."""
        return self._gather([law.quasi_static_stress(strain[..., cells], of_law)
                             for (cells, law), of_law in zip(self.groups, softening, strict=True)])

    def stress_along_step(self, strain: np.ndarray, increment: np.ndarray, duration: float, softening: tuple[Any, ...],
                          above: np.ndarray | bool) -> tuple[np.ndarray, np.ndarray]:
        """Y(e + d, d/duration) in Pa and its derivative by d, (..., cells)."""
        above = np.broadcast_to(above, increment.shape)
        found = [law.stress_along_step(strain[..., cells], increment[..., cells], duration, of_law, above[..., cells])
                 for (cells, law), of_law in zip(self.groups, softening, strict=True)]
        return self._gather([stress for stress, _ in found]), self._gather([slope for _, slope in found])

    def _gather(self, parts: Sequence[np.ndarray]) -> np.ndarray:
        """The groups' values as one array (..., cells)."""
        values = np.empty((*parts[0].shape[:-1], self.size))
        for (cells, _), part in zip(self.groups, parts, strict=True):
            values[..., cells] = part
        return values
