"""How the goals converged while the mesh was refined: what each mesh of a run had to show."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class RefinementStep:
    """One mesh of a refinement; each dictionary by the name of the goal, in the goal's unit.

    unknowns   number of unknowns on the mesh
    values     of the goals
    scales     what the accuracy of each goal refers to
    estimates  of their errors by the dual-weighted residual on this mesh alone
    bounds     on their errors, from this mesh and those before; math.inf on the first mesh, which has nothing to compare with
    """

    unknowns: int
    values: dict[str, complex]
    scales: dict[str, float]
    estimates: dict[str, float]
    bounds: dict[str, float]

    def restricted(self, select: Callable[[dict[str, Any]], dict[str, Any]]) -> RefinementStep:
        """The same step with each dictionary as `select` leaves it."""
        return RefinementStep(self.unknowns, *map(select, (self.values, self.scales, self.estimates, self.bounds)))

    def __repr__(self) -> str:
        worst = max((self.bounds[name] / self.scales[name] for name in self.bounds), default=0.0)
        return f"RefinementStep({self.unknowns} unknowns, {len(self.values)} goals, largest error bound {worst:.1e} of its scale)"
