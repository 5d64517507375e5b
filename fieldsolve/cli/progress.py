"""The shot of a case file, with a progress bar where a person looks on."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fieldsolve.cases.shot_tables import ShotCase, solve_plan

MICROSECONDS = 1e6                    # microseconds in a second
BAR_FORMAT = "{percentage:3.0f} %|{bar}| {n:.1f} of {total:.1f} us, {remaining} left"


def solve_with_progress(section, plan: ShotCase, accuracy: float | None):
    """The shot of a plan, with a progress bar where a person looks on; `accuracy` None is the usual one."""
    with _progress_bar(plan.end_time) as progress:
        return solve_plan(section, plan, accuracy, progress)


@contextmanager
def _progress_bar(end_time: float) -> Iterator[Callable[[float], None]]:
    """What moves a progress bar on standard error to a time in seconds; nothing is shown where that is no terminal."""
    from tqdm import tqdm

    with tqdm(total=MICROSECONDS * end_time, disable=None, leave=False, bar_format=BAR_FORMAT) as bar:
        yield lambda time: bar.update(MICROSECONDS * time - bar.n)
