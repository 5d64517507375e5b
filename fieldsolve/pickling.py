"""What an object hands to pickle: its declared fields, and no function that another process could not find."""
from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import fields
from typing import Any

from fieldsolve.errors import InputError


def declared_fields(instance: Any) -> dict[str, Any]:
    """Fields of a dataclass by name, without what it has cached beside them."""
    return {field.name: getattr(instance, field.name) for field in fields(instance)}


def check_importable(owner: str, function: Callable) -> None:
    """Refuse a function that pickle cannot write, such as a lambda: InputError that names its `owner`.

    >>> check_importable("current of coil", max)
    """
    try:
        pickle.dumps(function)
    except Exception as error:                     # whatever a person's own class raises
        name = f"{getattr(function, '__module__', '?')}.{getattr(function, '__qualname__', repr(function))}"
        raise InputError(f"{owner} is the function {name}, which cannot be pickled or sent to another process ({error}): define it at the "
                         "top level of a module that can be imported") from None
