"""Sparse symmetric matrices: the order of elimination, the Cholesky factor and its solves, products
with a matrix kept as its lower triangle.  It knows meshes only as graphs, and no physics."""
from fieldsolve.field.linear_algebra.cholesky import Factor, factorize, one_thread
from fieldsolve.field.linear_algebra.symmetric import full_matrix, multiply_symmetric

__all__ = [
    "Factor", "factorize", "full_matrix", "multiply_symmetric", "one_thread",
]
