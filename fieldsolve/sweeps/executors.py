"""Where runs are computed: in this process, in a pool of processes, by an executor of the caller's, or on a cluster.

The only user of loky and dask.distributed.
"""
from __future__ import annotations

import os
import re
import signal
import threading
import time as clock
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Any

from fieldsolve.errors import InputError

PATIENCE = 10.0                 # seconds in which a scheduler must answer
END_PATIENCE = 10.0             # seconds in which processes that have nothing more to compute must end
PARENT_POLL = 0.5               # seconds between looks for the parent process
_ADDRESS = re.compile(r"(tcp://|tls://|ucx://|wss?://)?(\[[0-9a-fA-F:.]+\]|[^/:\s]+):\d+/?|inproc://.+")
THREAD_VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


@dataclass(frozen=True)
class Workers:
    """How runs are handed out.

    start     makes the executor, anew after its processes have died; None where it cannot be made anew
    capacity  how many runs it is given at a time
    stop      ends it: (executor, at once), at once without waiting for what runs
    """

    start: Callable[[], Executor]
    capacity: Callable[[Executor], int]
    stop: Callable[[Executor, bool], None]
    restarts: bool = False


def choose_workers(workers: int | None, executor: Executor | None, scheduler: str | None, runs: int) -> Workers:
    """The workers that a caller chose: an executor, a scheduler's address, or a number of processes, None for one a core.

    Raises InputError for more than one choice, a number below 1, and a scheduler that is not there.
    """
    if executor is not None and scheduler is not None:
        raise InputError("executor and scheduler are both given; give one of them")
    if workers is not None and (isinstance(workers, bool) or not isinstance(workers, int) or workers < 1):
        raise InputError(f"workers = {workers!r}: give a whole number of processes, 1 or more")
    if scheduler is not None:
        return _cluster(scheduler)
    if executor is not None:
        return _given(executor, workers)
    count = min(workers or usable_cores(), max(runs, 1))
    return this_process() if count == 1 else _processes(count)


@contextmanager
def kept_open(workers: Workers) -> Iterator[Workers]:
    """The same workers for several lots of runs: their processes stay between lots, and end with the context."""
    running: list[Executor] = []

    def start() -> Executor:
        if not running:
            running.append(workers.start())
        return running[0]

    def stop(executor: Executor, at_once: bool) -> None:
        if at_once:
            running.clear()
            workers.stop(executor, True)
    try:
        yield replace(workers, start=start, stop=stop)
    finally:
        if running:
            workers.stop(running[0], False)


def usable_cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class _AtOnce(Executor):
    """Computes a run when it is submitted."""

    def submit(self, function, /, *arguments, **keywords) -> Future:
        future: Future = Future()
        try:
            future.set_result(function(*arguments, **keywords))
        except Exception as error:
            future.set_exception(error)
        return future


def this_process() -> Workers:
    """No other process: one run after the other, here."""
    return Workers(_AtOnce, lambda executor: 1, lambda executor, at_once: None)


def _processes(count: int) -> Workers:
    """A pool of new processes, loky's where it is installed."""
    return Workers(lambda: _start_pool(count), lambda executor: count, _stop_pool, restarts=True)


def _start_pool(count: int) -> Executor:
    arguments: dict[str, Any] = {"max_workers": count, "initializer": start_worker, "initargs": (os.getpid(),)}
    try:
        from loky import ProcessPoolExecutor
    except ImportError:
        from concurrent.futures import ProcessPoolExecutor as SpawningPool
        from multiprocessing import get_context

        return SpawningPool(mp_context=get_context("spawn"), **arguments)
    return ProcessPoolExecutor(env=dict.fromkeys(THREAD_VARIABLES, "1"), timeout=None, **arguments)


def start_worker(parent: int) -> None:
    """Prepare a process of a pool: Ctrl-C is the parent's to handle, BLAS has one thread, and without the parent the process ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    if os.name == "posix":
        threading.Thread(target=_end_without, args=(parent,), daemon=True).start()


def _end_without(parent: int) -> None:
    while os.getppid() == parent:
        clock.sleep(PARENT_POLL)
    os._exit(1)


def _stop_pool(executor: Executor, at_once: bool) -> None:
    """End a pool: at once, or when its processes have ended by themselves, for which they have END_PATIENCE.

    One that is killed while it holds the lock of the queue leaves the others waiting for it for ever.
    """
    processes = list((getattr(executor, "_processes", None) or {}).values())
    if at_once:
        _kill(processes)
    timer = threading.Timer(END_PATIENCE, _kill, (processes,))
    timer.daemon = True
    timer.start()
    try:
        executor.shutdown(wait=not at_once, cancel_futures=True) if _is_standard(executor) else executor.shutdown(kill_workers=at_once)
    finally:
        timer.cancel()


def _kill(processes: Iterable[Any]) -> None:
    for process in processes:
        with suppress(OSError, ValueError):         # it may have ended
            if process.is_alive():
                os.kill(process.pid, getattr(signal, "SIGKILL", signal.SIGTERM))        # loky's processes have no kill()


def _is_standard(executor: Executor) -> bool:
    return type(executor).__module__.startswith("concurrent.")


def _given(executor: Executor, workers: int | None) -> Workers:
    """An executor of the caller's, who ends it."""
    if not hasattr(executor, "submit"):
        raise InputError(f"executor = {executor!r}: give an executor as of concurrent.futures, with submit()")
    count = workers or getattr(executor, "_max_workers", None) or usable_cores()
    return Workers(lambda: executor, lambda _: count, lambda executor, at_once: None)


def _cluster(address: str) -> Workers:
    """The workers of a scheduler of dask.distributed."""
    client = connect(address)
    last: dict[str, float] = {"read_at": -PATIENCE, "capacity": 2}

    def capacity(executor: Executor) -> int:
        if clock.monotonic() - last["read_at"] > PATIENCE:             # workers come and go
            last.update(read_at=clock.monotonic(), capacity=max(2 * sum(client.ncores().values()), 2))
        return int(last["capacity"])

    def stop(executor: Executor, at_once: bool) -> None:
        executor.shutdown(wait=not at_once)
        client.close()
    return Workers(lambda: client.get_executor(pure=False), capacity, stop)


def connect(address: str) -> Any:
    """A client of a scheduler; InputError where dask is not installed, nobody answers, or there are no workers."""
    try:
        from distributed import Client
    except ImportError:
        raise InputError("scheduler: needs dask.distributed, which is not installed: pip install 'fieldsolve[cluster]'") from None
    if not _ADDRESS.fullmatch(address):
        raise InputError(f"scheduler = {address!r}: give its address with the port, such as 'tcp://10.0.0.1:8786'")
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"scheduler = {address!r}: no scheduler answers there within {PATIENCE:g} s ({type(error).__name__}); start one "
                         "with 'dask scheduler', and workers with 'dask worker ADDRESS --nthreads 1'") from None
    if not client.ncores():
        client.close()
        raise InputError(f"scheduler = {address!r}: it has no workers; start some with 'dask worker {address} --nthreads 1'")
    return client
