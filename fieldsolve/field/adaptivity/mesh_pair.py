"""A problem solved on the last two meshes of the refinement: readings of the finer one, each with its error bound."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Generic, TypeVar, overload

import numpy as np

from fieldsolve.estimate import ComplexEstimate, Estimate
from fieldsolve.field.adaptivity.convergence import RefinementStep
from fieldsolve.field.adaptivity.error_bounds import ROUNDING, ErrorReduction, typical_reduction
from fieldsolve.field.adaptivity.solved_problem import SolvedField
from fieldsolve.field.fem.nodal_field import difference_around
from geometries.pickling import fields_only

Solved = TypeVar("Solved", covariant=True)      # a solution on one mesh; peaks and errors of B need a `SolvedField`

TYPICAL_FACTOR = 0.5        # of the typical relative error bound of the goals: that of B at a point is at least so large


@dataclass(frozen=True, eq=False, repr=False)
class MeshPair(Generic[Solved]):
    """What the refinement ends with.

    fine, coarse      solutions on the last two meshes
    errors            error bound of each goal
    reductions        how far the estimated error of each goal fell between the two meshes
    accuracy          requested
    accuracy_reached  whether all error bounds are within the accuracy
    convergence       all meshes, the first one first
    """

    fine: Solved
    coarse: Solved
    errors: dict[str, float]
    reductions: dict[str, ErrorReduction]
    accuracy: float
    accuracy_reached: bool
    convergence: tuple[RefinementStep, ...]

    __getstate__ = fields_only

    def __repr__(self) -> str:
        sizes = " and ".join(str(step.unknowns) for step in self.convergence[-2:])
        reached = "reached" if self.accuracy_reached else "NOT reached"
        return f"MeshPair({sizes} unknowns, {len(self.errors)} goals, accuracy {self.accuracy:g} {reached})"

    @property
    def meshes(self) -> int:
        """How many meshes were solved."""
        return len(self.convergence)

    @overload
    def estimate(self, quantity: Callable[[Solved], float], unit: str, *names: str) -> Estimate: ...

    @overload
    def estimate(self, quantity: Callable[[Solved], complex], unit: str, *names: str) -> ComplexEstimate: ...

    def estimate(self, quantity: Callable[[Solved], complex], unit: str, *names: str) -> Estimate | ComplexEstimate:
        """A quantity of a solution with its error bound: that of the first of `names` that is a goal, else of a typical goal."""
        value = quantity(self.fine)
        return (ComplexEstimate if isinstance(value, complex) else Estimate)(value, self._error(value, quantity, names), unit)

    def peak(self: MeshPair[SolvedField], region: str) -> Estimate:
        """Largest |B| of a region in tesla, and the place nearest the middle where it is as large but for the error."""
        peak = self.fine.peak(region)
        error = self.errors.get(f"peak {region}") or float(self.flux_density_error(peak.r, peak.z))
        place = self.fine.peak(region, tie=error)
        return Estimate(peak.value, error, "T", r=place.r, z=place.z)

    def flux_density_error(self: MeshPair[SolvedField], r, z) -> np.ndarray:
        """Error in tesla of B at points, of the points' shape: from the difference between the meshes around each.

        Where both meshes have the same triangles the difference says nothing; there the error bounds of the goals count.
        """
        fine, coarse = self.fine.solution, self.coarse.solution
        size, largest = np.linalg.norm(fine.flux_density(r, z), axis=0), 2 * np.abs(fine.total).max()
        return np.maximum(difference_around(coarse, fine, r, z), TYPICAL_FACTOR * self._typical_reduction.bound * size) + ROUNDING * largest

    def _error(self, value: complex, quantity: Callable[[Solved], complex], names: tuple[str, ...]) -> float:
        for name in names:
            if name in self.errors:
                return self.errors[name]
        reduction = next((self.reductions[name] for name in names if name in self.reductions), self._typical_reduction)
        return float(reduction.error(abs(value - quantity(self.coarse)), abs(value)))

    @cached_property
    def _typical_reduction(self) -> ErrorReduction:
        return typical_reduction(self.reductions.values())
