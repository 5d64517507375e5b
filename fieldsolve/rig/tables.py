"""What a workshop tells of its rig: one frozen table each, every entry optional, each with its unit and what it may be."""
from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

from fieldsolve.errors import InputError, nearest

HEARING = ("none", "plug", "muff", "plug and muff")
WALLS = ("mild steel",)                  # what the penetration formulas are for


class Missing(Exception):
    """What a figure needs and nobody has told: the figure is not assessed."""


def given(table: Any, *keys: str) -> Any:
    """The entries of a table, one alone or a tuple; raises Missing, which names all that are not told."""
    lacking = [key for key in keys if getattr(table, key) is None]
    if lacking:
        raise Missing(f"[{table.TABLE}] {' and '.join(lacking)}")
    values = tuple(getattr(table, key) for key in keys)
    return values if len(values) > 1 else values[0]


def entry(unit: str | None, check: Callable[[str, Any], Any]) -> Any:
    """An entry that may be left out; `unit` is SI, '' for a pure number, None where it is no number."""
    return field(default=None, metadata={"unit": unit, "check": check})


def units_of(kind: type) -> dict[str, str | None]:
    """Unit of each entry of a kind of table."""
    return {each.name: each.metadata["unit"] for each in fields(kind)}


def check_entries(table: Any) -> None:
    """Refuse by table, entry and value what an entry cannot be: InputError."""
    for each in fields(table):
        value = getattr(table, each.name)
        if value is not None:
            object.__setattr__(table, each.name, each.metadata["check"](f"[{table.TABLE}] {each.name}", value))


def positive(label: str, value: Any) -> float:
    """A finite number above 0; else InputError."""
    number = _finite(label, value)
    if number <= 0:
        raise InputError(f"{label} = {value!r}: must be larger than 0; leave it out where it is not known")
    return number


def _finite(label: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"{label} = {value!r}: must be a finite number in SI units")
    return float(value)


def _share(label: str, value: Any) -> float:
    share = positive(label, value)
    if share > 1:
        raise InputError(f"{label} = {value!r}: must be at most 1" + (f"; meant '{value:g} %'?" if share <= 100 else ""))
    return share


def _count(label: str, value: Any) -> int:
    count = positive(label, value)
    if count != int(count):
        raise InputError(f"{label} = {value!r}: must be a whole number")
    return int(count)


def _altitude(label: str, value: Any) -> float:
    metres = _finite(label, value)
    if not -500 <= metres <= 9000:
        raise InputError(f"{label} = {value!r}: must be from -500 m to 9000 m above the sea")
    return metres


def _room_temperature(label: str, value: Any) -> float:
    kelvin = _finite(label, value)
    if not 230 <= kelvin <= 330:
        raise InputError(f"{label} = {value!r}: must be from 230 K to 330 K, the air's; a number alone is in kelvin, else '20 degC'")
    return kelvin


def _pressure(label: str, value: Any) -> float:
    pascal = _finite(label, value)
    if not 30e3 <= pascal <= 110e3:
        raise InputError(f"{label} = {value!r}: must be from 30 kPa to 110 kPa, the air's, not reduced to sea level")
    return pascal


