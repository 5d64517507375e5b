"""Output files that are complete or not there at all, and checks of their places before a solve."""
from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

from fieldsolve.errors import InputError


def write_atomically(path: str | Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a temporary file beside `path` (same suffix), then put it in the place of `path`.

    Where `write` fails, `path` stays as it was and nothing is left beside it.
    Raises OSError where the folder cannot be written to.
    """
    path = Path(path)
    temporary = path.with_name(f".{path.stem}.{os.getpid()}.partial{path.suffix}")
    try:
        write(temporary)
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def write_json(path: str | Path, facts: dict) -> None:
    """Write `facts` as JSON; a NaN or an infinity in them is a ValueError, never a file."""
    text = json.dumps(facts, indent=2, allow_nan=False) + "\n"
    write_atomically(path, lambda temporary: temporary.write_text(text, encoding="utf-8"))


def check_output_file(option: str, target: str | None, suffixes: tuple[str, ...] = ()) -> None:
    """InputError before a solve where the file of an `option` could not be written after it."""
    if target is None:
        return
    path = Path(target)
    if suffixes and not path.name.lower().endswith(suffixes):
        raise InputError(f"{option} {target}: the name must end in {' or '.join(suffixes)}")
    if not path.parent.is_dir():
        raise InputError(f"{option} {target}: no such folder: {path.parent}; make it first")
    if path.is_dir():
        raise InputError(f"{option} {target}: is a folder; give a file name")


def check_output_folder(option: str, target: str | None) -> None:
    """The same for a folder, which is made where it is missing."""
    if target is None:
        return
    path = Path(target)
    if path.exists() and not path.is_dir():
        raise InputError(f"{option} {target}: is a file; give a folder")
    if not path.parent.is_dir():
        raise InputError(f"{option} {target}: no such folder: {path.parent}; make it first")
