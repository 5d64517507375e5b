"""Pools of processes: how they end."""
import os
import signal
import sys
import threading

import pytest

from fieldsolve.sweeps import executors


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="stops a process by a signal")
@pytest.mark.parametrize("loky", [True, False])
def test_a_process_that_does_not_end_is_ended(loky, monkeypatch):
    """As one does not that waits for the lock of the queue, where another was killed that held it."""
    if loky:
        pytest.importorskip("loky")
    else:
        monkeypatch.setitem(sys.modules, "loky", None)
    monkeypatch.setattr(executors, "END_PATIENCE", 0.5)
    workers = executors.choose_workers(2, None, None, runs=2)
    pool = workers.start()
    stuck = pool.submit(os.getpid).result(60)
    os.kill(stuck, signal.SIGSTOP)
    ending = threading.Thread(target=workers.stop, args=(pool, False), daemon=True)
    ending.start()
    ending.join(30)
    ended = not ending.is_alive()
    if not ended:
        os.kill(stuck, signal.SIGKILL)
    assert ended
