"""Sparse symmetric matrices: the order of elimination, the Cholesky factor and its solves, products
with a matrix kept as its lower triangle.  It knows meshes only as graphs, and no physics."""
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import Factor, LinearSolver, factorize
from fieldsolve.field.linear_algebra.symmetric import full_matrix, multiply_symmetric

__all__ = [
    "Factor", "LinearSolver", "factorize", "full_matrix", "multiply_symmetric", "one_thread",
]
