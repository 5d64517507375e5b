"""One interval of an explicit integrator: the check of what it is given, and what it returns."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
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


def check_interval(what: str, time: float, duration: float, forces: tuple[np.ndarray, np.ndarray], heating: np.ndarray | float,
                   *holders: Any) -> None:
    """Refuse an interval from `time` in s with a duration that is not positive (InputError), or with a force in N, a heat in W or an
    array of one of the `holders`, dataclasses, that is not finite (SolveError); `what` moves, in words."""
    if not 0 < duration < np.inf:
        raise InputError(f"duration = {duration!r} s: expected a finite time larger than 0")
    place = f"in the {duration * 1e6:g} us from t = {time * 1e6:.3f} us"
    if not (np.isfinite(forces).all() and np.isfinite(heating).all()):
        raise SolveError(f"a force or heat on the {what} is not finite {place}: the field that gives them has failed")
    for name, values in _arrays_of(holders):
        if not np.isfinite(values).all():
            raise SolveError(f"the {name.replace('_', ' ')} of the {what} is not a number {place}; a material or a size may not be one")


def _arrays_of(holders: tuple[Any, ...]) -> Iterator[tuple[str, np.ndarray]]:
    """Arrays of floating-point numbers in dataclasses, by the names of their fields; a strain at which nothing breaks is infinite."""
    for holder in holders:
        for each in fields(holder):
            values = getattr(holder, each.name)
            if isinstance(values, np.ndarray) and values.dtype.kind in "fc" and each.name != "former_strain":
                yield each.name, values
