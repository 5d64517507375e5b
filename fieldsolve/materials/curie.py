"""The share of its magnetization that a metal keeps below its Curie temperature."""
from __future__ import annotations

import functools

import numpy as np

from fieldsolve.materials.thermal import ROOM_TEMPERATURE

POINTS = 4001               # of the table of m over T
LARGEST_ARGUMENT = 8.0               # m T_c/T at its cold end, where 1 - m is 2e-7


def remaining_magnetization(curie: float, temperature: np.ndarray) -> np.ndarray:
    """Share of the magnetization at 293.15 K that is left at temperatures in K, 0 from the Curie temperature in K on.

    Spontaneous magnetization by the molecular field of spin 1/2, `m = tanh(m T_c/T)`, which nickel follows within some hundredths.
    Source: P. Weiss, R. Forrer, Ann. Phys. (Paris) 5, 153 (1926); C. Kittel, Introduction to Solid State Physics, chapter on
    ferromagnetism.

    >>> remaining_magnetization(631.0, np.array([293.15, 631.0])).tolist()
    [1.0, 0.0]
    """
    reduced, square = _molecular_field()
    at_room = np.interp(ROOM_TEMPERATURE / curie, reduced, square)
    return np.minimum(np.sqrt(np.interp(np.asarray(temperature) / curie, reduced, square) / at_room), 1.0)


@functools.cache
def _molecular_field() -> tuple[np.ndarray, np.ndarray]:
    """T/T_c, rising, and m^2 there, which is straight near T_c: m = tanh x at T/T_c = m/x."""
    x = np.linspace(LARGEST_ARGUMENT, 0, POINTS)[:-1]
    m = np.tanh(x)
    return np.concatenate([[0.0], m / x, [1.0]]), np.concatenate([[1.0], m**2, [0.0]])
