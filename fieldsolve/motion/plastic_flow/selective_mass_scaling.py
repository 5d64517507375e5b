"""Selective mass scaling of rows of cells much lower than those beside them, as of a plating, which would limit the sub-step.

A sound wave crosses a thin row in a very short time, which would be that of the sub-step.  Therefore the two nodes across the row
have a mass against relative motion, beside the mass by which they move together:

    m_i a_i - e (a_j - a_i) = f_i,    m_j a_j + e (a_j - a_i) = f_j

Momentum is conserved.  Only the stretch and shear across the row are slowed, which then take as long as in the cells beside it.
With e = (s^2 - 1) m_i m_j / (m_i + m_j) of the cell's own masses its highest frequencies fall by s.
Source: L. Olovsson, K. Simonsson and M. Unosson, Int. J. Numer. Meth. Engng 63 (2005) 1436 (from memory).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

THIN_ROW_RATIO = 0.25                # of the typical cells' shorter side: a lower zone is one row, and scaled


@dataclass(frozen=True, eq=False)
class MassScaling:
    """Pairs of nodes across thin rows.

    first, second  (k,) nodes of each pair
    pair_mass      (k,) mass e in kg
    time_scale     (cells,) factor on the time that a wave takes across each cell
    """

    first: np.ndarray
    second: np.ndarray
    pair_mass: np.ndarray
    time_scale: np.ndarray

    def scale_accelerations(self, acceleration: np.ndarray, mass: np.ndarray) -> None:
        """Change (nodes,) accelerations f/m into those with the masses of the pairs, in place."""
        if len(self.pair_mass):
            relative = acceleration[self.second] - acceleration[self.first]
            force = relative / (1 / self.pair_mass + 1 / mass[self.first] + 1 / mass[self.second])
            acceleration[self.first] += force / mass[self.first]
            acceleration[self.second] -= force / mass[self.second]

    def kinetic_energy(self, velocities: np.ndarray) -> float:
        """Kinetic energy in J of the relative motion of the pairs; velocities (nodes, 2) in m/s."""
        return 0.5 * float((self.pair_mass[:, None] * (velocities[self.second] - velocities[self.first]) ** 2).sum())


def thin_row_scaling(nodes: np.ndarray, quads: np.ndarray, part: np.ndarray, corner_mass: np.ndarray) -> MassScaling:
    """Mass scaling of the thin rows of cells at rest.

    nodes (nodes, 2), quads (cells, 4) counter-clockwise from the lowest r and z;  part (cells,) number of the body
    corner_mass  (4, cells) kg of each cell at its corners
    """
    sides = np.abs(nodes[quads[:, 2]] - nodes[quads[:, 0]])                                   # width and height
    short, long = sides.min(axis=1), sides.max(axis=1)
    typical_height = np.zeros(part.max() + 1)
    np.maximum.at(typical_height, part, short)
    thin = np.flatnonzero(short < THIN_ROW_RATIO * np.minimum(typical_height[part], long))
    flat = sides[thin, 1] < sides[thin, 0]
    ends = np.where(flat[:, None, None], [[0, 3], [1, 2]], [[0, 1], [3, 2]])                  # the corners across: (cells, pairs, 2)
    pairs, place = np.unique(quads[thin[:, None, None], ends].reshape(-1, 2), axis=0, return_inverse=True)
    single = np.bincount(pairs.ravel(), minlength=len(nodes))[pairs].max(axis=1, initial=0) == 1      # a node can serve one pair only
    served = single[place.reshape(-1, 2)].all(axis=1)
    thin, ends, place = thin[served], ends[served], place.reshape(-1, 2)[served]
    time_scale = np.ones(len(quads))
    time_scale[thin] = np.minimum(typical_height[part[thin]], long[thin]) / short[thin]
    first, second = np.moveaxis(corner_mass[ends, thin[:, None, None]], 2, 0)
    pair_mass = np.bincount(
        place.ravel(), ((time_scale[thin, None] ** 2 - 1) * first * second / (first + second)).ravel(), minlength=len(pairs)
    )
    scaled = pair_mass > 0
    return MassScaling(*pairs[scaled].T, pair_mass[scaled], time_scale)
