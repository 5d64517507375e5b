"""Whether a shot reaches the accuracy that was requested: its goals, which of them fall short, and whether that is known at all."""
from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from fieldsolve.estimate import Estimate


def goals(shot: Any) -> Iterator[tuple[str, Estimate]]:
    """The quantities that `accuracy` promises, by name: peak currents of coils and bodies, peaks in the bores, final radii."""
    for name in (*shot.coils, *shot.bodies):
        yield f"peak current of {name}", shot.peak("current", name)
    for quantity, place in shot.history.values:
        if quantity == "field" and place.split(" of ")[0] == "bore":
            yield f"peak field in the {place}", shot.peak("field", place)
    if not shot.held:
        for name in shot.bodies:
            yield f"radius ratio of {name}", shot.radius_ratio(name)


def accuracy_shortfalls(shot: Any) -> tuple[str, ...]:
    """A sentence for what the mesh did not reach, for bounds that were wanted and not found, and for each goal beyond its accuracy.

    Where no bounds were wanted nothing is said of the goals.
    """
    mesh = (shot.mesh_shortfall,) if shot.mesh_shortfall else ()
    unknown = (f"no error bounds are known: the coarse companion run {shot.companion_failure}; call refined()",)
    return (*mesh, *(unknown if shot.companion_failure and not shot.comparisons else ()), *_goals_beyond(shot))


def _goals_beyond(shot: Any) -> tuple[str, ...]:
    """A sentence for each goal whose error bound exceeds the accuracy."""
    return tuple(f"accuracy = {shot.accuracy:g} is not reached: the {name} is known to {100 * goal.error / abs(goal):.2g} % only"
                 for name, goal in goals(shot) if goal and math.isfinite(goal.error) and goal.error > shot.accuracy * abs(goal))
