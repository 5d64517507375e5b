"""How fast eddy currents die away with open coils: the eigenvalues of M' x = tau K x, by Lanczos steps."""
from __future__ import annotations

import numpy as np

from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system.bordered_operator import conduction_product, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem
from geometries.errors import SolveError

NEGLIGIBLE = 1e-9           # of the longest time: what is shorter is a time of no metal
TOLERANCE = 1e-10           # relative, of the eigenvalues


def decay_constants(system: EddySystem, count: int) -> np.ndarray:
    """The longest `count` decay times in seconds, longest first; (k,), k less than `count` where the metal has fewer.

    (M - C D C^T) x = tau K x.  Stranded coils and coils of solid turns are open, every other conductor is closed on itself.
    """
    from scipy.sparse.linalg import ArpackNoConvergence, LinearOperator, eigsh

    size = system.mesh.size
    if not system.sigma.any():
        return np.zeros(0)
    with one_thread():
        operator = factorize_bordered(system, 0.0)
        conduction = LinearOperator((size, size), matvec=lambda x: conduction_product(system, x.ravel()), dtype=float)
        inverse = LinearOperator((size, size), matvec=lambda x: operator.solve(x.ravel()), dtype=float)
        start = operator.solve(conduction_product(system, np.cos(np.arange(size, dtype=float))))
        try:
            times = eigsh(conduction, k=count, M=system.full_stiffness, Minv=inverse, which="LA", tol=TOLERANCE, v0=start,
                          return_eigenvectors=False)
        except ArpackNoConvergence as failure:
            raise SolveError(f"the {count} longest decay times were not found: {failure}") from failure
    times = np.sort(times)[::-1]
    return times[times > NEGLIGIBLE * times[0]]
