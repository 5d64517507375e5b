"""How much work a run in time took."""
from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class WorkCounts:
    """Counts of a run; those that a problem does not have are 0.

    steps             accepted steps
    rejected_steps    steps that were made and thrown away: their error was too large, or they were shortened to an event
    stages            stages solved
    factorizations    matrices factored
    mechanics_passes  times a body's mechanics was integrated over a step or to a stage
    remeshes          times the air was meshed anew
    """

    steps: int = 0
    rejected_steps: int = 0
    stages: int = 0
    factorizations: int = 0
    mechanics_passes: int = 0
    remeshes: int = 0

    def plus(self, **more: int) -> WorkCounts:
        """These counts with `more` of some.

        >>> WorkCounts(steps=2).plus(steps=1, stages=4)
        WorkCounts(steps=3, rejected_steps=0, stages=4, factorizations=0, mechanics_passes=0, remeshes=0)
        """
        return replace(self, **{name: getattr(self, name) + count for name, count in more.items()})
