"""The contract of a linear solver, the choice of one, and factors whose every solution is checked."""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.cholesky import Cholmod, cholmod_is_installed
from fieldsolve.field.linear_algebra.superlu import SuperLU
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from geometries.errors import InputError, SolveError

GOOD_BACKWARD_ERROR = 1e-15     # backward error with which a solution is not refined
RESIDUAL_LIMIT = 1e-11          # backward error |b - A x| / (|A| |x| + |b|), largest norm
NOT_KEPT = "the factor is not part of a pickle or a copy: factorize the matrix again with factorize(factor.lower)"


class Factorization(Protocol):
    """A factored matrix A.

    Contract:

    1. `solve(load)` takes real right-hand sides of shape (n,) or (n, k) and returns A^-1 load in the same shape.
    2. It leaves `load` as it is.
    3. It need not check the residual: `Factor` does.
    """

    def solve(self, load: np.ndarray) -> np.ndarray:
        """Solution of A x = load."""


class LinearSolver(Protocol):
    """What factors the symmetric positive definite matrices of a field.

    Contract:

    1. `name` is what a result reports as its `solver`.
    2. `uses_order` says whether `factorize` reads `order`; where it is False no order is computed.
    3. `factorize` gets the lower triangle of a real symmetric positive definite matrix: CSC, float64, rows sorted in each
       column, diagonal present.  It leaves the matrix as it is.
    4. `previous` is None, or a factorization by the same solver of a matrix with the same pattern.  The solver may take over
       its symbolic analysis and overwrite it: the caller never uses `previous` again.
    5. `order` is None, or a permutation (n,) of the unknowns in the order to eliminate them.  It is advice.
    6. A singular matrix raises SolveError, and so does any other that is seen not to be positive definite.
    7. The solver keeps nothing between calls: one object factors many matrices, and several at once.
    8. It pickles by reference or by value, for results keep the solver; they do not keep its factorizations.
    """

    @property
    def name(self) -> str:
        """What a result reports as its `solver`."""

    @property
    def uses_order(self) -> bool:
        """Whether `factorize` reads `order`."""

    def factorize(self, lower: csc_array, previous: Factorization | None, order: np.ndarray | None) -> Factorization:
        """Factorization of the matrix whose lower triangle is given."""


BUILT_IN: dict[str, LinearSolver] = {"cholmod": Cholmod(), "superlu": SuperLU()}


def choose_solver(linear_solver: str | LinearSolver | None = None) -> LinearSolver:
    """The solver of a name, or the object itself; None: CHOLMOD where cvxopt is installed, else SuperLU.

    Raises InputError for an unknown name, for "cholmod" without cvxopt, and for an object that is no `LinearSolver`.
    """
    if linear_solver is None:
        return BUILT_IN["cholmod" if cholmod_is_installed() else "superlu"]
    if not isinstance(linear_solver, str):
        if not all(hasattr(linear_solver, name) for name in ("name", "uses_order", "factorize")):
            raise InputError(f"linear_solver = {linear_solver!r}: give an object with name, uses_order and factorize, see "
                             "fieldsolve.field.linear_algebra.solvers.LinearSolver")
        return linear_solver
    if linear_solver not in BUILT_IN:
        raise InputError(f"linear_solver = {linear_solver!r}: choose one of {', '.join(map(repr, BUILT_IN))}, or give an object")
    if linear_solver == "cholmod" and not cholmod_is_installed():
        raise InputError("linear_solver = 'cholmod': cvxopt, which brings it, is not installed: install it, or choose 'superlu'")
    return BUILT_IN[linear_solver]


@dataclass(frozen=True, eq=False, repr=False)
class Factor:
    """A factored symmetric positive definite matrix.

    solver         which solver factored it
    lower          the lower triangle of the matrix
    factorization  None in a copy and after unpickling, where `solve` raises SolveError
    order          in which the unknowns were to be eliminated; None: as the solver found
    """

    solver: LinearSolver
    lower: csc_array
    factorization: Factorization | None
    order: np.ndarray | None = None

    @property
    def name(self) -> str:
        """Name of the solver."""
        return self.solver.name

    def solve(self, load: np.ndarray) -> np.ndarray:
        """Solution of A x = load, with a step of iterative refinement where it is not good; SolveError where the residual stays large."""
        with one_thread():
            x = self.back_substitution(load)
            residual, error = self._residual(load, x)
            if not error <= GOOD_BACKWARD_ERROR:
                x = x + self.back_substitution(residual)
                error = self._residual(load, x)[1]
        if not error <= RESIDUAL_LIMIT:
            raise SolveError(f"{self.name} left a residual of {error:.1e} (limit {RESIDUAL_LIMIT:g}): "
                             "the mesh is badly shaped or a size or material is not a number")
        return x

    def back_substitution(self, load: np.ndarray) -> np.ndarray:
        """Solution of A x = load as the factorization gives it, not checked."""
        if self.factorization is None:
            raise SolveError(NOT_KEPT)
        return self.factorization.solve(load)

    def _residual(self, load: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, float]:
        """Residual of a solution, and its backward error."""
        residual = load - multiply_symmetric(self.lower, x)
        scale = self._norm * np.abs(x).max(initial=0.0) + np.abs(load).max(initial=0.0)
        return residual, float(np.abs(residual).max(initial=0.0) / max(scale, 1e-300))

    @cached_property
    def _norm(self) -> float:
        return float(abs(self.lower).sum(axis=0).max())

    def __getstate__(self) -> dict:
        return {"solver": self.solver, "lower": self.lower, "factorization": None}

    def __repr__(self) -> str:
        return f"Factor({self.lower.shape[0]} unknowns, {self.name})"


def factorize(lower: csc_array, previous: Factor | None = None, order: np.ndarray | None = None,
              solver: str | LinearSolver | None = None) -> Factor:
    """Factor the symmetric positive definite matrix whose lower triangle is given.

    previous  a factor of a matrix with the same pattern: its analysis is used again, and it must not be used any more
    order     in which to eliminate the unknowns; None: as the solver finds
    solver    see `choose_solver`; `previous` must come from the same one
    """
    solver = choose_solver(solver)
    with one_thread():
        return Factor(solver, lower, solver.factorize(lower, previous and previous.factorization, order), order)
