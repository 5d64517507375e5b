"""How many threads BLAS uses while sparse matrices are factored and solved: one."""
from __future__ import annotations

import sys
from functools import lru_cache

from threadpoolctl import ThreadpoolController

BLAS_OF = ("cvxopt", "scipy.linalg")    # packages that bring a BLAS of their own when they are loaded


@lru_cache(maxsize=4)
def _threads(loaded: tuple[bool, ...]) -> ThreadpoolController:
    return ThreadpoolController()           # sees the libraries loaded by now


def one_thread():
    """Context in which BLAS runs on one thread: sparse work gains nothing from more, and suffers beside other processes."""
    return _threads(tuple(name in sys.modules for name in BLAS_OF)).limit(limits=1, user_api="blas")
