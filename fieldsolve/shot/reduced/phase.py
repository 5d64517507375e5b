"""A circuit with a reduced field between two events: linear equations with constant coefficients, solved exactly.

With the circuit's unknowns x and the states p of the field, currents I = P x and voltages of the coils 2 pi b^T p',

    E x' + A x + P^T 2 pi b^T p' = f,        2 pi (tau p' + p) = 2 pi b P x

Kirchhoff's rule at the coil leads and open switches tie currents together: x = T z with free unknowns z = (v_C, loop currents).
T^T leaves out the voltage at the leads, which does no work on loop currents.  In y = (z, p) this is F y' + G y = f.  With a rate s

    N y' + (1 - s N) y = (G + s F)^-1 f,     N = (G + s F)^-1 F = W diag(mu) W^-1,     lambda = s - 1/mu

so that every component c of W^-1 y fulfils c' = lambda c + g; where mu = 0 it is constant.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldsolve.circuit.equations import CONDUCTING, Network, Switches
from fieldsolve.field.reduced.projection import ReducedField

AT_ONCE = 1e-11             # of 1/s: what decays faster is constant
CONSISTENT = 1e-9           # of the largest current: currents that obey Kirchhoff's rule


@dataclass(frozen=True, eq=False)
class Phase:
    """The equations with the switches as they stand.

    T             (x + p, y) free unknowns to all of them
    F, G          (y, y) matrices;  f (y,) right-hand side
    E             (x + p, x + p) before the currents are tied together
    rate          s in 1/s
    """

    network: Network
    switches: Switches
    field: ReducedField
    resistance: np.ndarray
    T: np.ndarray
    E: np.ndarray
    F: np.ndarray
    G: np.ndarray
    f: np.ndarray
    rate: float

    @cached_property
    def modes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """W, W^-1 (G + s F)^-1, lambda, g and which are constant; lambda and g of these are 0 and the constant."""
        shifted = np.linalg.inv(self.G + self.rate * self.F)
        mu, W = np.linalg.eig(shifted @ self.F)
        to_modes = np.linalg.solve(W, shifted)
        constant = np.abs(mu) * self.rate < AT_ONCE
        inverse = 1 / np.where(constant, 1.0, mu)
        load = to_modes @ self.f
        return W, to_modes, np.where(constant, 0.0, self.rate - inverse), np.where(constant, load, load * inverse), constant

    def start(self, value: np.ndarray) -> np.ndarray:
        """Components c at the start from all unknowns (x + p,) just before: charges and flux linkages stay as they are.

        Where the currents before do not obey Kirchhoff's rule, a circuit without inductance lets them jump.
        """
        W, to_modes, _, g, constant = self.modes
        y = self.T.T @ value
        off = np.abs(self.T @ y - value)[self.network.currents]
        if off.max(initial=0.0) <= CONSISTENT * np.abs(value[self.network.currents]).max(initial=0.0):
            components = np.linalg.solve(W, y)
        else:
            mu = np.where(constant, 1.0, 1 / (self.rate - self.modes[2]))
            components = to_modes @ (self.T.T @ (self.E @ value)) / mu
        return np.where(constant, g, components)

    def at(self, start: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """All unknowns (k, x + p) and their rates some seconds (k,) after the start; the voltage at the leads among them."""
        W, _, decay, g, constant = self.modes
        c = self._components(start, after)
        c_t = np.where(constant, 0.0, decay * c + g)
        value, slope = ((c @ W.T).real @ self.T.T, (c_t @ W.T).real @ self.T.T)
        value[:, self.network.terminal_voltage_index] = self._terminal_voltage(value, slope)
        return value, slope

    def _components(self, start: np.ndarray, after: np.ndarray) -> np.ndarray:
        """Components c (k, y) some seconds (k,) after the start: c e^(lambda t) + g (e^(lambda t) - 1) / lambda."""
        _, _, decay, g, constant = self.modes
        moves = np.abs(decay) > 0
        growth = np.expm1(np.multiply.outer(after, decay))
        driven = np.where(moves, growth / np.where(moves, decay, 1.0), after[:, None])
        return np.where(constant, g, start * (growth + 1) + driven * g)

    def unknowns_at(self, start: np.ndarray, after: np.ndarray, indices: list[int]) -> np.ndarray:
        """Some of the unknowns (k, indices) some seconds (k,) after the start; not the voltage at the leads."""
        return (self._components(start, after) @ (self.T[indices] @ self.modes[0]).T).real

    def _terminal_voltage(self, value: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Volt at the coil leads (k,), by the first branch of coils: L I' + R I + psi'."""
        network, row = self.network, self.network.branch_current_index(0)
        p_t = slope[:, network.size:]
        coils = [self.field.coils.index(name) for name in network.branches[0]]
        induced = 2 * math.pi * p_t @ self.field.coupling[:, coils].sum(axis=1)
        return network.leads.inductance * slope[:, row] + (network.leads.resistance + self.resistance[coils].sum()) * value[:, row] + induced

    @property
    def fastest_ringing(self) -> float:
        """Largest angular frequency of what rings, 1/s; 0 where nothing does."""
        return float(np.abs(self.modes[2].imag).max(initial=0.0))


