"""How many threads BLAS uses while sparse matrices are factored and solved: one."""
from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from threadpoolctl import ThreadpoolController

BLAS_OF = ("cvxopt", "scipy.linalg")    # packages that bring a BLAS of their own when they are loaded


@dataclass
class _Limits:
    """The limits that are set now, by what was loaded, and how many contexts they serve."""

    users: int = 0
    set: dict[tuple[bool, ...], Any] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)


_limits = _Limits()


@lru_cache(maxsize=4)
def _threads(loaded: tuple[bool, ...]) -> ThreadpoolController:
    return ThreadpoolController()           # sees the libraries loaded by now


@contextmanager
def one_thread() -> Iterator[None]:
    """Context in which BLAS runs on one thread: sparse work gains nothing from more, and suffers beside other processes.

    BLAS has one number of threads for the whole process, which OpenBLAS takes from the main thread of Python alone.  It is given back
    when nobody is in such a context any more; where another thread leaves last, when the main thread leaves the next.
    """
    loaded = tuple(name in sys.modules for name in BLAS_OF)
    with _limits.lock:
        _limits.users += 1
        if loaded not in _limits.set and threading.current_thread() is threading.main_thread():
            _limits.set[loaded] = _threads(loaded).limit(limits=1, user_api="blas")
    try:
        yield
    finally:
        with _limits.lock:
            _limits.users -= 1
            while not _limits.users and _limits.set and threading.current_thread() is threading.main_thread():
                _limits.set.popitem()[1].restore_original_limits()
