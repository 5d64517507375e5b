"""The shape of the JSON files of a log: which entries they have, and of what type each is."""
from __future__ import annotations

from typing import Any

from fieldsolve.errors import InputError

FILE = {"file": str, "sha256": str}
STORED = {"title": str, "created": str, "coils": [str], "bodies": [str], "case": {**FILE, "metals": [FILE]},
          "prediction": {"sha256": str, "wall_margin_assessed": bool}}
ADDITION = {"number": int, "kind": str, "added": str, "facts": {}, "file": (str, None), "sha256": (str, None), "replaces": (int, None),
            "previous": str}
FACTS_OF = {                                # of an addition, by its kind
    "facts": {"values": {...: {"text": str, "numbers": [(float, int)], "uncertainty": (float, int, None)}}},
    "record": {"written": str, "channels": {...: {}}},
    "note": {"text": str},
}


def check_shape(value: Any, shape: Any, where: str) -> None:
    """Refuse what is not of a shape: InputError that names the place.

    A shape is a type, None, a tuple of these of which one fits, a list with the shape of each item, or a dictionary with the shapes of
    entries that have to be there; `...` in place of a name stands for all names.
    """
    if not _fits(value, shape):
        raise InputError(f"{where}: is not what a log holds there; take another copy")
    if isinstance(shape, list):
        for number, item in enumerate(value):
            check_shape(item, shape[0], f"{where}[{number}]")
    if isinstance(shape, dict):
        for name, inner in shape.items():
            for key in value if name is ... else (name,):
                check_shape(value[key], inner, f"{where}, {key}")


def _fits(value: Any, shape: Any) -> bool:
    """Whether a value is of the outermost shape."""
    if isinstance(shape, tuple):
        return any(_fits(value, each) for each in shape)
    if isinstance(shape, dict):
        return isinstance(value, dict) and all(name in value for name in shape if name is not ...)
    if shape is None or isinstance(shape, list):
        return value is None if shape is None else isinstance(value, list)
    return isinstance(value, shape) and (shape is bool or not isinstance(value, bool))
