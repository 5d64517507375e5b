"""The shot of a case file, with a progress bar where a person looks on."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fieldsolve.cases.shot_tables import ShotCase, solve_plan

US = 1e6                    # microseconds in a second
BAR = "{percentage:3.0f} %|{bar}| {n:.1f} of {total:.1f} us, {remaining} left"


def solved_shot(section, plan: ShotCase, accuracy: float | None):
    """The shot of a plan, with a progress bar where a person looks on; `accuracy` None is the usual one."""
    with _bar(plan.end_time) as progress:
        return solve_plan(section, plan, accuracy, progress)


@contextmanager
def _bar(end_time: float) -> Iterator[Callable[[float], None]]:
    """What moves a progress bar on standard error to a time in seconds; nothing is shown where that is no terminal."""
    from tqdm import tqdm

    with tqdm(total=US * end_time, disable=None, leave=False, bar_format=BAR) as bar:
        yield lambda time: bar.update(US * time - bar.n)
