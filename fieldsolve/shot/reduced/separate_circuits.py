"""Several circuits side by side, each with its own banks and coils, which the field alone joins."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fieldsolve.circuit.bank import Bank
from fieldsolve.circuit.equations import Network, Switches


@dataclass(frozen=True)
class SeparateCircuits:
    """Networks without crowbars as one, with the attributes of a `Network` that a discharge through a reduced field reads.

    The unknowns are v_C, i (per bank of all), I (per branch of all), one that is always zero in the crowbar's place, v (per network).
    """

    networks: tuple[Network, ...]

    crowbar = None

    @property
    def banks(self) -> tuple[Bank, ...]:
        """Banks of all networks."""
        return tuple(bank for network in self.networks for bank in network.banks)

    @property
    def branches(self) -> tuple[tuple[str, ...], ...]:
        """Branches of all networks."""
        return tuple(branch for network in self.networks for branch in network.branches)

    @property
    def coil_names(self) -> tuple[str, ...]:
        """Names of the coils, branch by branch."""
        return tuple(name for branch in self.branches for name in branch)

    @property
    def bank_names(self) -> tuple[str, ...]:
        """Names of the banks: 'bank of COIL', or 'bank 1 of COIL', ..., with the first coil of their network."""
        return tuple(f"{name} of {network.coil_names[0]}" for network in self.networks for name in network.bank_names)

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 2 * len(self.banks) + len(self.branches) + 1 + len(self.networks)

    @property
    def currents(self) -> slice:
        """Unknowns that are currents."""
        return slice(len(self.banks), self.crowbar_current_index + 1)

    @property
    def crowbar_current_index(self) -> int:
        """Index of what is always zero."""
        return self.size - len(self.networks) - 1

    def bank_voltage_index(self, k: int) -> int:
        """Index of a bank's voltage."""
        return k

    def bank_current_index(self, k: int) -> int:
        """Index of a bank's current."""
        return len(self.banks) + k

    def branch_current_index(self, k: int) -> int:
        """Index of a coil branch's current."""
        return 2 * len(self.banks) + k

    def initial_state(self) -> np.ndarray:
        """Unknowns just before the first gap closes."""
        x = np.zeros(self.size)
        x[:len(self.banks)] = [bank.voltage for bank in self.banks]
        return x

    def scales(self, inductance: float) -> tuple[float, float, float, float]:
        """Those of the network that rings fastest, see `Network.scales`."""
        return min((network.scales(inductance) for network in self.networks), key=lambda scales: scales[3])

    def matrices(self, switches: Switches, coil_resistance: Mapping[str, float], time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """E, A (size, size) and b (size,), see `Network.matrices`."""
        E, A, b, bank = np.zeros((self.size, self.size)), np.zeros((self.size, self.size)), np.zeros(self.size), 0
        for number, network in enumerate(self.networks):
            place, chosen = self.places(number), slice(bank, bank + len(network.banks))
            own = Switches(switches.arcs[chosen], switches.signs[chosen], False)
            for whole, part in zip((E, A), network.matrices(own, coil_resistance, time)[:2], strict=True):
                whole[np.ix_(place, place)] += part
            b[place] += network.matrices(own, coil_resistance, time)[2]
            bank += len(network.banks)
        return E, A, b

    def places(self, number: int) -> list[int]:
        """Index in all unknowns of each unknown of one of the networks."""
        before, network = self.networks[:number], self.networks[number]
        bank, branch = sum(len(other.banks) for other in before), sum(len(other.branches) for other in before)
        banks, branches = range(bank, bank + len(network.banks)), range(branch, branch + len(network.branches))
        return [*map(self.bank_voltage_index, banks), *map(self.bank_current_index, banks), *map(self.branch_current_index, branches),
                self.crowbar_current_index, self.crowbar_current_index + 1 + number]


def networks_of(network: Network | SeparateCircuits) -> tuple[tuple[Network, list[int]], ...]:
    """Each network by itself, and the index in all unknowns of each of its own."""
    if isinstance(network, Network):
        return ((network, list(range(network.size))),)
    return tuple((own, network.places(number)) for number, own in enumerate(network.networks))
