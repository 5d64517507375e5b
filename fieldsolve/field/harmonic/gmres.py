"""(K + j omega M) u = f by GMRES, preconditioned with the real Cholesky factor of K + s M, s = omega or near it.

O. Axelsson, M. Neytcheva, B. Ahmad, Numer. Algorithms 66 (2014) 811: with W = K and T = s M the real form
[W -T; T W] [x; y] = [f; g] is preconditioned by [W -T; T W + 2T], solved by
1. (W + T) h = f + g,  2. (W + T) y = g - T h,  3. x = h - y.
At s = omega the eigenvalues lie between 1/2 and 1 whatever the mesh and the frequency.
"""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system.bordered_operator import BorderedOperator, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.errors import SolveError

TOLERANCE = 1e-12           # of the residual, relative to the load
MOST_STEPS = 60


@dataclass(frozen=True, eq=False)
class HarmonicOperator:
    """A = K + j omega (M - C D C^T) at one angular frequency, and the real operator, at this rate or one near it, that preconditions it."""

    system: EddySystem
    omega: float
    real: BorderedOperator

    @property
    def factor_name(self) -> str:
        """Name of the linear solver behind it."""
        return self.real.factor.name

    def conduction(self, x: np.ndarray) -> np.ndarray:
        """(M - C D C^T) x."""
        return self.real.conduction(x)

    def proxy_solve(self, loads: np.ndarray) -> np.ndarray:
        """Fields of the size of A^-1 loads, by a real operator: good enough to show where errors arise; loads (n, k).

        In metal A^-1 decays as exp(-x / skin depth), so does (K + omega M / 2)^-1.
        """
        real = factorize_bordered(self.system, self.omega / 2)
        if np.iscomplexobj(loads):
            return real.solve(loads.real.copy()) + 1j * real.solve(loads.imag.copy())
        return real.solve(loads)

    def solve(self, load: np.ndarray) -> np.ndarray:
        """A^-1 load for one complex right-hand side; SolveError where GMRES does not converge."""
        size = len(load)
        if not np.abs(load).max() > 0:
            return np.zeros(size, dtype=complex)
        right = np.concatenate([load.real, load.imag])

        def product(x: np.ndarray) -> np.ndarray:
            parts = np.ascontiguousarray(x.reshape(2, size).T)                      # real and imaginary part at once
            (K_x, K_y), (M_x, M_y) = (self.system.full_stiffness @ parts).T, self.conduction(parts).T
            return np.concatenate([K_x - self.omega * M_y, K_y + self.omega * M_x])

        def precondition(b: np.ndarray) -> np.ndarray:
            f, g = b[:size], b[size:]
            h = self.real.solve(f + g)
            y = self.real.solve(g - self.real.rate * self.conduction(h))
            return np.concatenate([h - y, y])

        with one_thread():
            x = minimize_residual(product, precondition, right)
        residual = np.linalg.norm(product(x) - right) / np.linalg.norm(right)
        if not residual < 1e-9:
            raise SolveError(f"GMRES left a residual of {residual:.1e} after {MOST_STEPS} steps (limit 1e-9): the mesh is badly shaped "
                             "or a material is not a number")
        return x[:size] + 1j * x[size:]


def minimize_residual(product: Callable[[np.ndarray], np.ndarray], precondition: Callable[[np.ndarray], np.ndarray],
                      right: np.ndarray) -> np.ndarray:
    """x with A P z = right, x = P z, by GMRES from zero: until the residual is TOLERANCE of `right`, or after MOST_STEPS steps.

    Y. Saad, M. H. Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856, with the preconditioner on the right, so that the residual is the true
    one.  The numbers of steps are small, so that the least squares are solved anew in each.
    """
    scale = float(np.linalg.norm(right))
    basis, hessenberg, z = [right / scale], np.zeros((MOST_STEPS + 1, MOST_STEPS)), np.zeros(0)
    for k in range(MOST_STEPS):
        # 1. the next vector of the Krylov space, at right angles to those before
        new = product(precondition(basis[k]))
        for j, vector in enumerate(basis):
            hessenberg[j, k] = vector @ new
            new -= hessenberg[j, k] * vector
        hessenberg[k + 1, k] = np.linalg.norm(new)
        # 2. least squares: the combination with the smallest residual
        first = np.zeros(k + 2)
        first[0] = scale
        z = np.linalg.lstsq(hessenberg[:k + 2, :k + 1], first, rcond=None)[0]
        residual = np.linalg.norm(first - hessenberg[:k + 2, :k + 1] @ z)
        if residual <= TOLERANCE * scale or hessenberg[k + 1, k] <= TOLERANCE * abs(hessenberg[:k + 1, k]).max():
            break
        basis.append(new / hessenberg[k + 1, k])
    # 3. the solution
    return precondition(sum(share * vector for share, vector in zip(z, basis, strict=False)))


def harmonic_operator(system: EddySystem, omega: float) -> HarmonicOperator:
    """Factor K + omega M and prepare the border of the solid turns."""
    return HarmonicOperator(system, omega, factorize_bordered(system, omega))
