"""Rows of cells much lower than those beside them, as of a plating: slowed down across, so that they do not rule the sub-step.

A sound wave crosses a thin row in no time, and that time would be the sub-step's. So the two nodes across the row resist being moved
against each other with a mass of their own, beside the mass by which they move together:

    m_i a_i - e (a_j - a_i) = f_i,    m_j a_j + e (a_j - a_i) = f_j

Momentum is kept; what is slowed is only how the row becomes thicker or thinner and shears, which then takes as long as in the cells
beside it. With e = (s^2 - 1) m_i m_j / (m_i + m_j) of the cell's own masses its highest frequencies fall by s.  Selective mass scaling:
L. Olovsson, K. Simonsson and M. Unosson, Int. J. Numer. Meth. Engng 63 (2005) 1436 (from memory).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

THIN = 0.25                # of the usual cells' shorter side: a lower zone is one row, and slowed


@dataclass(frozen=True, eq=False)
class ThinRows:
    """Pairs of nodes (k,) across thin rows, the mass e in kg of each, and how much longer a wave takes across each cell, (cells,)."""

    one: np.ndarray
    other: np.ndarray
    extra: np.ndarray
    slowed: np.ndarray

    def held_back(self, acceleration: np.ndarray, mass: np.ndarray) -> None:
        """Change (nodes,) accelerations f/m into those with the masses of the pairs, in place."""
        if len(self.extra):
            relative = acceleration[self.other] - acceleration[self.one]
            force = relative / (1 / self.extra + 1 / mass[self.one] + 1 / mass[self.other])
            acceleration[self.one] += force / mass[self.one]
            acceleration[self.other] -= force / mass[self.other]

    def kinetic(self, velocities: np.ndarray) -> float:
        """J of the nodes' motion against each other; velocities (nodes, 2)."""
        return 0.5 * float((self.extra[:, None] * (velocities[self.other] - velocities[self.one]) ** 2).sum())


def thin_rows(nodes: np.ndarray, quads: np.ndarray, part: np.ndarray, corner_mass: np.ndarray) -> ThinRows:
    """The thin rows of cells at rest.

    nodes (nodes, 2), quads (cells, 4) counter-clockwise from the lowest r and z;  part (cells,) number of the body
    corner_mass  (4, cells) kg of each cell at its corners
    """
    sides = np.abs(nodes[quads[:, 2]] - nodes[quads[:, 0]])                                   # width and height
    short, long = sides.min(axis=1), sides.max(axis=1)
    usual = np.zeros(part.max() + 1)
    np.maximum.at(usual, part, short)
    thin = np.flatnonzero(short < THIN * np.minimum(usual[part], long))
    flat = sides[thin, 1] < sides[thin, 0]
    ends = np.where(flat[:, None, None], [[0, 3], [1, 2]], [[0, 1], [3, 2]])                  # the corners across: (cells, pairs, 2)
    pairs, place = np.unique(quads[thin[:, None, None], ends].reshape(-1, 2), axis=0, return_inverse=True)
    single = np.bincount(pairs.ravel(), minlength=len(nodes))[pairs].max(axis=1, initial=0) == 1      # a node can serve one pair only
    served = single[place.reshape(-1, 2)].all(axis=1)
    thin, ends, place = thin[served], ends[served], place.reshape(-1, 2)[served]
    slowed = np.ones(len(quads))
    slowed[thin] = np.minimum(usual[part[thin]], long[thin]) / short[thin]
    one, other = np.moveaxis(corner_mass[ends, thin[:, None, None]], 2, 0)
    extra = np.bincount(place.ravel(), ((slowed[thin, None] ** 2 - 1) * one * other / (one + other)).ravel(), minlength=len(pairs))
    kept = extra > 0
    return ThinRows(*pairs[kept].T, extra[kept], slowed)
