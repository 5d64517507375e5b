"""Goals, built only where they are requested: each has a name, and a builder of its value, scale and functional."""
from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.adaptivity.error_indicators import Goal
from geometries.errors import InputError


@dataclass(frozen=True, eq=False)
class PendingGoal:
    """A goal whose dual field, the solution for its `functional` (n,) as a load, is still to be solved for.

    field   (n,) the field it is a functional of; None: the primal one
    value, scale, least_effectivity, family, effectivity   as those of `Goal`
    """

    value: complex
    scale: float
    functional: np.ndarray
    field: np.ndarray | None = None
    least_effectivity: float = 0.0
    family: str = ""
    effectivity: float = 0.0


GoalBuilder = Callable[[], PendingGoal | Goal]
GoalBuilders = Iterator[tuple[str, GoalBuilder]]


def goal_names(goals: str | Iterable[str]) -> tuple[str, ...]:
    """The requested names as a tuple; a single one may be given as it is."""
    return (goals,) if isinstance(goals, str) else tuple(goals)


def checked_points(points: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """The places (r, z) of goals in metres; InputError for what are none."""
    try:
        return tuple((float(r), float(z)) for r, z in points)
    except (TypeError, ValueError):
        raise InputError(f"points = {points!r}: expected places (r, z) in metres, such as [(0.0, 0.01)]") from None


def build_goals(builders: GoalBuilders, requested: tuple[str, ...], primal: np.ndarray,
                solve: Callable[[np.ndarray], np.ndarray]) -> dict[str, Goal]:
    """The goals whose names begin with the requested words, all where none are requested; those of no size drop out.

    primal  the field (n,);  solve  dual fields of functionals, both (n, k)
    Raises InputError for words that begin no goal's name, and where no requested goal has a size.
    """
    builders = dict(builders)
    found = {name: builders[name]() for name in _selected(list(builders), requested)}
    found = {name: goal for name, goal in found.items()
             if goal.scale > 0 and not (isinstance(goal, PendingGoal) and not goal.functional.any())}
    if requested and not found:
        raise InputError(f"goals: {', '.join(requested)}: of no size in this problem; name others, or none")
    pending = {name: goal for name, goal in found.items() if isinstance(goal, PendingGoal)}
    if pending:
        duals = solve(np.stack([goal.functional for goal in pending.values()], axis=1)).T.copy()
        found |= {name: Goal(goal.value, goal.scale, [(primal if goal.field is None else goal.field, dual)], goal.least_effectivity,
                             goal.family, goal.effectivity)
                  for (name, goal), dual in zip(pending.items(), duals, strict=True)}
    return found


def is_requested(names: Iterable[str], requested: tuple[str, ...]) -> bool:
    """Whether any of some names of goals is wanted; where nothing is requested, all are."""
    return not requested or any(_matches(name, wanted) for name in names for wanted in requested)


def _selected(names: list[str], requested: tuple[str, ...]) -> list[str]:
    for wanted in requested:
        if not any(_matches(name, wanted) for name in names):
            raise InputError(f"goals: no goal is called {wanted!r}; those of this problem are {', '.join(sorted(names))}")
    return [name for name in names if is_requested((name,), requested)]


def _matches(name: str, wanted: str) -> bool:
    return f"{name} ".startswith(f"{wanted} ")
