"""The table [field] of a case file: what field of the coils is to be computed."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fieldsolve.bounds import check_accuracy
from fieldsolve.cases.table_keys import read_values
from fieldsolve.errors import InputError
from fieldsolve.units import parse_quantity


@dataclass(frozen=True)
class FieldSettings:
    """What a case says of its field, in SI.

    applied_field  tesla, along +z; 0 where none is given
    accuracy       relative, or None where none is given
    frequencies    hertz, in the order given; none for the field at rest
    """

    applied_field: float = 0.0
    accuracy: float | None = None
    frequencies: tuple[float, ...] = ()


def read_field_settings(tables: dict[str, dict[str, Any]]) -> FieldSettings:
    """The table [field], the defaults where there is none; InputError with table, key, value and remedy."""
    values = read_values(tables, "field")
    if "accuracy" in values:
        check_accuracy(values["accuracy"], "[field] accuracy")
    if "frequency" in values:
        values["frequencies"] = read_frequencies(values.pop("frequency"), "[field] frequency")
    return FieldSettings(**values)


def read_frequencies(value: Any, label: str) -> tuple[float, ...]:
    """Frequencies in hertz, each once, from a text such as '1 kHz, 10 kHz', a number, or a list of these; else InputError."""
    items = value if isinstance(value, list) else [value]
    texts = [text for item in items for text in (item.split(",") if isinstance(item, str) else [item])]
    if not texts:
        raise InputError(f"{label} = []: give at least one, such as '10 kHz', or leave it out")
    frequencies = [parse_quantity(text, "Hz", label) for text in texts]
    for text, frequency in zip(texts, frequencies, strict=True):
        if not frequency > 0:
            raise InputError(f"{label} = {text!r}: must be larger than 0; leave it out for the field at rest")
    return tuple(dict.fromkeys(frequencies))
