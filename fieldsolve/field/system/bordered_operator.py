"""The real operator K + rate (M - C D C^T), factored: the solid turns as a border of one row each.

D = 1 / (2 pi G).  With rate = omega it preconditions a harmonic solve, with rate = 1 / (gamma h) it is a step in time.  Factored is

    [ K + rate M      sqrt(rate) C ]
    [ sqrt(rate) C^T  D^-1         ]

symmetric and positive as the operator is, its Schur complement; with a zero below the load the field is the operator's inverse.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.sparse import csc_array

from fieldsolve.field.fem.assembly import pattern_of
from fieldsolve.field.linear_algebra.elimination_order import order_with_turns
from fieldsolve.field.linear_algebra.solvers import Factor, choose_solver, factorize
from fieldsolve.field.system.eddy_current import EddySystem
from fieldsolve.field.system.solid_turns import turn_pattern
from geometries.mesh import Topology


@dataclass(frozen=True, eq=False)
class BorderedOperator:
    """A factored operator; `factor` is of the matrix with its border, and not part of a pickle or a copy."""

    system: EddySystem
    rate: float
    factor: Factor

    def conduction(self, x: np.ndarray) -> np.ndarray:
        """(M - C D C^T) x."""
        return conduction_product(self.system, x)

    def solve(self, load: np.ndarray) -> np.ndarray:
        """(K + rate (M - C D C^T))^-1 load; load (n,) or (n, k), real."""
        below = np.zeros((len(self.system.turn_conductance), *load.shape[1:]))
        return self.factor.back_substitution(np.concatenate([load, below]))[:len(load)]

    def solve_coil(self, coil: str) -> np.ndarray:
        """The solution for the load of one ampere per turn of a coil, of solid turns the sum of their C D; shape (n,)."""
        turns, size = self.system.turns_of(coil), self.system.mesh.size
        if not len(turns):
            return self.solve(self.system.unit_loads[coil])
        load = np.zeros(size + len(self.system.turn_conductance))
        load[size + turns] = -1 / math.sqrt(self.rate)
        return self.factor.back_substitution(load)[:size]


def conduction_product(system: EddySystem, x: np.ndarray) -> np.ndarray:
    """(M - C D C^T) x; x (n,) or (n, k)."""
    border = system.turn_vectors @ ((system.turn_integrals @ x).T / (2 * np.pi * system.turn_conductance)).T
    return system.full_conduction @ x - border


def factorize_bordered(system: EddySystem, rate: float, previous: Factor | None = None) -> BorderedOperator:
    """Factor K + rate M with its border; `previous` is a factor of the same pattern whose analysis is used again (and ends)."""
    border = _border_pattern(system.mesh.topology, tuple(system.turn_regions.tolist()))
    data = np.empty(len(border.indices))
    data[border.field_places] = system.stiffness.data + rate * system.conduction.data
    data[border.turn_places] = math.sqrt(rate) * system.turn_vectors.data
    data[len(data) - len(system.turn_conductance):] = 2 * math.pi * system.turn_conductance
    size = len(border.indptr) - 1
    matrix = csc_array((data, border.indices, border.indptr), shape=(size, size))
    solver = choose_solver(system.linear_solver)
    order = _border_order(system.mesh.topology, tuple(system.turn_regions.tolist())) if solver.uses_order else None
    return BorderedOperator(system, rate, factorize(matrix, previous, order, solver))


@dataclass(frozen=True, eq=False)
class BorderPattern:
    """Lower triangle (CSC) of the matrix with its border: the turns' diagonal comes last.

    field_places  places in the data of the entries of K and M
    turn_places   places in the data of the entries of C, which stand in its rows `nodes` and columns `turns`
    """

    indptr: np.ndarray
    indices: np.ndarray
    field_places: np.ndarray
    turn_places: np.ndarray
    nodes: np.ndarray
    turns: np.ndarray


@lru_cache(maxsize=4)
def _border_pattern(topology: Topology, regions: tuple[int, ...]) -> BorderPattern:
    mesh, pattern, border = topology.mesh, pattern_of(topology.mesh), turn_pattern(topology, regions)
    nodes, turns, before = border.nodes, border.indices, border.indptr          # entries of C by column, and in the columns before each
    indptr = pattern.indptr + before
    field_places = np.arange(len(pattern.indices)) + np.repeat(before[:-1], np.diff(pattern.indptr))
    turn_places = pattern.indptr[nodes + 1] + np.arange(len(nodes))
    last = indptr[-1] + np.arange(1, len(regions) + 1)
    indices = np.empty(indptr[-1] + len(regions), dtype=np.int32)
    indices[field_places], indices[turn_places] = pattern.indices, mesh.size + turns
    indices[indptr[-1]:] = mesh.size + np.arange(len(regions))
    return BorderPattern(np.concatenate([indptr, last]).astype(np.int32), indices, field_places, turn_places, nodes, turns)


@lru_cache(maxsize=4)
def _border_order(topology: Topology, regions: tuple[int, ...]) -> np.ndarray | None:
    """In which order the unknowns are eliminated, the turns among them."""
    border = _border_pattern(topology, regions)
    return order_with_turns(topology, border.nodes, border.turns)
