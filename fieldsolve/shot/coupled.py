"""The field and the circuit as one system in time: the implicit stage, and the heat in each cell.

Unknowns y = (u, x): u_t and the currents of the coil branches meet in
    K u + (M - C D C^T) u_t = S I,        V_coil = R I + 2 pi s . u_t,
and the circuit's few rows are a border (Schur complement).
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.circuit.equations import Network, Switches, matrices
from fieldsolve.field.bordered import Bordered, bordered
from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.shot.metal import cell_heat


@dataclass(frozen=True, eq=False)
class Coupled:
    """Field and circuit with the switches and the conductivity as they stand, factored for stages of g = gamma h seconds.

    system, operator  of the field; None for a circuit without field
    loads             (n, coils) S of the coils in the circuit, spread (coils, size) the branch each coil's current is
    solved            (n, coils) (K + M'/g)^-1 S / g
    """

    stage: float
    system: EddySystem | None
    network: Network
    operator: Bordered | None
    loads: np.ndarray
    spread: np.ndarray
    solved: np.ndarray
    E: np.ndarray
    A: np.ndarray
    b: np.ndarray

    def solve_stage(self, base: np.ndarray, g: float) -> np.ndarray:
        """Derivatives y' at a stage: the equations hold for base + g y'."""
        n = len(base) - self.network.size
        u, x = base[:n], base[n:]
        # 1. field with the currents as they were:  K (u + g u') + M' u' = S I
        at_rest = u
        if self.operator is not None:
            at_rest = self.operator.solve(self.loads @ (self.spread @ x) - self.system.whole_stiffness @ u) / g
        # 2. circuit:  E x' + A (x + g x') + P^T 2 pi S^T u' = b
        linkage = 2 * math.pi * self.loads.T
        matrix = self.E + g * self.A + self.spread.T @ (g * linkage @ self.solved) @ self.spread
        slope = np.linalg.solve(matrix, self.b - self.A @ x - self.spread.T @ (linkage @ at_rest))
        # 3. field with the change of current
        return np.concatenate([at_rest + g * self.solved @ (self.spread @ slope), slope])

    def coil_currents(self, x: np.ndarray) -> np.ndarray:
        """Ampere per turn of each coil in the circuit."""
        return self.spread @ x


def coupled(system: EddySystem | None, network: Network, switches: Switches, g: float, like: Coupled | None = None) -> Coupled:
    """Factor field and circuit for stages of g = gamma h seconds; `like` is a model whose analysis is used again (and ends)."""
    if system is None:
        return Coupled(g, None, network, None, np.zeros((0, 0)), np.zeros((0, network.size)), np.zeros((0, 0)),
                       *matrices(network, switches, {}))
    operator = bordered(system, 1 / g, like and like.operator.factor)
    coils = [name for branch in network.branches for name in branch]
    loads = np.stack([system.load_of(name) for name in coils], axis=1) if coils else np.zeros((system.mesh.size, 0))
    spread = np.zeros((len(coils), network.size))
    for k, branch in enumerate(network.branches):
        for name in branch:
            spread[coils.index(name), network.branch_current(k)] = 1.0
    resistance = {name: resistance_of(system, name) for name in coils}
    solved = operator.solve(loads) / g if coils else loads
    return Coupled(g, system, network, operator, loads, spread, solved, *matrices(network, switches, resistance))


def resistance_of(system: EddySystem, coil: str) -> float:
    """Resistance to direct current of a coil in ohm as hot as it is."""
    turns = system.turns_of(coil)
    return float((1 / system.turn_conductance[turns]).sum()) if len(turns) else float(system.coil_resistance[coil] or 0.0)


def heat_rate(model: Coupled, derivative: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Ohmic heat of each triangle in watt at a stage; shape (m,)."""
    if model.system is None:
        return np.zeros(0)
    n = model.system.mesh.size
    names = [name for branch in model.network.branches for name in branch]
    currents = dict(zip(names, model.coil_currents(value[n:]), strict=True))
    return cell_heat(model.system, derivative[:n], currents)
