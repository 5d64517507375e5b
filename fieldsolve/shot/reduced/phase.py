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
from fieldsolve.shot.reduced.separate_circuits import SeparateCircuits, networks_of

AT_ONCE = 1e-11             # of 1/s: what decays faster is constant
CONSISTENT = 1e-9           # of the largest current: currents that obey Kirchhoff's rule


@dataclass(frozen=True, eq=False)
class LoopEquations:
    """Circuit and field with the switches open or closed as they stand, whatever the signs of the arcs.

    T     (x + p, y) free unknowns to all of them
    E     (x + p, x + p) before the currents are tied together
    F, G  (y, y) matrices
    rate  s in 1/s
    """

    network: Network | SeparateCircuits
    T: np.ndarray
    E: np.ndarray
    F: np.ndarray
    G: np.ndarray
    rate: float

    @cached_property
    def shifted_inverse(self) -> np.ndarray:
        """(G + s F)^-1."""
        return np.linalg.inv(self.G + self.rate * self.F)

    @cached_property
    def _eigen(self) -> tuple[np.ndarray, np.ndarray]:
        return np.linalg.eig(self.shifted_inverse @ self.F)

    @cached_property
    def to_components(self) -> np.ndarray:
        """W^-1."""
        return np.linalg.inv(self._eigen[1])

    @cached_property
    def to_unknowns(self) -> np.ndarray:
        """T W, from components to all unknowns; (x + p, y)."""
        return self.T @ self._eigen[1]

    @cached_property
    def constant(self) -> np.ndarray:
        """Which components are constant; (y,)."""
        return np.abs(self._eigen[0]) * self.rate < AT_ONCE

    @cached_property
    def inverse_mu(self) -> np.ndarray:
        """1 / mu, of the constant components 1; (y,)."""
        return 1 / np.where(self.constant, 1.0, self._eigen[0])

    @cached_property
    def growth_rates(self) -> np.ndarray:
        """lambda in 1/s, of the constant components 0; (y,)."""
        return np.where(self.constant, 0.0, self.rate - self.inverse_mu)


