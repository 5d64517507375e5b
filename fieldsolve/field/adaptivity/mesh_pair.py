"""A problem solved on the last two meshes of the refinement: figures of the finer one, each with its stated error."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from fieldsolve.estimate import ComplexEstimate, Estimate
from fieldsolve.field.adaptivity.error_bounds import ROUNDING, ErrorReduction, typical_reduction
from fieldsolve.field.fem.nodal_field import difference_around

TYPICAL_FACTOR = 0.5        # of the error that is typical of the headline figures: B's at least, over B itself


@dataclass(frozen=True, eq=False)
class MeshPair:
    """What the refinement ends with.

    fine, coarse      solutions on the last two meshes
    errors            stated error of each headline figure
    reductions        how far the estimated errors of the headline figures fell between the two meshes
    accuracy_reached  whether all stated errors are within the accuracy asked for
    meshes            how many meshes were solved
    """

    fine: Any
    coarse: Any
    errors: dict[str, float]
    reductions: dict[str, ErrorReduction]
    accuracy: float
    accuracy_reached: bool
    meshes: int

    def estimate(self, quantity: Callable[[Any], complex], unit: str, *names: str):
        """A figure of a solution with its error, that of the first of the headline `names` that was judged, or that of figures like it."""
        value = quantity(self.fine)
        return (ComplexEstimate if isinstance(value, complex) else Estimate)(value, self._error(value, quantity, names), unit)

    def peak(self, region: str) -> Estimate:
        """Largest |B| of a region in tesla, with its place."""
        peak = self.fine.peak(region)
        error = self.errors.get(f"peak {region}") or float(self.flux_density_error(peak.r, peak.z))
        peak = self.fine.peak(region, tie=error)
        return Estimate(peak.value, error, "T", r=peak.r, z=peak.z)

    def flux_density_error(self, r, z) -> np.ndarray:
        """Error in tesla of B at points, of the points' shape: from the difference between the meshes around each.

        Where both have the same triangles they tell nothing, but the headline figures do.
        """
        fine, coarse = self.fine.solution, self.coarse.solution
        size, largest = np.linalg.norm(fine.flux_density(r, z), axis=0), 2 * np.abs(fine.total).max()
        return np.maximum(difference_around(coarse, fine, r, z), TYPICAL_FACTOR * self._typical_reduction.bound * size) + ROUNDING * largest

    def _error(self, value: complex, quantity: Callable[[Any], complex], names: tuple[str, ...]) -> float:
        for name in names:
            if name in self.errors:
                return self.errors[name]
        reduction = next((self.reductions[name] for name in names if name in self.reductions), self._typical_reduction)
        return float(reduction.error(abs(value - quantity(self.coarse)), abs(value)))

    @cached_property
    def _typical_reduction(self) -> ErrorReduction:
        return typical_reduction(self.reductions.values())

