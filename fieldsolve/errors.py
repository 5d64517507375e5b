"""The errors a user can meet, under this package's name, and the words that offer the nearest known name."""
from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from geometries.errors import AccuracyWarning, FieldError, GeometryError, InputError, MeshError, MotionEnd, RenamedError, SolveError

__all__ = ["AccuracyWarning", "FieldError", "GeometryError", "InputError", "MeshError", "MotionEnd", "RenamedError", "SolveError",
           "suggestion"]


def suggestion(word: str, known: Iterable[str], display_names: Mapping[str, str] | None = None) -> str:
    """The end of a message about an unknown `word`: the nearest of `known`, or all of them where none is near.

    display_names  name to show for a spelling in `known`, where it is another

    >>> suggestion("coppr", ["copper", "silver"])
    "did you mean 'copper'?"
    """
    names = {spelling.casefold(): (display_names or {}).get(spelling, spelling) for spelling in known}
    close = difflib.get_close_matches(word.casefold(), names, n=3, cutoff=0.55)
    if close:
        return f"did you mean {' or '.join(dict.fromkeys(repr(names[spelling]) for spelling in close))}?"
    return f"known are {', '.join(sorted(set(names.values())))}"
