"""Ctrl-C and SIGTERM: both interrupt what runs, so that its record is kept, and say the exit code."""
from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import NoReturn

SIGNALS = (signal.SIGINT, signal.SIGTERM)
received: list[int] = []        # numbers of the signals so far, of this process


@contextmanager
def signals_as_interrupts(restored: bool) -> Iterator[None]:
    """Context in which Ctrl-C and SIGTERM raise KeyboardInterrupt and are remembered; a signal that is ignored stays so.

    restored  whether the handlers of before come back; not in a process that ends then
    """
    received.clear()
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in SIGNALS}
    for number, handler in before.items():
        if handler is not signal.SIG_IGN:
            signal.signal(number, _interrupt)
    try:
        yield
    finally:
        for number, handler in before.items() if restored else ():
            signal.signal(number, handler)


def raise_if_interrupted() -> None:
    """KeyboardInterrupt where a signal has come: one that came while the interpreter cleaned up is lost otherwise."""
    if received:
        raise KeyboardInterrupt


def end_process(code: int) -> NoReturn:
    """End the process now with an exit code, without the interpreter's tidying up, which takes long and would meet further signals."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(Exception):       # closed, or nobody reads
            stream.flush()
    os._exit(code)


def _interrupt(number: int, frame: FrameType | None) -> None:
    received.append(number)
    raise KeyboardInterrupt
