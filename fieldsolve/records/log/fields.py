"""What a log of a shot should hold at least, each under its name with its unit, and where the case file says it already.

Common practice, no source.
"""
from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldsolve.errors import InputError, suggestion
from fieldsolve.units import parse_quantity, split_uncertainty


@dataclass(frozen=True)
class Field:
    """One thing to write down.

    name     as it is given: NAME = VALUE; {coil} and {body} stand for the names of the parts
    unit     SI unit, '' for a pure number, None for text
    group    the heading it stands below
    after    whether it is known after the shot only
    count    how many values it should have
    case     dotted keys of the case file of which one says the same
    """

    name: str
    unit: str | None
    group: str
    after: bool = False
    count: int = 1
    case: tuple[str, ...] = ()


FIELDS = (
    Field("place", None, "shot"),
    Field("operator", None, "shot"),
    Field("air pressure", "Pa", "air", case=("site.pressure", "site.altitude")),
    Field("air temperature", "K", "air", case=("site.temperature",)),
    Field("relative humidity", "", "air", case=("site.humidity",)),
    Field("alloy of {body}", None, "disc", case=("{body}.material", "{body}.layers", "{body}.ring")),
    Field("temper of {body}", None, "disc", case=("{body}.temper",)),
    Field("conductivity of {body}", "S/m", "disc", case=("{body}.conductivity", "{body}.measured_resistance")),
    Field("mass of {body} before", "kg", "disc"),
    Field("diameter of {body} before", "m", "disc", count=4),
    Field("thickness of {body} before", "m", "disc", count=3),
    Field("film of {coil}", None, "coil", case=("insulation.film_breakdown",)),
    Field("former and overwrap of {coil}", None, "coil", case=("former.mass", "former.strength")),
    Field("mass of {coil} before", "kg", "coil"),
    Field("inductance of {coil} empty", "H", "coil"),
    Field("resistance of {coil} empty", "ohm", "coil"),
    Field("inductance of {coil} loaded", "H", "coil"),
    Field("resistance of {coil} loaded", "ohm", "coil"),
    Field("measured capacitance", "F", "bank"),
    Field("shot count of the bank", "", "bank"),
    Field("voltage at trigger", "V", "bank", after=True),
    Field("reversal of bank", "", "bank", after=True),
    Field("gap setting", "m", "gap and leads", case=("gap.distance", "gap.self_break")),
    Field("electrode state", None, "gap and leads"),
    Field("date of ring-down", None, "gap and leads"),
    Field("containment", None, "containment"),
    Field("diameter of {body}", "m", "after the shot", after=True, count=4),
    Field("thickness of {body} at axis", "m", "after the shot", after=True),
    Field("thickness of {body} at mid-radius", "m", "after the shot", after=True),
    Field("thickness of {body} at rim", "m", "after the shot", after=True),
    Field("mass of {body}", "kg", "after the shot", after=True),
    Field("mass of fragments", "kg", "after the shot", after=True),
    Field("dents", None, "after the shot", after=True),
    Field("anomalies", None, "after the shot", after=True),
)
LEADS_OF_CASE = ("bank.inductance", "bank.resistance", "bank.arc_voltage")      # of the whole external circuit, from a ring-down


@dataclass(frozen=True)
class Value:
    """What was written down: the text as given, and of a quantity its numbers in SI.

    numbers      in the field's unit; none of text
    uncertainty  standard uncertainty of each number, None where the text gives none
    """

    text: str
    numbers: tuple[float, ...] = ()
    uncertainty: float | None = None

    @property
    def facts(self) -> dict[str, Any]:
        """For JSON."""
        return {"text": self.text, "numbers": list(self.numbers), "uncertainty": self.uncertainty}


def fields_of(coils: tuple[str, ...], bodies: tuple[str, ...]) -> Iterator[Field]:
    """The fields with the names of the parts in them."""
    for field in FIELDS:
        owners = [("{coil}", coil) for coil in coils] if "{coil}" in field.name else [("{body}", body) for body in bodies]
        if "{" not in field.name:
            yield field
            continue
        for placeholder, name in owners:
            yield Field(field.name.replace(placeholder, name), field.unit, field.group, field.after, field.count,
                        tuple(key.replace(placeholder, name) for key in field.case))


def parse_value(field: Field, text: str) -> Value:
    """What a text says of a field: a quantity with its unit, several with commas between, or words; InputError where it is none."""
    text = text.strip()
    if not text:
        raise InputError(f"{field.name} = '': give what is to be written down")
    if field.unit is None:
        return Value(text)
    numbers, uncertainties = [], []
    for part in re.split(r"\s*[,;]\s+", text):
        quantity, uncertainty = split_uncertainty(part, field.name)
        numbers.append(parse_quantity(quantity, field.unit, field.name))
        uncertainties.append(uncertainty and uncertainty[1])
    known = [uncertainty for uncertainty in uncertainties if uncertainty is not None]
    return Value(text, tuple(numbers), max(known, default=None))


def find_field(name: str, coils: tuple[str, ...], bodies: tuple[str, ...]) -> Field:
    """The field of a name; InputError with the nearest one for an unknown name."""
    known = {field.name: field for field in fields_of(coils, bodies)}
    if name not in known:
        raise InputError(f"{name!r}: the log has no such entry; {suggestion(name, known)}; what fits nowhere goes into a note")
    return known[name]


def missing_fields(tables: Mapping[str, Mapping[str, Any]], facts: Mapping[str, Value], coils: tuple[str, ...],
                   bodies: tuple[str, ...]) -> list[tuple[str, str]]:
    """(group, what) of each thing that neither the case's tables nor the facts say."""
    missing = []
    for field in fields_of(coils, bodies):
        given = len(facts[field.name].numbers) or 1 if field.name in facts else 0
        if any(_in_case(tables, key) for key in field.case) or given >= field.count:
            continue
        missing.append((field.group, f"{field.name} ({given} of {field.count})" if field.count > 1 else field.name))
    unknown = [key for key in LEADS_OF_CASE if not _in_case(tables, key)]
    return missing + [("gap and leads", f"[bank] {key.split('.')[1]} in the case file") for key in unknown]


def _in_case(tables: Mapping[str, Mapping[str, Any]], key: str) -> bool:
    table, _, entry = key.rpartition(".")
    return entry in tables.get(table, {})
