"""Sparse factors by SuperLU, which scipy brings: slower than CHOLMOD, and always there."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.linear_algebra.symmetric import full_matrix
from geometries.errors import SolveError


@dataclass(frozen=True)
class SuperLU:
    """LU factors in symmetric mode, ordered by minimum degree of A^T + A (a `LinearSolver`)."""

    name: str = "SuperLU"
    uses_order: bool = False

    def factorize(self, lower: csc_array, previous: Any = None, order: np.ndarray | None = None) -> Any:
        """Factorization of a matrix by its lower triangle; what was analysed before is of no use to it."""
        from scipy.sparse.linalg import splu
        try:
            return splu(full_matrix(lower), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        except RuntimeError as failure:
            raise SolveError(f"the matrix is singular ({failure}): a material or size is not a positive number") from failure
