"""The shot of a case, its refined run, and many runs, with a progress bar where a person looks on."""
from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fieldsolve.cases.case_file import Case
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.cli.process.interruption import raise_if_interrupted

MICROSECONDS = 1e6                    # microseconds in a second
RUNS_FORMAT = "{percentage:3.0f} %|{bar}| {n_fmt} of {total_fmt} runs{postfix}"
BAR_FORMAT = "{percentage:3.0f} %|{bar}| {n:.1f} of {total:.1f} us, {remaining} left"


def solve_with_progress(case: Case, accuracy: float | None = None, held: bool = False, checkpoint: str | None = None,
                        **options):
    """The shot of a case as `solve_case_shot` computes it, `options` too, with a progress bar where a person looks on."""
    with _progress_bar(case.run.end_time) as progress:
        return solve_case_shot(case, accuracy, held, progress, checkpoint=checkpoint, **options)


def resume_with_progress(path: str, end_time: float, checkpoint: str | None):
    """The shot of a checkpoint as `resume_shot` goes on with it to its end time in seconds, with a progress bar where a person looks on."""
    from fieldsolve.shot.resume import resume_shot

    with _progress_bar(end_time) as progress:
        return resume_shot(path, progress=progress, checkpoint=checkpoint)


def refine_with_progress(shot):
    """The shot with error bounds from a refined run, with a progress bar where a person looks on."""
    with _progress_bar(float(shot.times[-1])) as progress:
        return shot.refined(progress)


def write_movie_with_progress(shot, path: str, quantity: str) -> None:
    """Write the movie of a shot, with a progress bar in pictures where a person looks on."""
    from tqdm import tqdm

    from fieldsolve.report.animation.movie import FRAMES, write_movie

    terminal = getattr(sys.stderr, "stream", sys.stderr)
    with tqdm(total=FRAMES, disable=None if terminal else True, leave=False, unit=" pictures", file=terminal) as bar:
        def move(number: int, count: int) -> None:
            bar.update(number + 1 - bar.n)
            raise_if_interrupted()
        write_movie(shot, path, quantity, progress=move)


@contextmanager
def _progress_bar(end_time: float) -> Iterator[Callable[[float], None]]:
    """What moves a progress bar on standard error to a time in seconds; nothing is shown where that is no terminal."""
    from tqdm import tqdm

    terminal = getattr(sys.stderr, "stream", sys.stderr)        # below the screen, for the bar moves the cursor
    with tqdm(total=MICROSECONDS * end_time, disable=None if terminal else True, leave=False, bar_format=BAR_FORMAT, file=terminal) as bar:
        def move(time: float) -> None:
            bar.update(MICROSECONDS * time - bar.n)
            raise_if_interrupted()
        yield move


@contextmanager
def runs_progress() -> Iterator[Callable[[int, int, float | None], None]]:
    """What moves a progress bar to a number of runs, of all, with the seconds left; nothing is shown where no person looks on."""
    from tqdm import tqdm

    terminal = getattr(sys.stderr, "stream", sys.stderr)
    with tqdm(total=0, disable=None if terminal else True, leave=False, bar_format=RUNS_FORMAT, file=terminal) as bar:
        def move(done: int, count: int, left: float | None) -> None:
            bar.total = count
            bar.set_postfix_str("" if left is None else f"{tqdm.format_interval(left)} left", refresh=False)
            bar.update(done - bar.n)
            raise_if_interrupted()
        yield move
