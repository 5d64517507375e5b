"""The real operator K + rate (M - C D C^T): sparse factor, and the solid turns' low rank by Woodbury's formula.

D = 1 / (2 pi G).  With rate = omega it preconditions a harmonic solve, with rate = 1 / (gamma h) it is a step in time.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.eddy_system import EddySystem
from fieldsolve.field.linear_solver import Factor, factorize


@dataclass(frozen=True, eq=False)
class Bordered:
    """A factored operator; `turns_solved` is (K + rate M)^-1 C, `turns_matrix` the (k, k) matrix of Woodbury's formula."""

    system: EddySystem
    rate: float
    factor: Factor
    turns_solved: np.ndarray
    turns_matrix: np.ndarray

    def conduction(self, x: np.ndarray) -> np.ndarray:
        """(M - C D C^T) x."""
        system = self.system
        border = system.turn_vectors @ ((system.turn_vectors.T @ x).T / (2 * np.pi * system.turn_conductance)).T
        return system.whole_conduction @ x - border

    def solve(self, load: np.ndarray) -> np.ndarray:
        """(K + rate (M - C D C^T))^-1 load; load (n,) or (n, k), real."""
        x = self.factor.back_substitution(load)
        if not len(self.turns_matrix):
            return x
        return x + self.turns_solved @ np.linalg.solve(self.turns_matrix, self.system.turn_vectors.T @ x)

    def of_coil(self, coil: str) -> np.ndarray:
        """The solution for the load of one ampere per turn of a coil; shape (n,).

        A coil of solid turns needs no solve: with Y = (K + rate M)^-1 C and Woodbury's T it is Y T^-1 e / rate, e one in its turns.
        """
        turns = self.system.turns_of(coil)
        if not len(turns):
            return self.solve(self.system.unit_loads[coil])
        e = np.zeros(len(self.turns_matrix))
        e[turns] = 1.0
        return self.turns_solved @ np.linalg.solve(self.turns_matrix, e / self.rate)


def bordered(system: EddySystem, rate: float, like: Factor | None = None) -> Bordered:
    """Factor K + rate M and prepare the border; `like` is a factor of the same pattern whose analysis is used again (and ends)."""
    data = system.stiffness.data + rate * system.conduction.data
    factor = factorize(csc_array((data, system.stiffness.indices, system.stiffness.indptr), shape=system.stiffness.shape), like)
    if not system.turn_vectors.shape[1]:
        return Bordered(system, rate, factor, np.zeros((system.mesh.size, 0)), np.zeros((0, 0)))
    solved = factor.back_substitution(np.asfortranarray(system.turn_vectors))
    matrix = np.diag(2 * np.pi * system.turn_conductance / rate) - system.turn_vectors.T @ solved
    return Bordered(system, rate, factor, solved, matrix)
