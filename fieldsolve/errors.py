"""The errors a user can meet, under this package's name, and the words that offer the nearest known name."""
from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from geometries.errors import AccuracyWarning, FieldError, GeometryError, InputError, MeshError, SolveError

__all__ = ["AccuracyWarning", "FieldError", "GeometryError", "InputError", "MeshError", "SolveError", "nearest"]


def nearest(word: str, known: Iterable[str] | Mapping[str, str]) -> str:
    """The end of a message about an unknown `word`: the nearest of `known`, or all of them where none is near.

    A mapping leads from each accepted spelling to the name to offer.

    >>> nearest("coppr", ["copper", "silver"])
    "did you mean 'copper'?"
    """
    offered = known if isinstance(known, Mapping) else {name: name for name in known}
    names = {spelling.casefold(): name for spelling, name in offered.items()}
    close = difflib.get_close_matches(word.casefold(), names, n=3, cutoff=0.55)
    if close:
        return f"did you mean {' or '.join(dict.fromkeys(repr(names[spelling]) for spelling in close))}?"
    return f"known are {', '.join(sorted(set(names.values())))}"