def _yes_or_no(label: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{label} = {value!r}: expected true or false")
    return value


def _one_of(*choices: str) -> Callable[[str, Any], str]:
    def check(label: str, value: Any) -> str:
        if value not in choices:
            raise InputError(f"{label} = {value!r}: not known; {nearest(str(value), choices)}")
        return value
    return check


def _day(label: str, value: Any) -> datetime.date:
    if not isinstance(value, datetime.date):
        raise InputError(f"{label} = {value!r}: expected a date without quotes, such as 2026-03-31")
    return value.date() if isinstance(value, datetime.datetime) else value


@dataclass(frozen=True)
class Site:
    """The room on the day of the shot.

    altitude  metres; pressure  pascal, in its place; temperature  kelvin; humidity  relative, 0 to 1
    persons_distance     metres from coil and leads to the nearest person
    persons_behind_box   whether everyone stands behind the containment
    hearing_protection   'none', 'plug', 'muff' or 'plug and muff'
    implants_excluded    whether nobody with a pacemaker or another implant is in the room
    """

    TABLE: ClassVar[str] = "site"
    altitude: float | None = entry("m", _altitude)
    pressure: float | None = entry("Pa", _pressure)
    temperature: float | None = entry("K", _room_temperature)
    humidity: float | None = entry("", _share)
    persons_distance: float | None = entry("m", positive)
    persons_behind_box: bool | None = entry(None, _yes_or_no)
    hearing_protection: str | None = entry(None, _one_of(*HEARING))
    implants_excluded: bool | None = entry(None, _yes_or_no)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Capacitor:
    """What the maker of a bank's capacitors allows: volt, share of the charge voltage, ampere."""

    TABLE: ClassVar[str] = "capacitor"
    rated_voltage: float | None = entry("V", positive)
    rated_reversal: float | None = entry("", _share)
    rated_current: float | None = entry("A", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Gap:
    """The spark gap: its distance in metres, or in its place the self-break voltage in volt measured and reduced to 20 degC and 760 torr.

    second_distance, second_self_break  the same of the second bank's gap
    """

    TABLE: ClassVar[str] = "gap"
    distance: float | None = entry("m", positive)
    self_break: float | None = entry("V", positive)
    second_distance: float | None = entry("m", positive)
    second_self_break: float | None = entry("V", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Bleeder:
    """What is always connected across each bank: `strings` in parallel, each of `parts` equal resistors in series.

    part_resistance  ohm; part_rated_voltage  volt; part_rated_power  watt; part_rated_energy  joule
    tested           the day of the last test
    dump_resistance  of the dump in ohm; dump_mass  of its ceramic in kg
    """

    TABLE: ClassVar[str] = "bleeder"
    parts: int | None = entry("", _count)
    part_resistance: float | None = entry("ohm", positive)
    part_rated_voltage: float | None = entry("V", positive)
    part_rated_power: float | None = entry("W", positive)
    part_rated_energy: float | None = entry("J", positive)
    strings: int | None = entry("", _count)
    tested: datetime.date | None = entry(None, _day)          # noqa: RUF009
    dump_resistance: float | None = entry("ohm", positive)
    dump_mass: float | None = entry("kg", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Box:
    """The containment: thickness of its wall in metres at its weakest place, and the fragment it must hold where that is not one turn.

    material  'mild steel', which the formulas are for; fragment_mass  kg; fragment_diameter  of its face in metres
    """

    TABLE: ClassVar[str] = "box"
    wall: float | None = entry("m", positive)
    material: str | None = entry(None, _one_of(*WALLS))
    fragment_mass: float | None = entry("kg", positive)
    fragment_diameter: float | None = entry("m", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class LeadLayout:
    """How the leads run, metres: length, spacing between centres, width where they are plates, else diameter of the wires.

    loop_area  that they span, m^2
    """

    TABLE: ClassVar[str] = "leads"
    spacing: float | None = entry("m", positive)
    length: float | None = entry("m", positive)
    width: float | None = entry("m", positive)
    wire_diameter: float | None = entry("m", positive)
    loop_area: float | None = entry("m^2", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Insulation:
    """Breakdown voltages in volt: of the film from turn to turn, from layer to layer, and from coil to disc; layers of a winding."""

    TABLE: ClassVar[str] = "insulation"
    film_breakdown: float | None = entry("V", positive)
    layer_breakdown: float | None = entry("V", positive)
    coil_to_disc_breakdown: float | None = entry("V", positive)
    layers: int | None = entry("", _count)
    __post_init__ = check_entries


@dataclass(frozen=True)
class FormerTable:
    """What is round the turns, in all: mass in kg, the hoop tension that tears it and its stiffness, tension over strain, in newton.

    A shot with moving metal makes an `fs.Former` of it.
    """

    TABLE: ClassVar[str] = "former"
    mass: float | None = entry("kg", positive)
    strength: float | None = entry("N", positive)
    stiffness: float | None = entry("N", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Charger:
    """The charger: its constant current in ampere, or the resistance in ohm through which it charges."""

    TABLE: ClassVar[str] = "charger"
    current: float | None = entry("A", positive)
    resistance: float | None = entry("ohm", positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Instruments:
    """Rogowski coil (turns per metre, area), shunt (ohm, henry), B-dot loop (turns, area) and divider (ratio to 1)."""

    TABLE: ClassVar[str] = "instruments"
    rogowski_turns_per_metre: float | None = entry("1/m", positive)
    rogowski_area: float | None = entry("m^2", positive)
    shunt_resistance: float | None = entry("ohm", positive)
    shunt_inductance: float | None = entry("H", positive)
    loop_turns: float | None = entry("", positive)
    loop_area: float | None = entry("m^2", positive)
    divider_ratio: float | None = entry("", positive)
    __post_init__ = check_entries
