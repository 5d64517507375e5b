"""One implicit stage in time of a field whose metal saturates, by Newton's method, without a circuit."""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.field.linear_algebra.symmetric import full_matrix
from fieldsolve.field.nonlinear.newton import NonlinearStiffness, nonlinear_stiffness, solve_newton
from fieldsolve.field.system.bh_curve_zone import bh_curve_zones
from fieldsolve.field.system.bordered_operator import BorderedOperator, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem


@dataclass(eq=False)
class NonlinearField:
    """Field matrices with metal that saturates: `system` holds K as if that metal were vacuum, `stiffness` K at any field.

    factorizations  how many matrices were factored so far
    """

    system: EddySystem
    stiffness: NonlinearStiffness
    factorizations: int = 0

    def stage(self, load: np.ndarray, base: np.ndarray, g: float, guess: np.ndarray) -> np.ndarray:
        """u' from K(u) u + (M - C D C^T) u' = load with u = base + g u'.

        guess   u with which to begin
        The energy whose slope this is, with `(u - base) M' (u - base)/(2 g)`, is convex as at rest.
        Raises SolveError where Newton's method does not converge.
        """
        model: BorderedOperator = self._model(guess, g, None)

        def residual(u: np.ndarray) -> tuple[np.ndarray, float]:
            forces, magnitude = self.stiffness.forces(u)
            drag = model.conduction(u - base) / g
            return load - forces - drag, float(np.linalg.norm(magnitude + np.abs(load) + np.abs(drag)))

        def direction(u: np.ndarray, force: np.ndarray) -> np.ndarray:
            nonlocal model
            if u is not guess:
                model = self._model(u, g, model)
            return model.solve(force)
        return (solve_newton(residual, direction, guess)[0] - base) / g

    def _model(self, u: np.ndarray, g: float, before: BorderedOperator | None) -> BorderedOperator:
        self.factorizations += 1
        tangent = self.stiffness.matrix(u, tangent=True)
        system = replace(self.system, stiffness=tangent, full_stiffness=full_matrix(tangent))
        return factorize_bordered(system, 1 / g, before and before.factor)


def nonlinear_field(system: EddySystem, applied_field: float) -> NonlinearField | None:
    """The field of a system with the B-H curves of its metal; None where no metal has one."""
    zones = bh_curve_zones(system.section, system.mesh)
    return NonlinearField(system, nonlinear_stiffness(system.mesh, system.nu, zones, applied_field)) if zones else None
