"""Unknown keywords of public functions and classes are refused with the nearest known one."""
from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from geometries.errors import KeywordError

Target = TypeVar("Target", bound=Callable[..., Any])


def known_keywords(target: Target) -> Target:
    """Decorator of a function or a class without open keywords: one that it does not know is a KeywordError, not a bare TypeError.

    Signature, pickling and examples stay those of the target.

    >>> @known_keywords
    ... def charge(*, voltage=0.0): return voltage
    >>> charge(volatge=1.0)
    Traceback (most recent call last):
    ...
    geometries.errors.KeywordError: unknown keyword 'volatge' of charge: did you mean 'voltage'?
    """
    function: Callable[..., Any] = target.__init__ if isinstance(target, type) else target       # type: ignore[misc]
    code = inspect.unwrap(function).__code__
    known = frozenset(code.co_varnames[:code.co_argcount + code.co_kwonlyargcount]) - {"self"}

    @functools.wraps(function)
    def called(*arguments: Any, **keywords: Any) -> Any:
        for word in keywords.keys() - known:
            raise KeywordError(f"unknown keyword {word!r} of {target.__name__}: {suggestion(word, known)}")
        return function(*arguments, **keywords)
    if not isinstance(target, type):
        return called                                                   # type: ignore[return-value]
    target.__init__ = called                                            # type: ignore[misc]
    return target


def suggestion(word: str, known: Iterable[str], display_names: Mapping[str, str] | None = None) -> str:
    """The end of a message about an unknown `word`: the nearest of `known`, or all of them where none is near.

    display_names  name to show for a spelling in `known`, where it is another

    >>> suggestion("coppr", ["copper", "silver"])
    "did you mean 'copper'?"
    """
    import difflib

    names = {spelling.casefold(): (display_names or {}).get(spelling, spelling) for spelling in known}
    close = difflib.get_close_matches(word.casefold(), names, n=3, cutoff=0.55)
    if close:
        return f"did you mean {' or '.join(dict.fromkeys(repr(names[spelling]) for spelling in close))}?"
    return f"known are {', '.join(sorted(set(names.values())))}"
