"""Waves along r slowed where only cells see them, for cells that a radial pressure squeezes thin would make the sub-step ever shorter.

The accelerations a = f/m of the nodes of a row along r are smoothed over neighbours,

    M' a' = f,    1/M' = 1/M - (1/M) E (1/M),    v . E v = sum over pairs of e (v_j - v_i)^2,

with e = FILTER m_i m_j/(m_i + m_j) of each cell's own masses, so that E is at most FILTER M.  Momentum is conserved, and so is the
energy with the kinetic energy v . M' v/2.  A wave of length L in cells of width h has 1 - FILTER sin^2(pi h/L) of its squared frequency:
the highest frequency of a row falls to 1/sqrt(4 FILTER), next to the axis to a tenth more, and what flows slowly from cell to cell
gains inertia by the share `FILTER (h/L)^2 pi^2`, which falls with the square of the cells as their other errors do.
Source: A. Tkachuk and M. Bischoff, Int. J. Numer. Meth. Engng 94 (2013) 944, on reciprocal mass matrices (from memory).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FILTER = 0.75
SLOWING = 1.5                       # by which the highest frequency falls at least, in the coarsest rows next to a hole
CONVERGED = 1e-10                   # last change of the added momentum, of its size
MAX_ITERATIONS = 200


@dataclass(frozen=True, eq=False)
class ReciprocalMassScaling:
    """Pairs of neighbouring nodes along r; every node is the first of one pair at most, and the second of one.

    first, second  (k,) nodes of each pair
    pair_mass      (k,) mass e in kg
    slowing        factor on the time that a wave along r takes across a cell; 1 where there are no pairs
    """

    first: np.ndarray
    second: np.ndarray
    pair_mass: np.ndarray
    slowing: float

    def scale_accelerations(self, acceleration: np.ndarray, mass: np.ndarray) -> None:
        """Change (nodes,) accelerations f/m into 1/M' f, in place."""
        if len(self.pair_mass):
            relative = self.pair_mass * (acceleration[self.second] - acceleration[self.first])
            acceleration[self.first] += relative / mass[self.first]
            acceleration[self.second] -= relative / mass[self.second]

    def kinetic_energy(self, velocities: np.ndarray, mass: np.ndarray, on_axis: np.ndarray) -> float:
        """Kinetic energy in J beyond m v^2/2; velocities (nodes, 2) in m/s, those along r of nodes `on_axis` (nodes,) are held at zero.

        The momentum p = M' v solves p = M v + E (1/M) p, by fixed-point iteration: E is at most FILTER M.
        """
        if not len(self.pair_mass):
            return 0.0
        inverse = np.repeat(1 / mass[:, None], 2, axis=1)
        inverse[on_axis, 0] = 0.0
        added = np.zeros_like(velocities)
        for _ in range(MAX_ITERATIONS):
            before, added = added, self._pair_momentum(velocities * (inverse > 0) + inverse * added)
            if np.abs(added - before).max() <= CONVERGED * np.abs(added).max():
                break
        return 0.5 * float((velocities * added).sum())

    def _pair_momentum(self, velocities: np.ndarray) -> np.ndarray:
        """E v (nodes, 2)."""
        relative = self.pair_mass[:, None] * (velocities[self.second] - velocities[self.first])
        found = np.zeros_like(velocities)
        found[self.second] += relative
        found[self.first] -= relative
        return found


def scale_rows(quads: np.ndarray, corner_mass: np.ndarray) -> ReciprocalMassScaling:
    """Scaling of all rows along r.

    quads (cells, 4) counter-clockwise from the lowest r and z;  corner_mass (4, cells) kg of each cell at its corners
    """
    ends = np.concatenate([quads[:, [0, 1]], quads[:, [3, 2]]])
    one, other = (np.concatenate([corner_mass[a], corner_mass[b]]) for a, b in ((0, 3), (1, 2)))
    pairs, place = np.unique(ends, axis=0, return_inverse=True)
    pair_mass = np.bincount(place.ravel(), FILTER * one * other / (one + other), len(pairs))
    return ReciprocalMassScaling(*pairs.T, pair_mass, SLOWING)


def no_scaling() -> ReciprocalMassScaling:
    """Scaling of no row."""
    nobody = np.zeros(0, dtype=int)
    return ReciprocalMassScaling(nobody, nobody, np.zeros(0), 1.0)
