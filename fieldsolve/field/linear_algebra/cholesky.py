"""Sparse Cholesky factors by CHOLMOD, and orders of approximate minimum degree, both through cvxopt."""
from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import numpy as np
from scipy.sparse import csc_array

from geometries.errors import SolveError


def cholmod_is_installed() -> bool:
    """Whether cvxopt, which brings CHOLMOD, can be imported."""
    return find_spec("cvxopt") is not None


@dataclass(frozen=True, eq=False)
class CholmodFactorization:
    """A Cholesky factor: the matrix as cvxopt keeps it, and its symbolic and numeric factor."""

    matrix: Any
    factor: Any

    def solve(self, load: np.ndarray) -> np.ndarray:
        """Solution for right-hand sides of shape (n,) or (n, k)."""
        from cvxopt import cholmod, matrix
        x = matrix(np.asfortranarray(load.reshape(len(load), -1)))
        cholmod.solve(self.factor, x)
        return np.array(x).reshape(load.shape)


@dataclass(frozen=True)
class Cholmod:
    """Cholesky factors by CHOLMOD (a `LinearSolver`).

    Y. Chen, T. A. Davis, W. W. Hager, S. Rajamanickam, ACM Trans. Math. Softw. 35 (2008) 22.
    """

    name: str = "CHOLMOD"
    uses_order: bool = True

    def factorize(self, lower: csc_array, previous: object = None,
                  order: np.ndarray | None = None) -> CholmodFactorization:
        """Factorization of a matrix by its lower triangle; takes over the analysis of `previous`, a factorization of its own."""
        from cvxopt import cholmod, matrix, spmatrix
        if isinstance(previous, CholmodFactorization):
            kept, factor = previous.matrix, previous.factor
            kept.V = matrix(lower.data)
        else:
            columns = np.repeat(np.arange(lower.shape[1]), np.diff(lower.indptr))
            kept = spmatrix(matrix(lower.data), matrix(lower.indices.astype(np.int64)), matrix(columns), lower.shape)
            factor = _analyse(kept, order)
        try:
            cholmod.numeric(kept, factor)
        except ArithmeticError as failure:
            raise SolveError(f"the matrix is not positive definite ({failure}): a material or size is not a positive number") from failure
        return CholmodFactorization(kept, factor)


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


def minimum_degree(rows: np.ndarray, columns: np.ndarray, size: int) -> np.ndarray | None:
    """Order of approximate minimum degree of a graph with edges rows > columns, named once or more; None where cvxopt is not installed.

    P. R. Amestoy, T. A. Davis, I. S. Duff, SIAM J. Matrix Anal. Appl. 17 (1996) 886.
    """
    if not cholmod_is_installed():
        return None
    from cvxopt import amd, matrix, spmatrix
    graph = csc_array((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    graph.sum_duplicates()
    across, diagonal = np.repeat(np.arange(size), np.diff(graph.indptr)), np.arange(size)
    places = (matrix(np.concatenate([numbers, diagonal]).astype(np.int64)) for numbers in (graph.indices, across))
    return np.array(amd.order(spmatrix(1.0, *places, (size, size)), uplo="L")).ravel()
