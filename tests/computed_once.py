"""Results that many tests read, computed once a run: by one worker of `pytest -n`, and loaded by the others."""
from __future__ import annotations

import fcntl
import os
import pickle
from collections.abc import Callable
from functools import cache, wraps
from pathlib import Path
from typing import Any

FOLDER = "FIELDSOLVE_TESTS_RESULTS"         # environment variable: where a run of several workers keeps them; conftest.py sets it


def computed_once(function: Callable[[], Any]) -> Callable[[], Any]:
    """`function` of no arguments, called once a run; its result is to be pickled, and no test may change it."""
    @cache
    @wraps(function)
    def result() -> Any:
        if FOLDER not in os.environ:
            return function()
        path = Path(os.environ[FOLDER]) / f"{function.__module__}.{function.__qualname__}"
        with open(path, "a+b") as file:
            fcntl.flock(file, fcntl.LOCK_EX)            # others wait for the one that computes
            file.seek(0)
            if not (kept := file.read()):
                kept = pickle.dumps(function())
                file.write(kept)
            return pickle.loads(kept)
    return result
