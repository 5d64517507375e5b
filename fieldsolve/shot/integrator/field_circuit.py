"""The field and the circuit as one system in time: the implicit stage, and the heat in each cell.

Unknowns y = (u, x): u_t and the currents of the coil branches meet in
    K u + (M - C D C^T) u_t = S I,        V_coil = R I + 2 pi s . u_t,
and the circuit's few rows are a border (Schur complement).
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.circuit.contract import Circuit
from fieldsolve.circuit.equations import Switches
from fieldsolve.field.fem.quadrature import part_quadrature
from fieldsolve.field.linear_algebra.solvers import factorize
from fieldsolve.field.quantities.induced_currents import lorentz_nodal_forces, triangle_heat_rates
from fieldsolve.field.quantities.virtual_work import virtual_work_body_forces
from fieldsolve.field.system.bordered_operator import BorderedOperator, factorize_bordered
from fieldsolve.field.system.coefficients import is_magnetic
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.magnetostatic import reluctivity_load
from fieldsolve.motion.movement import Movement


@dataclass(frozen=True, eq=False)
class FieldCircuit:
    """Field and circuit with the switches and the conductivity as they stand, factored for stages of g = gamma h seconds.

    stage             g in seconds
    system, operator  of the field; None for a circuit without field; the operator's K is the tangent of metal with B-H curves
    loads             (n, coils) S of the coils in the circuit
    steady_load       (n,) of a steady applied field on permeable metal
    branch_incidence  (coils, size) which unknown is the current of each coil
    coil_response     (n, coils) (K + M'/g)^-1 S / g
    E, A, b           of the circuit, see `fieldsolve.circuit.equations`
    """

    stage: float
    system: EddySystem | None
    network: Circuit
    operator: BorderedOperator | None
    loads: np.ndarray
    steady_load: np.ndarray
    branch_incidence: np.ndarray
    coil_response: np.ndarray
    E: np.ndarray
    A: np.ndarray
    b: np.ndarray

    def solve_stage(self, base: np.ndarray, g: float, guess: np.ndarray | None = None) -> np.ndarray:
        """Derivatives y' at a stage: the equations hold for base + g y'.

        guess  derivatives to be corrected; by a factor of other conductivities, as `with_kept_factor` has it, they come nearer to y'
        """
        n = len(base) - self.network.size
        start = base if guess is None else base + g * guess
        u, x = start[:n], start[n:]
        # 1. field with the currents as they were:  K (u + g u') + M' u' = S I
        rate_at_fixed_current = u
        if self.operator is not None:
            residual = self.loads @ (self.branch_incidence @ x) + self.steady_load - self.operator.system.full_stiffness @ u
            if guess is not None:
                residual -= self.operator.conduction(guess[:n])
            rate_at_fixed_current = self.operator.solve(residual) / g
        # 2. circuit:  E x' + A (x + g x') + P^T 2 pi S^T u' = b
        matrix = self.E + g * (self.A + self._linkage_response)
        rate = rate_at_fixed_current if guess is None else rate_at_fixed_current + guess[:n]
        right = self.b - self.A @ x - 2 * math.pi * self.branch_incidence.T @ (self.loads.T @ rate)
        derivative = np.linalg.solve(matrix, right if guess is None else right - self.E @ guess[n:])
        # 3. field with the change of current
        found = np.concatenate([rate_at_fixed_current + g * self.coil_response @ (self.branch_incidence @ derivative), derivative])
        return found if guess is None else guess + found

    @cached_property
    def _linkage_response(self) -> np.ndarray:
        """P^T 2 pi S^T (K + M'/g)^-1 S P / g: what the rates of the currents induce in the coils' branches at once; (size, size)."""
        return 2 * math.pi * self.branch_incidence.T @ (self.loads.T @ self.coil_response) @ self.branch_incidence

    def with_kept_factor(self, system: EddySystem, switches: Switches, time: float) -> FieldCircuit:
        """Field and circuit with other conductivities, places of the nodes and switches, and the factor of these: to correct by."""
        loads, E, A, b = _loads_and_circuit(system, self.network, switches, time)
        return replace(self, system=system, operator=replace(self.operator, system=system), loads=loads,
                       steady_load=_steady_load(system, self.network), E=E, A=A, b=b)

    def filter_error(self, u: np.ndarray) -> np.ndarray:
        """What is left of a disturbance u of the metal after a stage, with the air round it: (K + M'/g)^-1 M' u / g.

        M. E. Hosea and L. F. Shampine, Appl. Numer. Math. 20 (1996) 21: so filtered, an error holds no more of what decays at once (a
        skin that forms, metal passing the knee of its curve), and none of the air, whose field has no rate of its own and which moves.
        """
        return self.operator.solve(self.operator.conduction(u)) / self.stage

    def currents_by_name(self, x: np.ndarray) -> dict[str, float]:
        """Ampere per turn by coil."""
        return dict(zip(self.network.coil_names, self.coil_currents(x).tolist(), strict=True))

    def coil_currents(self, x: np.ndarray) -> np.ndarray:
        """Ampere per turn of each coil in the circuit."""
        return self.branch_incidence @ x


@dataclass(frozen=True, eq=False)
class Stage:
    """One stage of a step: the model at its time and place, value and derivative there; u_t is the rate of r^2 u in the metal over r^2."""

    model: FieldCircuit
    value: np.ndarray
    derivative: np.ndarray
    movement: Movement | None = None

    @cached_property
    def forces(self) -> tuple[np.ndarray, ...]:
        """Nodal forces (k, 2) in newton on each moving body: J x B, or by the field's energy: of a skin too thin, of magnetic metal."""
        system, applied = self.model.system, self.model.network.applied_field
        u, u_t = self.value[:system.mesh.size], self.derivative[:system.mesh.size]
        currents = self.model.currents_by_name(self.value[system.mesh.size:])
        bodies = self.movement.bodies
        virtual_work = (
            self.movement.virtual_work_forces_on_bodies(system, u, applied) if any(body.perfectly_conducting for body in bodies) else None
        )
        found = []
        for body in bodies:
            if body.perfectly_conducting:
                forces = virtual_work
            elif is_magnetic(system.section, body.name):
                forces = virtual_work_body_forces(system, body.name, u, applied)
            else:
                forces = lorentz_nodal_forces(system, part_quadrature(system.mesh, body.name), u + 0.5 * applied, u_t, currents)
            found.append(forces[body.nodes])
        return tuple(found)

    @cached_property
    def heat_rate(self) -> np.ndarray:
        """Ohmic heat of each triangle in watt; shape (m,)."""
        system = self.model.system
        if system is None:
            return np.zeros(0)
        return triangle_heat_rates(system, self.derivative[:system.mesh.size], self.model.currents_by_name(self.value[system.mesh.size:]))


def mean_heat_rate(stages: tuple[Stage, ...], weights: tuple[float, ...]) -> np.ndarray:
    """Ohmic heat of each triangle in watt, the mean over a step whose stages have these weights; shape (m,)."""
    return sum(weight * stage.heat_rate for weight, stage in zip(weights, stages, strict=True))


def build_field_circuit(system: EddySystem | None, network: Circuit, switches: Switches, g: float, time: float = 0.0,
                        reuse: FieldCircuit | None = None, linearized_at: np.ndarray | None = None) -> FieldCircuit:
    """Factor field and circuit for stages of g = gamma h seconds at a time.

    reuse          a model whose symbolic analysis is used again (and ends)
    linearized_at  u (n,) at which metal with B-H curves has its tangent; None: it is as vacuum
    """
    if system is None:
        E, A, b = network.matrices(switches, {}, time)
        return FieldCircuit(stage=g, system=None, network=network, operator=None, loads=np.zeros((0, 0)), steady_load=np.zeros(0),
                            branch_incidence=np.zeros((0, network.size)), coil_response=np.zeros((0, 0)), E=E, A=A, b=b)
    linear_system = system if linearized_at is None else system.tangent(linearized_at + 0.5 * network.applied_field)
    operator = factorize_bordered(linear_system, 1 / g, reuse and reuse.operator.factor)
    coils = network.coil_names
    loads, E, A, b = _loads_and_circuit(system, network, switches, time)
    coil_response = np.stack([operator.solve_coil(name) for name in coils], axis=1) / g if coils else loads
    return FieldCircuit(stage=g, system=system, network=network, operator=operator, loads=loads,
                        steady_load=_steady_load(system, network), branch_incidence=_branch_incidence(network),
                        coil_response=coil_response, E=E, A=A, b=b)


def _loads_and_circuit(system: EddySystem, network: Circuit, switches: Switches,
                       time: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """S (n, coils) at the conductivities of a system, and E, A, b of the circuit with its coils as hot as they are."""
    coils = network.coil_names
    loads = np.stack([system.load_of(name) for name in coils], axis=1) if coils else np.zeros((system.mesh.size, 0))
    return loads, *network.matrices(switches, {name: dc_resistance(system, name) for name in coils}, time)


def equilibrium_field(system: EddySystem | None, network: Circuit, x: np.ndarray, metal: np.ndarray | None = None,
                      u_metal: np.ndarray | None = None) -> np.ndarray:
    """Field of the currents in x and of the steady applied field; round metal whose nodes keep their u, or with no eddy currents."""
    if system is None:
        return np.zeros(0)
    u, free = np.zeros(system.mesh.size), np.ones(system.mesh.size, dtype=bool)
    if metal is not None:
        u[metal], free[metal] = u_metal, False
    currents = _branch_incidence(network) @ x
    coil_load = sum(current * system.load_of(name) for name, current in zip(network.coil_names, currents, strict=True))
    load = (coil_load + _steady_load(system, network) - system.full_stiffness @ u)[free]
    if load.any():
        u[free] = factorize(csc_array(system.stiffness[free][:, free]), solver=system.linear_solver).solve(load)
    return u


def _branch_incidence(network: Circuit) -> np.ndarray:
    """Which unknown of the circuit is the current of each coil; (coils, size)."""
    incidence = np.zeros((len(network.coil_names), network.size))
    for k, branch in enumerate(network.branches):
        for name in branch:
            incidence[network.coil_names.index(name), network.branch_current_index(k)] = 1.0
    return incidence


def _steady_load(system: EddySystem, network: Circuit) -> np.ndarray:
    """Load of a steady applied field on permeable metal; (n,)."""
    return network.applied_field * reluctivity_load(system.mesh, system.nu) if network.applied_field else np.zeros(system.mesh.size)


def dc_resistance(system: EddySystem, coil: str) -> float:
    """Resistance to direct current of a coil in ohm as hot as it is."""
    turns = system.turns_of(coil)
    return float((1 / system.turn_conductance[turns]).sum()) if len(turns) else float(system.coil_resistance[coil] or 0.0)
