"""The suffix of an output file, which says its format."""
from __future__ import annotations

from pathlib import Path

from fieldsolve.errors import InputError


def check_suffix(kind: str, path: str | Path, suffixes: tuple[str, ...]) -> None:
    """InputError that names the file and its `kind` where its name ends in none of the suffixes; capitals are as good."""
    if Path(path).suffix.lower() not in suffixes:
        raise InputError(f"{kind} {path}: the name must end in {' or '.join(suffixes)}")