@dataclass(frozen=True, eq=False)
class Phase:
    """The equations with the arcs' voltages; f (y,) is their right-hand side."""

    equations: LoopEquations
    f: np.ndarray

    @cached_property
    def load(self) -> np.ndarray:
        """g of each component, the value itself of a constant one; (y,)."""
        equations = self.equations
        return (equations.to_components @ (equations.shifted_inverse @ self.f)) * equations.inverse_mu

    def start(self, value: np.ndarray) -> np.ndarray:
        """Components c at the start from all unknowns (x + p,) just before: charges and flux linkages stay as they are.

        Where the currents before do not obey Kirchhoff's rule, a circuit without inductance lets them jump.
        """
        equations = self.equations
        y, currents = equations.T.T @ value, equations.network.currents
        off = np.abs(equations.T @ y - value)[currents]
        if off.max() <= CONSISTENT * np.abs(value[currents]).max():
            components = equations.to_components @ y
        else:
            flux = equations.shifted_inverse @ (equations.T.T @ (equations.E @ value))
            components = (equations.to_components @ flux) * equations.inverse_mu
        return np.where(equations.constant, self.load, components)

    def components(self, start: np.ndarray, after: np.ndarray) -> np.ndarray:
        """Components c (k, y) some seconds (k,) after the start: c e^(lambda t) + g (e^(lambda t) - 1) / lambda."""
        rates, constant = self.equations.growth_rates, self.equations.constant
        moves = np.abs(rates) > 0
        growth = _grown(after, rates)
        driven = np.where(moves, self.load / np.where(moves, rates, 1.0), 0.0)
        found = start + growth * (start + driven)
        steady = ~moves & ~constant
        found[:, steady] += after[:, None] * self.load[steady]
        return found

    def ringing(self, start: np.ndarray, faint: float) -> float:
        """Largest angular frequency, 1/s, of the components whose share in some current is more than `faint` of the largest one."""
        equations = self.equations
        share = np.abs(equations.to_unknowns[equations.network.currents] * start).max(axis=0)
        return float(np.abs(equations.growth_rates.imag[share > faint * share.max()]).max(initial=0.0))

    def slopes(self, components: np.ndarray) -> np.ndarray:
        """Rates c' of components (k, y)."""
        return np.where(self.equations.constant, 0.0, self.equations.growth_rates * components + self.load)

    def at(self, start: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """All unknowns (k, x + p) but the voltage at the leads, and their rates, some seconds (k,) after the start."""
        c, spread = self.components(start, after), self.equations.to_unknowns.T
        return (c @ spread).real, (self.slopes(c) @ spread).real

    def unknowns_at(self, start: np.ndarray, after: np.ndarray, indices: list[int]) -> tuple[np.ndarray, np.ndarray]:
        """Some of the unknowns (k, indices), and their rates, some seconds (k,) after the start; not the voltage at the leads."""
        c, spread = self.components(start, after), self.equations.to_unknowns[indices].T
        return (c @ spread).real, (self.slopes(c) @ spread).real

    def rates_at_once(self, value: np.ndarray, g: float) -> np.ndarray:
        """Rates (x + p,) of all unknowns from their values just before, by an implicit step of next to no length g in seconds."""
        equations = self.equations
        y = equations.T.T @ value
        return equations.T @ np.linalg.solve(equations.F + g * equations.G, self.f - equations.G @ y)


@dataclass(frozen=True, eq=False)
class CircuitAndField:
    """A network round a reduced field, from which the equations of each phase are made.

    resistance  (coils,) of the field's coils to direct current in ohm
    """

    network: Network | SeparateCircuits
    field: ReducedField
    resistance: np.ndarray

    @cached_property
    def branch_of_coil(self) -> list[int]:
        """Index in x of the current of each of the field's coils."""
        branches = {name: k for k, branch in enumerate(self.network.branches) for name in branch}
        return [self.network.branch_current_index(branches[name]) for name in self.field.coils]

    @cached_property
    def coupling(self) -> np.ndarray:
        """2 pi b P; (m, x)."""
        found = np.zeros((self.field.states, self.network.size))
        for k, index in enumerate(self.branch_of_coil):
            found[:, index] += 2 * math.pi * self.field.coupling[:, k]
        return found

    @cached_property
    def rate(self) -> float:
        """1/s of the drive's own period."""
        inductance = 2 * math.pi * float((self.field.coupling.sum(axis=1) ** 2).sum())
        return 2e-3 / self.network.scales(inductance)[3]

    def equations(self, switches: Switches) -> LoopEquations:
        """The equations with the switches as they stand."""
        size, m = self.network.size, self.field.states
        E, A = np.zeros((2, size + m, size + m))
        E[:size, :size], A[:size, :size], _ = self._matrices(switches)
        E[:size, size:], A[size:, :size] = self.coupling.T, -self.coupling
        E[size:, size:], A[size:, size:] = np.diag(2 * math.pi * self.field.time_constants), 2 * math.pi * np.eye(m)
        free = free_unknowns(self.network, switches)
        T = np.zeros((size + m, free.shape[1] + m))
        T[:size, :free.shape[1]], T[size:, free.shape[1]:] = free, np.eye(m)
        return LoopEquations(network=self.network, T=T, E=E, F=T.T @ E @ T, G=T.T @ A @ T, rate=self.rate)

    def phase(self, equations: LoopEquations, switches: Switches) -> Phase:
        """The equations with the arcs' voltages as they stand."""
        return Phase(equations, equations.T[:self.network.size].T @ self._matrices(switches)[2])

    def _matrices(self, switches: Switches) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return self.network.matrices(switches, dict(zip(self.field.coils, self.resistance, strict=True)), 0.0)

    @cached_property
    def networks(self) -> tuple[tuple[Network, list[int]], ...]:
        """Each network by itself, and the index in x of each of its unknowns."""
        return networks_of(self.network)

    def with_lead_voltages(self, value: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """The unknowns (..., x + p) with the voltages at the coil leads among them."""
        found = value.copy()
        for number, (network, places) in enumerate(self.networks):
            found[..., places[network.terminal_voltage_index]] = self.lead_voltage(number, value, slope)
        return found

    def lead_voltage(self, number: int, value: np.ndarray, slope: np.ndarray) -> np.ndarray:
        """Volt at the coil leads (...) of a network, from unknowns and rates (..., x + p), by its first branch: L I' + R I + psi'."""
        network, places = self.networks[number]
        leads, row = network.leads, places[network.branch_current_index(0)]
        resistance = leads.resistance + sum(r for r, index in zip(self.resistance, self.branch_of_coil, strict=True) if index == row)
        return leads.inductance * slope[..., row] + resistance * value[..., row] + slope[..., self.network.size:] @ self.coupling[:, row]


def _grown(after: np.ndarray, rates: np.ndarray) -> np.ndarray:
    """e^(lambda t) - 1 at times (k,); (k, y).  Most rates are real, and their exponentials cheap."""
    if not np.iscomplexobj(rates):
        return np.expm1(after[:, None] * rates)
    rings = rates.imag != 0
    growth = np.empty((len(after), len(rates)), dtype=complex)
    growth[:, ~rings] = np.expm1(after[:, None] * rates.real[~rings])
    growth[:, rings] = np.expm1(after[:, None] * rates[rings])
    return growth


def free_unknowns(network: Network | SeparateCircuits, switches: Switches) -> np.ndarray:
    """Orthonormal columns (x, free): voltages of the banks, and currents that obey Kirchhoff's rule with the switches as they stand."""
    count, columns, bank = len(network.banks), [], 0
    for own, places in networks_of(network):
        flows, node = _flows_into_leads(own, switches.arcs[bank:bank + len(own.banks)], switches.crowbar)
        loops = np.zeros((network.size, flows.sum() - 1))
        loops[np.array(places)[flows]] = _orthogonal_to(node[flows])
        columns.append(loops)
        bank += len(own.banks)
    return np.concatenate([np.eye(network.size, count), *columns], axis=1)


def _flows_into_leads(network: Network, arcs: tuple[str, ...], crowbar: bool) -> tuple[np.ndarray, np.ndarray]:
    """Which unknowns are currents that may flow (x,), and with which sign each flows into the coil leads' node (x,)."""
    banks, branches = (np.arange(count) for count in (len(network.banks), len(network.branches)))
    flows, node = np.zeros(network.size, dtype=bool), np.zeros(network.size)
    flows[network.bank_current_index(0) + banks] = [arc == CONDUCTING for arc in arcs]
    flows[network.branch_current_index(0) + branches] = True
    flows[network.crowbar_current_index] = network.crowbar is not None and crowbar
    node[network.bank_current_index(0) + banks], node[network.branch_current_index(0) + branches] = 1.0, -1.0
    node[network.crowbar_current_index] = -1.0 if network.crowbar is not None and network.crowbar.across == "coil" else 0.0
    return flows, node


def _orthogonal_to(vector: np.ndarray) -> np.ndarray:
    """Orthonormal columns (n, n - 1) that stand upright on a vector: those of a Householder reflection that takes it to the first axis."""
    mirror = vector / np.linalg.norm(vector)
    mirror[0] += math.copysign(1.0, mirror[0])
    return (np.eye(len(vector)) - 2 / (mirror @ mirror) * np.outer(mirror, mirror))[:, 1:]
