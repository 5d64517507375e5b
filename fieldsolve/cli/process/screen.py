"""Standard output and error that take whatever a command prints: any alphabet, control characters as text, and a reader who leaves."""
from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from typing import Any, TextIO

KEPT = "\n\t"                   # control characters that are written as they are
LONGEST_MESSAGE = 2000          # characters of an error or warning


class Screen:
    """A text stream that writes to another one; it shows control characters as text, so that no name can imitate a line."""

    def __init__(self, stream: TextIO | None) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write a text; to nowhere once nobody reads."""
        self._forward("write", printable(text))
        return len(text)

    def flush(self) -> None:
        """Hand on what was written."""
        self._forward("flush")

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)

    def _forward(self, method: str, *arguments: str) -> None:
        if self.stream is None:
            return
        try:
            getattr(self.stream, method)(*arguments)
        except UnicodeEncodeError:                      # surrogates, or letters beyond a screen of ASCII
            encoding = self.stream.encoding or "ascii"
            self.stream.write(arguments[0].encode(encoding, "backslashreplace").decode(encoding))
        except BrokenPipeError:
            _discard_from_now_on(self.stream)
            self.stream = None


def printable(text: str) -> str:
    r"""The text with control characters, but for new lines, as escape sequences.

    >>> printable("coil\x1b[2K\r WITHIN")
    'coil\\x1b[2K\\r WITHIN'
    """
    return text if text.isprintable() else "".join(c if c.isprintable() or c in KEPT else ascii(c)[1:-1] for c in text)


def message_line(message: Exception | str) -> str:
    """An error or warning as one line that is not too long."""
    line = printable(" ".join(str(message).split()))
    return line if len(line) <= LONGEST_MESSAGE else f"{line[:LONGEST_MESSAGE]} ... ({len(line)} characters)"


@contextlib.contextmanager
def robust_screen() -> Iterator[None]:
    """Context in which standard output and error are screens."""
    with contextlib.redirect_stdout(Screen(sys.stdout)), contextlib.redirect_stderr(Screen(sys.stderr)):
        yield


def _discard_from_now_on(stream: TextIO) -> None:
    """Let what the stream still holds go nowhere, so that the interpreter's last flush finds no broken pipe."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
