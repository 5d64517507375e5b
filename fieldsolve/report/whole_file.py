"""Files that appear whole or not at all."""
from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path


def write_whole(path: str | Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a temporary file beside `path` (same suffix), then put it in the place of `path`.

    Where `write` fails, `path` stays as it was and nothing is left beside it.
    Raises OSError where the folder cannot be written to.
    """
    path = Path(path)
    partial = path.with_name(f".{path.stem}.{os.getpid()}.partial{path.suffix}")
    try:
        write(partial)
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)


def write_json(path: str | Path, facts: dict) -> None:
    """Write `facts` as JSON; a NaN or an infinity in them is a ValueError, never a file."""
    text = json.dumps(facts, indent=2, allow_nan=False) + "\n"
    write_whole(path, lambda partial: partial.write_text(text, encoding="utf-8"))
