"""One interval of an explicit integrator: the check of what it is given, and what it returns."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.errors import InputError, SolveError


@dataclass(frozen=True, eq=False)
class Advance:
    """What an interval did.

    state         at its end
    work          J that the forces did, as the scheme sees it
    plastic_heat  (pieces,) J of plastic work that became heat, of each cell or turn
    substeps      number of sub-steps
    """

    state: Any
    work: float
    plastic_heat: np.ndarray
    substeps: int


def check_interval(what: str, time: float, duration: float, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray | float) -> None:
    """Refuse an interval from `time` in s with a duration that is not positive (InputError), or with a force in N or a heat in W that
    is not finite (SolveError); `what` moves, in words."""
    if not 0 < duration < np.inf:
        raise InputError(f"duration = {duration!r} s: expected a finite time larger than 0")
    if not (np.isfinite(forces).all() and np.isfinite(heating).all()):
        raise SolveError(f"a force or heat on the {what} is not finite in the {duration * 1e6:g} us from t = {time * 1e6:.3f} us: "
                         "the field that gives them has failed")
