"""Factor a symmetric positive definite matrix once, solve many right-hand sides, and never hand out a bad answer.

CHOLMOD (through cvxopt) where it is installed, SuperLU otherwise; BLAS runs on one thread meanwhile.
"""
from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from scipy.sparse import csc_array
from threadpoolctl import ThreadpoolController

from fieldsolve.field.linear_algebra.symmetric import full_matrix, multiply_symmetric
from geometries.errors import SolveError

GOOD_BACKWARD_ERROR = 1e-15                # backward error with which a solution is not refined
RESIDUAL_LIMIT = 1e-11      # backward error |b - A x| / (|A| |x| + |b|), largest norm
BLAS_OF = ("cvxopt", "scipy.linalg")    # packages that bring a BLAS of their own when they are loaded


@lru_cache(maxsize=4)
def _threads(loaded: tuple[bool, ...]) -> ThreadpoolController:
    return ThreadpoolController()           # sees the libraries loaded by now


def one_thread():
    """Context in which BLAS runs on one thread: sparse work gains nothing from more and suffers beside other processes."""
    return _threads(tuple(name in sys.modules for name in BLAS_OF)).limit(limits=1, user_api="blas")


@dataclass(frozen=True, eq=False)
class Factor:
    """A factored matrix: `name` of the factorization, `solve` for (n,) or (n, k) right-hand sides."""

    name: str
    lower: csc_array
    back_substitution: Callable[[np.ndarray], np.ndarray]
    analysis: Any = None

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

    def _residual(self, load: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, float]:
        """Residual of a solution, and its backward error."""
        residual = load - multiply_symmetric(self.lower, x)
        scale = self._norm * np.abs(x).max(initial=0.0) + np.abs(load).max(initial=0.0)
        return residual, float(np.abs(residual).max(initial=0.0) / max(scale, 1e-300))

    @cached_property
    def _norm(self) -> float:
        return float(abs(self.lower).sum(axis=0).max())


def minimum_degree(rows: np.ndarray, columns: np.ndarray, size: int) -> np.ndarray | None:
    """Order of approximate minimum degree of a graph with edges rows > columns, named once or more; None where CHOLMOD is not installed.

    P. R. Amestoy, T. A. Davis, I. S. Duff, SIAM J. Matrix Anal. Appl. 17 (1996) 886.
    """
    try:
        from cvxopt import amd, matrix, spmatrix
    except ImportError:
        return None
    graph = csc_array((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    graph.sum_duplicates()
    across, diagonal = np.repeat(np.arange(size), np.diff(graph.indptr)), np.arange(size)
    places = (matrix(np.concatenate([numbers, diagonal]).astype(np.int64)) for numbers in (graph.indices, across))
    return np.array(amd.order(spmatrix(1.0, *places, (size, size)), uplo="L")).ravel()


def factorize(lower: csc_array, like: Factor | None = None, order: np.ndarray | None = None) -> Factor:
    """Cholesky factor of the symmetric positive definite matrix whose lower triangle is given.

    like   a factor of a matrix with the same pattern: its analysis is used again, and it must not be used any more
    order  in which to eliminate the unknowns; None: as CHOLMOD finds
    """
    try:
        from cvxopt import cholmod, matrix, spmatrix
    except ImportError:
        return _superlu(lower)
    if like is None or like.analysis is None:
        columns = np.repeat(np.arange(lower.shape[1]), np.diff(lower.indptr))
        kept = spmatrix(matrix(lower.data), matrix(lower.indices.astype(np.int64)), matrix(columns), lower.shape)
        symbolic = None
    else:
        kept, symbolic = like.analysis
        kept.V = matrix(lower.data)
    with one_thread():
        symbolic = symbolic or _analyse(kept, order)
        try:
            cholmod.numeric(kept, symbolic)
        except ArithmeticError as failure:
            raise SolveError(f"the matrix is not positive definite ({failure}): a material or size is not a positive number") from failure

    def back_substitution(load: np.ndarray) -> np.ndarray:
        x = matrix(np.asfortranarray(load.reshape(len(load), -1)))
        cholmod.solve(symbolic, x)
        return np.array(x).reshape(load.shape)
    return Factor("CHOLMOD", lower, back_substitution, (kept, symbolic))


def _analyse(kept: Any, order: np.ndarray | None) -> Any:
    from cvxopt import cholmod, matrix
    if order is None:
        return cholmod.symbolic(kept, uplo="L")
    before = dict(cholmod.options)
    cholmod.options["nmethods"] = 1             # the order given, with no other tried beside it
    try:
        return cholmod.symbolic(kept, matrix(order.astype(np.int64)), uplo="L")
    finally:
        cholmod.options.clear()
        cholmod.options.update(before)


def _superlu(lower: csc_array) -> Factor:
    from scipy.sparse.linalg import splu
    with one_thread():
        factor = splu(full_matrix(lower), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return Factor("SuperLU", lower, factor.solve)
