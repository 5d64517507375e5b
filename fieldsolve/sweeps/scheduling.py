"""Runs handed to an executor and their outcomes handed back one by one, whatever dies on the way."""
from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from dataclasses import dataclass, field

from fieldsolve.errors import SolveError
from fieldsolve.sweeps.executors import Workers
from fieldsolve.sweeps.run import FAILED, Outcome, Run, VersionError, compute_run

MOST_DEATHS = 3                 # of the process that computes a run, while it computes nothing else
MOST_BROKEN_STARTS = 4          # of a pool in which no run has ever ended
DEATH = f"its process was killed {MOST_DEATHS} times: by a person, for want of memory, or by a fault in a library"


def compute_runs(runs: Iterable[Run], workers: Workers) -> Generator[tuple[Run, Outcome], None, None]:
    """Each run with its outcome, in the order in which they end; on leaving early what still runs is stopped.

    An error that is none of this project's is the reason of the run's row.  Where a process dies, what was running is computed again,
    one run at a time, so that the one that kills its process is known.

    Raises VersionError where a worker has other versions, SolveError where no process can be started or a scheduler has gone.
    """
    hand_out = _HandOut(workers, iter(runs))
    finished = False
    try:
        yield from hand_out.outcomes()
        finished = True
    finally:
        hand_out.stop(at_once=not finished)


@dataclass
class _HandOut:
    """What is running, and what died."""

    workers: Workers
    waiting: Iterator[Run]
    executor: Executor | None = None
    running: dict[Future, Run] = field(default_factory=dict)
    suspects: deque[Run] = field(default_factory=deque)         # their process died; they run alone
    deaths: dict[str, int] = field(default_factory=dict)        # by key, of a run that ran alone
    broken_starts: int = 0
    any_ended: bool = False

    def outcomes(self) -> Iterator[tuple[Run, Outcome]]:
        """Each run with its outcome as it ends; one whose process died is tried again by itself."""
        while self._fill():
            done, _ = wait(self.running, return_when=FIRST_COMPLETED)
            broken = []
            for future in done:
                run = self.running.pop(future)
                try:
                    outcome = _outcome_of(future)
                    self.any_ended = True
                    yield run, outcome
                except BrokenExecutor:
                    broken.append(run)
            if broken:
                yield from self._after_death(broken)

    def _fill(self) -> bool:
        """Hand out as many runs as the executor takes; whether anything runs."""
        if self.executor is None:
            self.executor = self.workers.start()
        if self.suspects:
            if not self.running:
                self._submit(self.suspects.popleft())
            return True
        while len(self.running) < self.workers.capacity(self.executor):
            run = next(self.waiting, None)
            if run is None:
                break
            self._submit(run)
        return bool(self.running)

    def _submit(self, run: Run) -> None:
        try:
            future = self.executor.submit(compute_run, run)
        except BrokenExecutor as error:             # a process died while nothing ran
            future = Future()
            future.set_exception(error)
        self.running[future] = run

    def _after_death(self, broken: list[Run]) -> Iterator[tuple[Run, Outcome]]:
        """Start processes anew; what ran is suspect, and what ran alone has died once more."""
        alone = len(broken) == 1 and not self.running and broken[0].key in self.deaths
        finished: list[tuple[Run, Outcome]] = []
        for future, run in list(self.running.items()):          # the others end now, for they share what broke
            try:
                finished.append((run, _outcome_of(future)))
            except BrokenExecutor:
                broken.append(run)
        self.running.clear()
        yield from finished
        self.broken_starts += 1
        if not self.workers.restarts or (not self.any_ended and self.broken_starts >= MOST_BROKEN_STARTS):
            raise SolveError("the processes that compute the runs die before any run ends; runs that were stored are kept. In a script the "
                             "call must stand below `if __name__ == '__main__':`; workers=1 computes in this process")
        self.stop(at_once=True)
        for run in broken:
            self.deaths[run.key] = self.deaths.get(run.key, 0) + alone
            if self.deaths[run.key] < MOST_DEATHS:
                self.suspects.append(run)
            else:
                yield run, Outcome(status=FAILED, reason=DEATH, repeats=False)

    def stop(self, at_once: bool) -> None:
        """End the executor."""
        if self.executor is not None:
            self.workers.stop(self.executor, at_once)
            self.executor = None


def _outcome_of(future: Future) -> Outcome:
    """The outcome of a run that has ended; an error that is none of this project's is its reason."""
    try:
        return future.result()
    except (BrokenExecutor, VersionError):
        raise
    except CancelledError:
        raise SolveError("the scheduler has gone, and with it the runs that it held; runs that were stored are kept") from None
    except Exception as error:
        return Outcome(status=FAILED, reason=f"{type(error).__name__}: {error}", repeats=False)
