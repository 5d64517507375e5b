"""A field with eddy currents on a few basis fields, found by rational Krylov steps until its residual is small at every frequency.

    K u + M' u_t = S I,     flux linkage  psi = 2 pi S^T u,     M' = M - C D C^T  as in `eddy_current.py`

K is positive definite and M' has no negative eigenvalue.  With u = V p, V^T K V = 1 and V^T M' V = diag(tau) this becomes

    p_k + tau_k p_k' = b_k . I,     psi = 2 pi sum b_k p_k,     b = V^T S,     tau_k >= 0

which is a network of inductances and resistances, and passive whatever V is.  V is spanned by solutions (K + s M')^-1 S at real rates
s (A. Ruhe, Linear Algebra Appl. 58 (1984) 391).  With P = K + omega M' the error e of u at a frequency and the residual r fulfil

    |e|_K^2  <=  2 r^* P^-1 r,            |error of psi/I|  <=  2 pi sqrt(2) r^* P^-1 r

for the eigenvalues of P^-1 (K + j omega M') are (1 + j omega tau) / (1 + omega tau), not smaller than 1/sqrt(2).
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system.bordered_operator import BorderedOperator, conduction_product, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.errors import SolveError

RATIO = 4.0                 # of neighbouring rates at which the field is solved, and of those at which the residual is looked at
BEYOND = 20.0               # of the highest frequency: the highest rate
SLOW = 0.3                  # of the rate of the slowest decay: below that the field is nearly that at rest
MAX_ROUNDS = 12
AT_ONCE = 1e-4              # of 1 / the highest angular frequency: a shorter time constant is none, which errs by omega tau
INDEPENDENT = 1e-13         # of the largest eigenvalue of the Gram matrix: a field that adds less adds only rounding


@dataclass(frozen=True, eq=False, repr=False)
class ReducedField:
    """A reduced field.

    coils            names of the driven coils
    time_constants   (m,) tau in seconds, largest first
    coupling         (m, coils) b
    basis            (n, m) V, the fields u of unit p; (0, m) where they are not kept
    highest_omega    angular frequency up to which the residual was made small
    error_bound      largest over the frequencies tried of sqrt(2 r^* P^-1 r) over the field's own sqrt(u^* K u), each coil alone
    rates            (k,) real rates s in 1/s at which the field was solved
    """

    coils: tuple[str, ...]
    time_constants: np.ndarray
    coupling: np.ndarray
    basis: np.ndarray
    highest_omega: float
    error_bound: float
    rates: np.ndarray

    def __repr__(self) -> str:
        return f"ReducedField({self.states} states, coils {', '.join(self.coils)}, error bound {self.error_bound:.1e})"

    @property
    def states(self) -> int:
        """Number of states m."""
        return len(self.time_constants)

    def without_basis(self) -> ReducedField:
        """The same without the fields, which are all that is large: what the coils see."""
        return replace(self, basis=np.zeros((0, self.states)))

    def inductance(self, omega: float | np.ndarray) -> np.ndarray:
        """Complex inductances psi/I in henry at angular frequencies (k,), without the coils' resistance; (k, coils, coils)."""
        omega = np.atleast_1d(omega)
        response = 1 / (1 + 1j * omega[:, None] * self.time_constants)
        return 2 * math.pi * np.einsum("mi,km,mj->kij", self.coupling, response, self.coupling)


def reduce_field(system: EddySystem, coils: tuple[str, ...], highest_omega: float, longest_time: float, tolerance: float) -> ReducedField:
    """Reduce a system driven by coils until its relative error bound is below `tolerance` at every frequency tried.

    longest_time  longest decay time of the metal in seconds: what is slower is known from the field at rest

    Where the bound is too large P^-1 r joins the basis fields, and the frequency is tried again.  Raises SolveError where MAX_ROUNDS
    do not do.
    """
    loads = np.stack([system.load_of(name) for name in coils], axis=1)
    lowest = min(SLOW / longest_time, 0.1 * highest_omega) if longest_time > 0 else highest_omega
    with one_thread():
        rates = np.concatenate([[0.0], _geometric(lowest, BEYOND * highest_omega)])
        basis = _orthonormal(system, np.concatenate([factorize_bordered(system, rate).solve(loads) for rate in rates], axis=1))
        trials = _geometric(lowest * math.sqrt(RATIO), highest_omega)
        pending, bounds = list(trials), []
        for _ in range(MAX_ROUNDS):
            projection = _Projection.of(system, loads, basis)
            bounds, pending, corrections = projection.try_frequencies(system, pending, tolerance, bounds)
            if not pending:
                return projection.diagonal(coils, highest_omega, max(bounds), rates)
            basis = _orthonormal(system, np.concatenate([basis, *corrections], axis=1))
    raise SolveError(f"a reduced field with errors below {tolerance:.1e} was not found up to {highest_omega / (2 * math.pi):.3g} Hz: give "
                     "a coarser accuracy or a lower frequency")


