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
from fieldsolve.field.nonlinear.newton import length_of_step, saturate
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.shot.integrator.field_circuit import Circuit, Coupled, coupled
from geometries.errors import SolveError

STEPS = 60                  # of Newton's method, at most
CONVERGED = 1e-4            # last step over the whole field, in the norm of its energy
FIRST = 0.07                # of the field: what the first step is measured by in place of the one before
GOOD_FALL = 0.3             # of the steps: the tangent is kept while they fall by this at least


@dataclass(frozen=True, eq=False)
class Linearized:
    """Field and circuit with the curves' metal straight about a field: `model` with the tangent there as its operator."""

    model: Coupled

    def step(self, u: np.ndarray, base: np.ndarray, g: float) -> np.ndarray:
        """y' of a stage whose metal has the tangent of `model` and passes through its H at u."""
        return replace(self.model, steady=self.load(u)).solve_stage(base, g)

    def load(self, u: np.ndarray) -> np.ndarray:
        """What stands beside S I at u: the magnetization there less what the tangent makes of u."""
        system, tangent = self.model.system, self.model.operator.system
        return self.model.steady + system.magnetized(self._total(u)) + tangent.whole_stiffness @ u - system.whole_stiffness @ u

    def residual(self, y: np.ndarray, base: np.ndarray, g: float) -> np.ndarray:
        """S I less K u and M' u', of the field alone; (n,)."""
        model, n = self.model, self.model.system.mesh.size
        u, rate = y[:n], (y[:n] - base[:n]) / g
        load = model.loads @ model.coil_currents(y[n:]) + model.steady + model.system.magnetized(self._total(u))
        return load - model.system.whole_stiffness @ u - model.operator.conduction(rate)

    def _total(self, u: np.ndarray) -> np.ndarray:
        return u + 0.5 * self.model.network.applied_field


def saturated_stage(linearized: Callable[[np.ndarray, Coupled | None], Coupled], base: np.ndarray, g: float, guess: np.ndarray,
                    like: Coupled | None = None) -> tuple[Coupled, np.ndarray]:
    """The model with the tangent at the end, and the derivatives y' of a stage.

    linearized  of y and a model whose analysis is used again: field and circuit with the tangent there
    guess       y with which to begin
    Raises SolveError where it does not converge.
    """
    about = Linearized(linearized(guess, like))
    n = about.model.system.mesh.size
    norm = _norm(about.model)
    y, before = None, FIRST * norm(guess[:n])
    u = guess[:n]
    for _ in range(STEPS):
        slope = about.step(u, base, g)
        new = base + g * slope
        step = norm(new[:n] - u)
        if step <= CONVERGED * max(norm(new[:n]), norm(base[:n])):
            return about.model, slope
        if y is not None:
            way = new - y
            new = y + length_of_step(lambda t, y=y, way=way, about=about: float(about.residual(y + t * way, base, g) @ way[:n]),
                                     float(about.residual(y, base, g) @ way[:n])) * way
        y, u = new, new[:n]
        if step > GOOD_FALL * before:
            about = Linearized(linearized(y, about.model))
        before = step
    raise SolveError(f"saturation: {STEPS} steps of Newton's method leave a step of {step / max(norm(u), 1e-300):.1e} of the field "
                     f"(limit {CONVERGED:g}): check the magnetization curve")


def _norm(model: Coupled) -> Callable[[np.ndarray], float]:
    """Square root of u . K u, the curves' metal as vacuum."""
    return lambda u: math.sqrt(max(float(u @ (model.system.whole_stiffness @ u)), 0.0))


def solved_stage(system: EddySystem | None, network: Circuit, switches: Switches, base: np.ndarray, g: float, time: float = 0.0,
                 guess: np.ndarray | None = None, like: Coupled | None = None) -> tuple[Coupled, np.ndarray]:
    """Field and circuit of a stage, and y' there: at once where metal is straight, else by Newton's method from a guess of y."""
    if system is None or not system.zones:
        model = coupled(system, network, switches, g, time, like)
        return model, model.solve_stage(base, g)

    def linearized(y: np.ndarray, like: Coupled | None) -> Coupled:
        return coupled(system, network, switches, g, time, like, y[:system.mesh.size])
    return saturated_stage(linearized, base, g, base if guess is None else guess, like)


def field_at_start(model: Coupled) -> np.ndarray:
    """u at t = 0: of the circuit's currents at its start and a steady applied field, which metal with curves is at rest in; (n,)."""
    system, network = model.system, model.network
    if system is None or not system.zones or not network.applied_field:
        return model.field_at_rest(network.start())
    load = model.loads @ model.coil_currents(network.start()) + model.steady
    return saturate(system.mesh, system.nu, list(system.zones), load, network.applied_field).u
