"""What a command ends with, and which of several codes counts."""
from __future__ import annotations

from collections.abc import Iterable

DONE = 0
FAILED = 1          # or outside a hard limit
WRONG_USE = 2
NOT_ASSESSED = 3
NOT_KEPT = 4        # finished, but a promise is not kept: accuracy, balance, end time, an error larger than its figure
SIGNALLED = 128     # and the number of the signal: 130 after Ctrl-C, 143 after SIGTERM
PRECEDENCE = (WRONG_USE, FAILED, NOT_KEPT, NOT_ASSESSED, DONE)


def first_of(codes: Iterable[int]) -> int:
    """The code that counts among several; 0 where there is none."""
    found = {*codes, DONE}
    return next(code for code in PRECEDENCE if code in found)
