"""Symmetric matrices kept as their lower triangle: their product with vectors, and both triangles."""
from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array, diags_array


def multiply_symmetric(lower: csc_array, x: np.ndarray) -> np.ndarray:
    """Product of the symmetric matrix kept as its lower triangle with (n,) or (n, k)."""
    diagonal = lower.diagonal()
    return lower @ x + lower.T @ x - (diagonal * x.T).T


def full_matrix(lower: csc_array) -> csc_array:
    """The symmetric matrix whose lower triangle is given."""
    return csc_array(lower + lower.T - diags_array(lower.diagonal()))