def build_phase(network: Network, switches: Switches, field: ReducedField, resistance: np.ndarray) -> Phase:
    """The equations of a circuit with switches as they stand.

    resistance  (coils,) of the field's coils to direct current in ohm
    """
    size, m = network.size, field.states
    E0, A0, f0 = network.matrices(switches, dict(zip(field.coils, resistance, strict=True)), 0.0)
    incidence = np.zeros((len(field.coils), size))
    for k, branch in enumerate(network.branches):
        for name in branch:
            incidence[field.coils.index(name), network.branch_current_index(k)] = 1.0
    coupling = 2 * math.pi * field.coupling @ incidence                                    # (m, size)
    E = np.block([[E0, coupling.T], [np.zeros((m, size)), 2 * math.pi * np.diag(field.time_constants)]])
    A = np.block([[A0, np.zeros((size, m))], [-coupling, 2 * math.pi * np.eye(m)]])
    free = free_unknowns(network, switches)
    T = np.zeros((size + m, free.shape[1] + m))
    T[:size, :free.shape[1]], T[size:, free.shape[1]:] = free, np.eye(m)
    inductance = 2 * math.pi * float((field.coupling.sum(axis=1) ** 2).sum())
    rate = 1 / network.scales(inductance)[3] * 2e-3
    return Phase(network=network, switches=switches, field=field, resistance=resistance, T=T, E=E, F=T.T @ E @ T, G=T.T @ A @ T,
                 f=T.T @ np.concatenate([f0, np.zeros(m)]), rate=rate)


def free_unknowns(network: Network, switches: Switches) -> np.ndarray:
    """Orthonormal columns (size, free): voltages of the banks, and currents that obey Kirchhoff's rule with the switches as they stand."""
    from scipy.linalg import null_space

    flows = np.zeros(network.size, dtype=bool)
    for k, arc in enumerate(switches.arcs):
        flows[network.bank_current_index(k)] = arc == CONDUCTING
    for k in range(len(network.branches)):
        flows[network.branch_current_index(k)] = True
    flows[network.crowbar_current_index] = network.crowbar is not None and switches.crowbar
    node = np.zeros(network.size)
    node[[network.bank_current_index(k) for k in range(len(network.banks))]] = 1.0
    node[[network.branch_current_index(k) for k in range(len(network.branches))]] = -1.0
    node[network.crowbar_current_index] = -1.0 if network.crowbar is not None and network.crowbar.across == "coil" else 0.0
    loops = null_space(node[None, flows])
    free = np.zeros((network.size, len(network.banks) + loops.shape[1]))
    free[np.arange(len(network.banks)), np.arange(len(network.banks))] = 1.0
    free[flows, len(network.banks):] = loops
    return free
