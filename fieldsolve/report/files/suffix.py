"""The suffix of an output file, which says its format."""
from __future__ import annotations

from pathlib import Path

from fieldsolve.errors import InputError
from fieldsolve.files import SCREEN, is_special


def check_suffix(kind: str, path: str | Path, suffixes: tuple[str, ...]) -> None:
    """InputError that names the file and its `kind` where its name ends in none of the suffixes; capitals are as good.

    Standard output and devices have no suffix.
    """
    if Path(path).suffix.lower() not in suffixes and str(path) != SCREEN and not is_special(Path(path)):
        raise InputError(f"{kind} {path}: the name must end in {' or '.join(suffixes)}")
