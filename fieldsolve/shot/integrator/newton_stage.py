"""A stage of a shot whose metal follows magnetization curves: Newton's method, each step of it a stage of straight metal.

At a field u the curves' metal is straight with its tangent reluctivity and a magnetization of its own, so that a step of Newton's method
is `Coupled.solve_stage` with the load  K_tangent u - K u + (its magnetization at u).  The circuit's equations are straight and hold after
the first step; from then on the field with the circuit is the slope of a convex energy, along which the step's length is found.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.circuit.equations import Switches
from fieldsolve.field.nonlinear.newton import line_search, solve_nonlinear
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.integrator.field_circuit import Circuit, FieldCircuit, build_field_circuit, equilibrium_field
from geometries.errors import SolveError

MAX_STEPS = 60                  # of Newton's method, at most
TOLERANCE = 1e-4            # last step over the whole field, in the norm of its energy
FIRST_STEP_SHARE = 0.07                # of the field: what the first step is measured by in place of the one before
GOOD_REDUCTION = 0.3             # of the steps: the tangent is kept while they fall by this at least


@dataclass(frozen=True, eq=False)
class Linearized:
    """Field and circuit with the curves' metal straight about a field: `model` with the tangent there as its operator."""

    model: FieldCircuit

    def step(self, u: np.ndarray, base: np.ndarray, g: float) -> np.ndarray:
        """y' of a stage whose metal has the tangent of `model` and passes through its H at u."""
        return replace(self.model, steady_load=self.load(u)).solve_stage(base, g)

    def load(self, u: np.ndarray) -> np.ndarray:
        """What stands beside S I at u: the magnetization there less what the tangent makes of u."""
        system, tangent = self.model.system, self.model.operator.system
        return self.model.steady_load + system.bh_curve_load(self._total(u)) + tangent.full_stiffness @ u - system.full_stiffness @ u

    def residual(self, y: np.ndarray, base: np.ndarray, g: float) -> np.ndarray:
        """S I less K u and M' u', of the field alone; (n,)."""
        model, n = self.model, self.model.system.mesh.size
        u, rate = y[:n], (y[:n] - base[:n]) / g
        load = model.loads @ model.coil_currents(y[n:]) + model.steady_load + model.system.bh_curve_load(self._total(u))
        return load - model.system.full_stiffness @ u - model.operator.conduction(rate)

    def _total(self, u: np.ndarray) -> np.ndarray:
        return u + 0.5 * self.model.network.applied_field


@dataclass(frozen=True, eq=False)
class StageSolution:
    """The model of a stage, the derivatives y' there, and how many matrices were factored for it."""

    model: FieldCircuit
    derivative: np.ndarray
    factorizations: int


def solve_newton_stage(linearize: Callable[[np.ndarray, FieldCircuit | None], FieldCircuit], base: np.ndarray, g: float, guess: np.ndarray,
                       reuse: FieldCircuit | None = None) -> StageSolution:
    """A stage by Newton's method, its model with the tangent at the end.

    linearize  (y, a model whose symbolic analysis is used again) -> field and circuit with the tangent at y
    guess      y with which to begin
    Raises SolveError where it does not converge.
    """
    linearization, factorizations = Linearized(linearize(guess, reuse)), 1
    n = linearization.model.system.mesh.size
    norm = _energy_norm(linearization.model)
    y, before = None, FIRST_STEP_SHARE * norm(guess[:n])
    u = guess[:n]
    for _ in range(MAX_STEPS):
        derivative = linearization.step(u, base, g)
        new = base + g * derivative
        step = norm(new[:n] - u)
        if step <= TOLERANCE * max(norm(new[:n]), norm(base[:n])):
            return StageSolution(linearization.model, derivative, factorizations)
        if y is not None:
            direction = new - y

            def slope(t: float, y=y, direction=direction, linearization=linearization) -> float:
                return float(linearization.residual(y + t * direction, base, g) @ direction[:n])
            new = y + line_search(slope, slope(0.0)) * direction
        y, u = new, new[:n]
        if step > GOOD_REDUCTION * before:
            linearization, factorizations = Linearized(linearize(y, linearization.model)), factorizations + 1
        before = step
    raise SolveError(f"saturation: {MAX_STEPS} steps of Newton's method leave a step of {step / max(norm(u), 1e-300):.1e} of the field "
                     f"(limit {TOLERANCE:g}): check the magnetization curve")


def _energy_norm(model: FieldCircuit) -> Callable[[np.ndarray], float]:
    """Square root of u . K u, the curves' metal as vacuum."""
    return lambda u: math.sqrt(max(float(u @ (model.system.full_stiffness @ u)), 0.0))


def solve_implicit_stage(system: EddySystem | None, network: Circuit, switches: Switches, base: np.ndarray, g: float, time: float = 0.0,
                         guess: np.ndarray | None = None, reuse: FieldCircuit | None = None) -> StageSolution:
    """A stage of field and circuit: one linear solve, or Newton's method from a guess of y where metal has a B-H curve."""
    if system is None or not system.zones:
        model = build_field_circuit(system, network, switches, g, time, reuse)
        return StageSolution(model, model.solve_stage(base, g), 1)

    def linearize(y: np.ndarray, reuse: FieldCircuit | None) -> FieldCircuit:
        return build_field_circuit(system, network, switches, g, time, reuse, y[:system.mesh.size])
    return solve_newton_stage(linearize, base, g, base if guess is None else guess, reuse)


def initial_field(model: FieldCircuit) -> np.ndarray:
    """u at t = 0: of the circuit's currents at its start and a steady applied field, which metal with curves is at rest in; (n,)."""
    system, network = model.system, model.network
    if system is None or not system.zones or not network.applied_field:
        return equilibrium_field(system, network, network.initial_state())
    load = model.loads @ model.coil_currents(network.initial_state()) + model.steady_load
    return solve_nonlinear(system.mesh, system.nu, list(system.zones), load, network.applied_field).u