def _geometric(low: float, high: float) -> np.ndarray:
    """Rates from low to high, neighbours by RATIO apart or less; the highest one alone where low is not below it."""
    if low >= high:
        return np.array([high])
    return np.geomspace(low, high, 1 + math.ceil(math.log(high / low) / math.log(RATIO)))


def _orthonormal(system: EddySystem, fields: np.ndarray) -> np.ndarray:
    """Fields that span the same (n, m) with V^T K V = 1; twice, for the first time leaves errors of rounding."""
    for _ in range(2):
        fields = fields / np.sqrt(np.einsum("nm,nm->m", fields, system.full_stiffness @ fields))
        size, vectors = np.linalg.eigh(fields.T @ (system.full_stiffness @ fields))
        kept = size > INDEPENDENT * size[-1]
        fields = fields @ (vectors[:, kept] / np.sqrt(size[kept]))
    return fields


@dataclass(frozen=True, eq=False)
class _Projection:
    """The system on basis fields: V, K V, M' V, S, and V^T M' V, V^T S; V^T K V = 1."""

    basis: np.ndarray
    stiffness: np.ndarray
    conduction: np.ndarray
    loads: np.ndarray
    reduced_conduction: np.ndarray
    coupling: np.ndarray

    @classmethod
    def of(cls, system: EddySystem, loads: np.ndarray, basis: np.ndarray) -> _Projection:
        """The projection on a basis (n, m)."""
        conduction = conduction_product(system, basis)
        return cls(basis, system.full_stiffness @ basis, conduction, loads, basis.T @ conduction, basis.T @ loads)

    def try_frequencies(self, system: EddySystem, rates: list[float], tolerance: float,
                        bounds: list[float]) -> tuple[list[float], list[float], list[np.ndarray]]:
        """Bounds, those of before among them, of the rates that are within the tolerance; the others, and P^-1 r there."""
        found, pending, corrections = list(bounds), [], []
        for rate in rates:
            bound, correction = self.error_bound(factorize_bordered(system, rate))
            if bound > tolerance:
                pending.append(rate)
                corrections.append(correction)
            else:
                found.append(bound)
        return found, pending, corrections

    def error_bound(self, operator: BorderedOperator) -> tuple[float, np.ndarray]:
        """sqrt(2 r^* P^-1 r / u^* K u) at omega = the operator's rate, the largest of the coils; and P^-1 r, (n, 2 coils)."""
        omega = operator.rate
        p = np.linalg.solve(np.eye(len(self.coupling)) + 1j * omega * self.reduced_conduction, self.coupling)
        residual = self.loads - (self.stiffness + 1j * omega * self.conduction) @ p
        parts = np.concatenate([residual.real, residual.imag], axis=1)
        correction = operator.solve(parts)
        squares = np.einsum("nk,nk->k", parts, correction).reshape(2, -1).sum(axis=0)
        return math.sqrt(float((2 * np.abs(squares) / (np.abs(p) ** 2).sum(axis=0)).max())), correction

    def diagonal(self, coils: tuple[str, ...], highest_omega: float, bound: float, rates: np.ndarray) -> ReducedField:
        """The same in the coordinates in which every state decays alone."""
        times, vectors = np.linalg.eigh(self.reduced_conduction)
        short = times < AT_ONCE / highest_omega
        bound += highest_omega * float(times[short].max(initial=0.0))
        times, vectors = np.where(short, 0.0, times)[::-1], vectors[:, ::-1]
        return ReducedField(coils=coils, time_constants=times, coupling=vectors.T @ self.coupling, basis=self.basis @ vectors,
                            highest_omega=highest_omega, error_bound=bound, rates=rates)
