"""Whether a shot reaches the accuracy that was requested: its goals, and which of them fall short."""
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
    """A sentence for each goal whose error bound exceeds the accuracy; none where no bounds are known."""
    return tuple(f"accuracy = {shot.accuracy:g} is not reached: the {name} is known to {100 * goal.error / abs(goal):.2g} % only"
                 for name, goal in goals(shot) if goal and math.isfinite(goal.error) and goal.error > shot.accuracy * abs(goal))
