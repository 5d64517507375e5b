"""The circuit around the coils as E x' + A x + (induced voltage) = b, a few rows that border the field's matrix.

All branches join the same two nodes, the coil leads: banks, branches of coils in series, a crowbar.  With the terminal voltage v:
    bank         C v_C' + i (+ i_crowbar across it) = 0,   L i' + R i + v - v_C = -s V_arc     (i = 0 while its gap is open)
    coil branch  L I' + R I + sum (R_coil I + dPsi/dt) - v = 0
    crowbar      L i' + R i - v = 0   (or - v_C; i = 0 before it fires)
    node         sum of bank currents - sum of branch currents - crowbar current = 0
s is the sign of the arc's current.
"""
from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.circuit.bank import Bank, Crowbar, Leads

OPEN, CONDUCTING, EXTINGUISHED = "open", "conducting", "out"
NO_LEADS = Leads()


@dataclass(frozen=True)
class Network:
    """Banks, coil branches and crowbar; see `Circuit` for the contract.

    branches  names of the coils in series in each branch
    The unknowns are v_C, i (per bank), I (per branch), i_crowbar, v, in this order.
    """

    banks: tuple[Bank, ...]
    branches: tuple[tuple[str, ...], ...]
    leads: Leads = NO_LEADS
    crowbar: Crowbar | None = None

    def __repr__(self) -> str:
        branches = "; ".join(", ".join(branch) for branch in self.branches)
        return f"Network({len(self.banks)} banks, branches: {branches[:160]}, {'crowbar' if self.crowbar else 'no crowbar'})"

    @property
    def coil_names(self) -> tuple[str, ...]:
        """Names of the coils, branch by branch."""
        return tuple(name for branch in self.branches for name in branch)

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return 2 * len(self.banks) + len(self.branches) + 2

    @property
    def bank_names(self) -> tuple[str, ...]:
        """Names of the banks: 'bank', or 'bank 1', 'bank 2', ..."""
        return ("bank",) if len(self.banks) == 1 else tuple(f"bank {k + 1}" for k in range(len(self.banks)))

    @property
    def applied_field(self) -> float:
        """0 T: the coils alone make the field."""
        return 0.0

    @property
    def corner_times(self) -> tuple[float, ...]:
        """None beside the times of the gaps and the crowbar."""
        return ()

    @property
    def voltages(self) -> slice:
        """Unknowns that are voltages of banks."""
        return slice(0, len(self.banks))

    @property
    def currents(self) -> slice:
        """Unknowns that are currents."""
        return slice(len(self.banks), self.size - 1)

    def bank_voltage_index(self, k: int) -> int:
        """Index of a bank's voltage."""
        return k

    def bank_current_index(self, k: int) -> int:
        """Index of a bank's current."""
        return len(self.banks) + k

    def branch_current_index(self, k: int) -> int:
        """Index of a coil branch's current."""
        return 2 * len(self.banks) + k

    @property
    def crowbar_current_index(self) -> int:
        """Index of the crowbar's current."""
        return self.size - 2

    @property
    def terminal_voltage_index(self) -> int:
        """Index of the voltage at the coil leads."""
        return self.size - 1

    def initial_state(self) -> np.ndarray:
        """Unknowns just before the first gap closes."""
        x = np.zeros(self.size)
        x[:len(self.banks)] = [bank.voltage for bank in self.banks]
        return x

    def scales(self, inductance: float) -> tuple[float, float, float, float]:
        """Current (A), voltage (V), magnetic energy (J) and first step (s) to be expected, from the empty coils' inductance in henry."""
        total_inductance = inductance + sum(bank.inductance for bank in self.banks) + self.leads.inductance
        period = math.sqrt(total_inductance * sum(bank.capacitance for bank in self.banks))
        current = sum(bank.voltage for bank in self.banks) * period / total_inductance
        return current, max(bank.voltage for bank in self.banks), 0.5 * total_inductance * current**2, 2e-3 * period

    def matrices(self, switches: Switches, coil_resistance: Mapping[str, float], time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """E, A (size, size) and b (size,) for the state of the switches, at any time; induced voltages come to the branch rows."""
        return _matrices(self, switches, coil_resistance)


@dataclass(frozen=True)
class Switches:
    """State of the gaps.

    arcs     OPEN, CONDUCTING or EXTINGUISHED, of each bank
    signs    of the current of each bank
    crowbar  whether it has fired
    """

    arcs: tuple[str, ...]
    signs: tuple[float, ...]
    crowbar: bool = False

    def with_arc(self, k: int, state: str, sign: float) -> Switches:
        """The same switches with bank k's arc in another state."""
        arcs, signs = list(self.arcs), list(self.signs)
        arcs[k], signs[k] = state, sign
        return replace(self, arcs=tuple(arcs), signs=tuple(signs))


def _matrices(network: Network, switches: Switches, coil_resistance: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    size, v = network.size, network.terminal_voltage_index
    E, A, b = np.zeros((size, size)), np.zeros((size, size)), np.zeros(size)
    for k, bank in enumerate(network.banks):
        vc, i = network.bank_voltage_index(k), network.bank_current_index(k)
        E[vc, vc], A[vc, i] = bank.capacitance, 1.0
        if switches.arcs[k] == CONDUCTING:
            E[i, i], A[i, i], A[i, v], A[i, vc] = bank.inductance, bank.resistance, 1.0, -1.0
            b[i] = -switches.signs[k] * bank.arc_voltage
        else:
            A[i, i] = 1.0
        A[v, i] = 1.0
    for k, coils in enumerate(network.branches):
        I = network.branch_current_index(k)
        E[I, I], A[I, v], A[v, I] = network.leads.inductance, -1.0, -1.0
        A[I, I] = network.leads.resistance + sum(coil_resistance[name] for name in coils)
    _crowbar_rows(network, switches, E, A)
    return E, A, b


def _crowbar_rows(network: Network, switches: Switches, E: np.ndarray, A: np.ndarray) -> None:
    i, v, crowbar = network.crowbar_current_index, network.terminal_voltage_index, network.crowbar
    if crowbar is None or not switches.crowbar:
        A[i, i] = 1.0
        return
    vc = network.bank_voltage_index(0)
    E[i, i], A[i, i], A[i, v if crowbar.across == "coil" else vc] = crowbar.inductance, crowbar.resistance, -1.0
    A[v if crowbar.across == "coil" else vc, i] += -1.0 if crowbar.across == "coil" else 1.0
