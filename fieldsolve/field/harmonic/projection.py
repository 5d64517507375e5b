"""Fields at frequencies between solved ones: combinations of fields that are there, and of more until their error is small.

With A = K + j omega M' and few real fields V, V^T K V = 1, the solution of A u = f is sought as u = V p, V^T A V p = V^T f (Galerkin).
V begins with the real and the imaginary parts of the solutions at other frequencies, where P = K + s M' has been factored.  The error e
and the residual r = f - A u fulfil

    |e|_K^2  <=  c r^* P^-1 r,        c = (1 + sqrt(1 + (s / omega)^2)) / 2

In the coordinates in which K is 1 and M' is diag(tau), |e|_K^2 is the sum of |r_k|^2 / (1 + (omega tau_k)^2), r^* P^-1 r that of
|r_k|^2 / (1 + s tau_k), and c is the largest value of (1 + s tau) / (1 + (omega tau)^2).  Where the bound is too large, P^-1 r joins V:
a rational Krylov step (A. Ruhe, Linear Algebra Appl. 58 (1984) 391), by which all later frequencies gain.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system.bordered_operator import BorderedOperator, conduction_product
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.errors import SolveError

MAX_FIELDS = 300            # in V
INDEPENDENT = 1e-3          # of the most that fields add to V: directions that add less are left out, for P^-1 r has nearly one direction


@dataclass(frozen=True, eq=False)
class ProjectionSpace:
    """Fields V (n, m) with V^T K V = 1, their K V and M' V, each (n, m), and V^T M' V."""

    system: EddySystem
    basis: np.ndarray
    stiffness: np.ndarray
    conduction: np.ndarray
    reduced_conduction: np.ndarray

    @classmethod
    def spanned_by(cls, system: EddySystem, fields: np.ndarray) -> ProjectionSpace:
        """The space of real fields (n, k)."""
        nothing = np.zeros((len(fields), 0))
        return cls(system, nothing, nothing, nothing, np.zeros((0, 0))).with_fields(fields)

    def with_fields(self, fields: np.ndarray) -> ProjectionSpace:
        """The space with more real fields (n, k), those of zeros left out."""
        fields = fields[:, fields.any(axis=0)]
        new, stiffness = self._orthonormal(fields, self.system.full_stiffness @ fields)
        conduction = conduction_product(self.system, new)
        beside = self.basis.T @ conduction
        return ProjectionSpace(
            self.system, *(np.concatenate(pair, axis=1) for pair in ((self.basis, new), (self.stiffness, stiffness),
                                                                     (self.conduction, conduction))),
            np.block([[self.reduced_conduction, beside], [beside.T, new.T @ conduction]]))

    def _orthonormal(self, fields: np.ndarray, stiffness: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What fields F add to the space, with F^T K F = 1, and its K F; twice, for the first time leaves errors of rounding."""
        for _ in range(2):
            norm = np.sqrt(np.einsum("nk,nk->k", fields, stiffness))
            inside = self.stiffness.T @ (fields / norm)
            fields, stiffness = fields / norm - self.basis @ inside, stiffness / norm - self.stiffness @ inside
            square, vectors = np.linalg.eigh(fields.T @ stiffness)
            independent = square > INDEPENDENT**2 * square[-1]
            turned = vectors[:, independent] / np.sqrt(square[independent])
            fields, stiffness = fields @ turned, stiffness @ turned
        return fields, stiffness

    def solve(self, loads: np.ndarray, omega: float, nearest: BorderedOperator, tolerance: float) -> tuple[np.ndarray, ProjectionSpace]:
        """Fields A^-1 loads at an angular frequency, and the space with what joined V for them; complex loads and fields (n, k).

        nearest    P, factored at a rate s not far from omega
        tolerance  of the error's energy norm over the field's
        Raises SolveError where MAX_FIELDS do not do.
        """
        factor = 0.5 * (1 + math.hypot(1, nearest.rate / omega))
        space = self
        with one_thread():
            while space.basis.shape[1] < MAX_FIELDS:
                p, residual = space._galerkin(loads, omega)
                correction = nearest.solve(residual)
                error_square = factor * np.einsum("nk,nk->k", residual, correction).reshape(2, -1).sum(axis=0)
                if (error_square <= tolerance**2 * (np.abs(p) ** 2).sum(axis=0)).all():
                    return space.basis @ p.real + 1j * (space.basis @ p.imag), space
                space = space.with_fields(correction)
        raise SolveError(f"the field at {omega / (2 * math.pi):.6g} Hz was not found from those at other frequencies with {MAX_FIELDS} "
                         "fields: solve for it alone")

    def _galerkin(self, loads: np.ndarray, omega: float) -> tuple[np.ndarray, np.ndarray]:
        """Coordinates p (m, k) of the fields, and the real and then the imaginary parts of their residuals (n, 2 k)."""
        reduced_loads = self.basis.T @ loads.real + 1j * (self.basis.T @ loads.imag)
        p = np.linalg.solve(np.eye(len(reduced_loads)) + 1j * omega * self.reduced_conduction, reduced_loads)
        real = loads.real - self.stiffness @ p.real + omega * (self.conduction @ p.imag)
        imaginary = loads.imag - self.stiffness @ p.imag - omega * (self.conduction @ p.real)
        return p, np.concatenate([real, imaginary], axis=1)
