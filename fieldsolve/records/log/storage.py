"""Files of the log: on the disk completely before they have their name, never over another one, with their hash."""
from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fieldsolve.errors import InputError

try:
    import fcntl
except ImportError:                    # not on Windows; there an index may lag until the next change
    fcntl = None                       # type: ignore[assignment]

PARTIAL = ".partial-"                  # beginning of the names of what is not complete yet


def partial_path(folder: Path) -> Path:
    """A new name in a folder for what is not complete yet."""
    return folder / f"{PARTIAL}{os.getpid()}-{secrets.token_hex(4)}"


def create_file(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a file that then gets the name `path`; FileExistsError where that is taken.

    1. fill a file under another name and wait until it is on the disk, 2. give it its name, which fails where there is one,
    3. wait until the name is on the disk.
    """
    partial = partial_path(path.parent)
    try:
        write(partial)
        flush_to_disk(partial)
        take_name(partial, path)
        flush_to_disk(path.parent)
    finally:
        partial.unlink(missing_ok=True)


def take_name(partial: Path, path: Path) -> None:
    """Give a file or folder its name, at once or not at all; FileExistsError where that is taken."""
    if os.name == "nt" or partial.is_dir():             # there, and of a folder that is not empty, rename takes no other's place
        try:
            partial.rename(path)
        except OSError as error:
            raise FileExistsError(f"{path} is there already") if path.exists() else error from None
    else:
        os.link(partial, path)


def flush_to_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    if path.is_dir() and os.name == "nt":
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def json_bytes(facts: dict[str, Any]) -> bytes:
    """Facts as the JSON that is stored; a NaN or an infinity in them is a ValueError."""
    return (json.dumps(facts, indent=2, allow_nan=False, ensure_ascii=False) + "\n").encode("utf-8")


def read_json(path: Path) -> dict[str, Any]:
    """Facts from a file of the log; InputError where it is damaged."""
    try:
        facts = json.loads(path.read_bytes())
    except (ValueError, RecursionError) as error:
        raise InputError(f"{path}: is damaged ({error}); take another copy") from None
    if not isinstance(facts, dict):
        raise InputError(f"{path}: is no file of a shot log; take another copy")
    return facts


def file_hash(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Only one process at a time; the lock of a process that ends is free, however it ends."""
    with path.open("a") as file:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX)
        yield
