"""Fields at frequencies between solved ones: combinations of fields that are there, and of more until their error is small.

With A = K + j omega M' and few real fields V, the solution of A u = f is sought as u = V p, V^T A V p = V^T f (Galerkin).  V begins with
the real and the imaginary parts of the solutions at other frequencies, where P = K + s M' has been factored.  The error e and the
residual r = f - A u fulfil

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

MAX_FIELDS = 100            # in V for each load
INDEPENDENT = 1e-3          # of the most that fields add to V: directions that add less are left out, for P^-1 r has nearly one direction


@dataclass(frozen=True, eq=False)
class ProjectionSpace:
    """Real fields V^T, one a row (m, n), nearly orthonormal in K, and V^T K V and V^T M' V."""

    system: EddySystem
    basis: np.ndarray
    stiffness: np.ndarray
    conduction: np.ndarray

    @classmethod
    def spanned_by(cls, system: EddySystem, fields: np.ndarray) -> ProjectionSpace:
        """The space of real fields (n, k)."""
        return cls(system, np.zeros((0, len(fields))), np.zeros((0, 0)), np.zeros((0, 0))).with_fields(fields)

    def with_fields(self, fields: np.ndarray) -> ProjectionSpace:
        """The space with more real fields (n, k), those of zeros left out."""
        new = self._independent(fields[:, fields.any(axis=0)])
        basis = np.concatenate([self.basis, new.T])
        stiffness, conduction = basis @ (self.system.full_stiffness @ new), basis @ conduction_product(self.system, new)
        return ProjectionSpace(self.system, basis, _bordered(self.stiffness, stiffness), _bordered(self.conduction, conduction))

    def _independent(self, fields: np.ndarray) -> np.ndarray:
        """What fields (n, k) add to the space, orthonormal in K."""
        fields = fields / np.sqrt(np.einsum("nk,nk->k", fields, self.system.full_stiffness @ fields))
        fields = fields - self.basis.T @ (self.basis @ (self.system.full_stiffness @ fields))
        square, vectors = np.linalg.eigh(fields.T @ (self.system.full_stiffness @ fields))
        independent = square > INDEPENDENT**2 * square[-1]
        return fields @ (vectors[:, independent] / np.sqrt(square[independent]))

    def solve(self, loads: np.ndarray, omega: float, nearest: BorderedOperator, tolerance: float) -> tuple[np.ndarray, ProjectionSpace]:
        """Fields A^-1 loads at an angular frequency, and the space with what joined V for them; complex loads and fields (n, k).

        nearest    P, factored at a rate s not far from omega
        tolerance  of the error's energy norm over the field's
        Raises SolveError where MAX_FIELDS for each load do not do.
        """
        factor, space, limit = 0.5 * (1 + math.hypot(1, nearest.rate / omega)), self, MAX_FIELDS * loads.shape[1]
        loads = _parts(loads)
        with one_thread():
            while len(space.basis) < limit:
                fields, energies = space._galerkin(loads, omega)
                residual = loads - self._product(fields, omega)
                correction = nearest.solve(residual)
                errors = factor * np.einsum("nk,nk->k", residual, correction).reshape(2, -1).sum(axis=0)
                if (errors <= tolerance**2 * energies).all():
                    return _complex(fields), space
                space = space.with_fields(correction)
        raise SolveError(f"the field at {omega / (2 * math.pi):.6g} Hz was not found from those at other frequencies with {limit} "
                         "fields: solve for it alone")

    def _galerkin(self, loads: np.ndarray, omega: float) -> tuple[np.ndarray, np.ndarray]:
        """Fields V p as real and then imaginary parts (n, 2 k), and u^* K u of each (k,)."""
        p = np.linalg.solve(self.stiffness + 1j * omega * self.conduction, _complex(self.basis @ loads))
        return self.basis.T @ _parts(p), np.einsum("mk,ml,lk->k", p.conj(), self.stiffness, p).real

    def _product(self, fields: np.ndarray, omega: float) -> np.ndarray:
        """A u of fields as real and then imaginary parts; (n, 2 k)."""
        lagging = np.roll(conduction_product(self.system, fields), fields.shape[1] // 2, axis=1)
        return self.system.full_stiffness @ fields + omega * lagging * np.repeat([-1.0, 1.0], fields.shape[1] // 2)


def _bordered(square: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """A symmetric matrix with more columns (m + k, k), and the same below as rows."""
    return np.block([[square, columns[:len(square)]], [columns.T]])


def _parts(values: np.ndarray) -> np.ndarray:
    """Columns of real, then columns of imaginary parts."""
    return np.concatenate([values.real, values.imag], axis=1)


def _complex(parts: np.ndarray) -> np.ndarray:
    real, imaginary = np.split(parts, 2, axis=1)
    return real + 1j * imaginary
