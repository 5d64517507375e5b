"""What a solution on one mesh has to offer: to the refinement, and to a pair of meshes that compares two of them."""
from __future__ import annotations

from typing import Protocol

import numpy as np

from fieldsolve.field.fem.nodal_field import NodalField
from fieldsolve.field.quantities.peak_field import Peak


class SolvedProblem(Protocol):
    """A problem solved on one mesh, as `refine` reads it.

    Contract:

    1. `nu` is the reluctivity of each triangle in m/H, shape (m,): what weighs the energy of an error.  In metal with a B-H
       curve it is the secant reluctivity of the solution.
    2. Its goals come from the function `build_goals(solved)` that `refine` is given beside it.  The dual fields in them belong to
       the mesh it was solved on.
    3. It stays as it is: `refine` keeps the last two, and reads of them what it likes in any order.
    """

    @property
    def nu(self) -> np.ndarray:
        """Reluctivity of each triangle in m/H; (m,)."""


class SolvedField(Protocol):
    """A field solved on one mesh, as `MeshPair` reads it.

    Contract:

    1. `solution` is the field at the nodes, an applied field included.
    2. `peak(region, tie)` is the largest |B| in a region.  Of places whose values differ by less than `tie` in tesla it takes
       the one nearest to z = 0.
    3. Every function given to `MeshPair.estimate` takes the solution as its only argument and solves nothing.
    4. It pickles and copies, and a copy gives the same digits.
    """

    @property
    def solution(self) -> NodalField:
        """The field at the nodes."""

    def peak(self, region: str, tie: float = 0.0) -> Peak:
        """Largest |B| in a region, with its place."""
