"""What a workshop tells of its rig: one frozen table each, every entry optional, each with its unit and what it may be."""
from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from dataclasses import dataclass, field, fields
from typing import Any, ClassVar

from fieldsolve.errors import InputError, suggestion

HEARING_PROTECTION = ("none", "plug", "muff", "plug and muff")
WALL_MATERIALS = ("mild steel",)                  # what the penetration formulas are for


class MissingInput(Exception):
    """What a figure needs and nobody has told: the figure is not assessed."""


def require(table: Any, *keys: str) -> Any:
    """The entries of a table, one alone or a tuple; raises Missing, which names all that are not told."""
    missing = [key for key in keys if getattr(table, key) is None]
    if missing:
        raise MissingInput(f"[{table.TABLE}] {' and '.join(missing)}")
    values = tuple(getattr(table, key) for key in keys)
    return values if len(values) > 1 else values[0]


def optional_entry(unit: str | None, check: Callable[[str, Any], Any]) -> Any:
    """An entry that may be left out; `unit` is SI, '' for a pure number, None where it is no number."""
    return field(default=None, metadata={"unit": unit, "check": check})


def units_of(table_class: type) -> dict[str, str | None]:
    """Unit of each entry of a kind of table."""
    return {item.name: item.metadata["unit"] for item in fields(table_class)}


def check_entries(table: Any) -> None:
    """Refuse by table, entry and value what an entry cannot be: InputError."""
    for item in fields(table):
        value = getattr(table, item.name)
        if value is not None:
            object.__setattr__(table, item.name, item.metadata["check"](f"[{table.TABLE}] {item.name}", value))


def check_positive(label: str, value: Any) -> float:
    """A finite number above 0; else InputError."""
    number = _check_finite(label, value)
    if number <= 0:
        raise InputError(f"{label} = {value!r}: must be larger than 0; leave it out where it is not known")
    return number


def _check_finite(label: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"{label} = {value!r}: must be a finite number in SI units")
    return float(value)


def _check_fraction(label: str, value: Any) -> float:
    share = check_positive(label, value)
    if share > 1:
        raise InputError(f"{label} = {value!r}: must be at most 1" + (f"; meant '{value:g} %'?" if share <= 100 else ""))
    return share


def _check_count(label: str, value: Any) -> int:
    count = check_positive(label, value)
    if count != int(count):
        raise InputError(f"{label} = {value!r}: must be a whole number")
    return int(count)


def _check_altitude(label: str, value: Any) -> float:
    metres = _check_finite(label, value)
    if not -500 <= metres <= 9000:
        raise InputError(f"{label} = {value!r}: must be from -500 m to 9000 m above the sea")
    return metres


def _check_room_temperature(label: str, value: Any) -> float:
    kelvin = _check_finite(label, value)
    if not 230 <= kelvin <= 330:
        raise InputError(f"{label} = {value!r}: must be from 230 K to 330 K, the air's; a number alone is in kelvin, else '20 degC'")
    return kelvin


def _check_pressure(label: str, value: Any) -> float:
    pascal = _check_finite(label, value)
    if not 30e3 <= pascal <= 110e3:
        raise InputError(f"{label} = {value!r}: must be from 30 kPa to 110 kPa, the air's, not reduced to sea level")
    return pascal


def _check_boolean(label: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise InputError(f"{label} = {value!r}: expected true or false")
    return value


def _check_choice(*choices: str) -> Callable[[str, Any], str]:
    def check(label: str, value: Any) -> str:
        if value not in choices:
            raise InputError(f"{label} = {value!r}: not known; {suggestion(str(value), choices)}")
        return value
    return check


def _check_day(label: str, value: Any) -> datetime.date:
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
    altitude: float | None = optional_entry("m", _check_altitude)
    pressure: float | None = optional_entry("Pa", _check_pressure)
    temperature: float | None = optional_entry("K", _check_room_temperature)
    humidity: float | None = optional_entry("", _check_fraction)
    persons_distance: float | None = optional_entry("m", check_positive)
    persons_behind_box: bool | None = optional_entry(None, _check_boolean)
    hearing_protection: str | None = optional_entry(None, _check_choice(*HEARING_PROTECTION))
    implants_excluded: bool | None = optional_entry(None, _check_boolean)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Capacitor:
    """What the maker of a bank's capacitors allows: volt, share of the charge voltage, ampere."""

    TABLE: ClassVar[str] = "capacitor"
    rated_voltage: float | None = optional_entry("V", check_positive)
    rated_reversal: float | None = optional_entry("", _check_fraction)
    rated_current: float | None = optional_entry("A", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Gap:
    """The spark gap: its distance in metres, or in its place the self-break voltage in volt measured and reduced to 20 degC and 760 torr.

    second_distance, second_self_break  the same of the second bank's gap
    """

    TABLE: ClassVar[str] = "gap"
    distance: float | None = optional_entry("m", check_positive)
    self_break: float | None = optional_entry("V", check_positive)
    second_distance: float | None = optional_entry("m", check_positive)
    second_self_break: float | None = optional_entry("V", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Bleeder:
    """What is always connected across each bank: `strings` in parallel, each of `parts` equal resistors in series.

    part_resistance  ohm; part_rated_voltage  volt; part_rated_power  watt; part_rated_energy  joule
    tested           the day of the last test
    dump_resistance  of the dump in ohm; dump_mass  of its ceramic in kg
    """

    TABLE: ClassVar[str] = "bleeder"
    parts: int | None = optional_entry("", _check_count)
    part_resistance: float | None = optional_entry("ohm", check_positive)
    part_rated_voltage: float | None = optional_entry("V", check_positive)
    part_rated_power: float | None = optional_entry("W", check_positive)
    part_rated_energy: float | None = optional_entry("J", check_positive)
    strings: int | None = optional_entry("", _check_count)
    tested: datetime.date | None = optional_entry(None, _check_day)          # noqa: RUF009
    dump_resistance: float | None = optional_entry("ohm", check_positive)
    dump_mass: float | None = optional_entry("kg", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Box:
    """The containment: thickness of its wall in metres at its weakest place, and the fragment it must hold where that is not one turn.

    material  'mild steel', which the formulas are for; fragment_mass  kg; fragment_diameter  of its face in metres
    """

    TABLE: ClassVar[str] = "box"
    wall: float | None = optional_entry("m", check_positive)
    material: str | None = optional_entry(None, _check_choice(*WALL_MATERIALS))
    fragment_mass: float | None = optional_entry("kg", check_positive)
    fragment_diameter: float | None = optional_entry("m", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class LeadLayout:
    """How the leads run, metres: length, spacing between centres, width where they are plates, else diameter of the wires.

    loop_area  that they span, m^2
    """

    TABLE: ClassVar[str] = "leads"
    spacing: float | None = optional_entry("m", check_positive)
    length: float | None = optional_entry("m", check_positive)
    width: float | None = optional_entry("m", check_positive)
    wire_diameter: float | None = optional_entry("m", check_positive)
    loop_area: float | None = optional_entry("m^2", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Insulation:
    """Breakdown voltages in volt: of the film from turn to turn, from layer to layer, and from coil to disc; layers of a winding."""

    TABLE: ClassVar[str] = "insulation"
    film_breakdown: float | None = optional_entry("V", check_positive)
    layer_breakdown: float | None = optional_entry("V", check_positive)
    coil_to_disc_breakdown: float | None = optional_entry("V", check_positive)
    layers: int | None = optional_entry("", _check_count)
    __post_init__ = check_entries


@dataclass(frozen=True)
class FormerTable:
    """What is round the turns, in all: mass in kg, the hoop tension that tears it and its stiffness, tension over strain, in newton.

    A shot with moving metal makes an `fs.Former` of it.
    """

    TABLE: ClassVar[str] = "former"
    mass: float | None = optional_entry("kg", check_positive)
    strength: float | None = optional_entry("N", check_positive)
    stiffness: float | None = optional_entry("N", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Charger:
    """The charger: its constant current in ampere, or the resistance in ohm through which it charges."""

    TABLE: ClassVar[str] = "charger"
    current: float | None = optional_entry("A", check_positive)
    resistance: float | None = optional_entry("ohm", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Instruments:
    """Rogowski coil (turns per metre, area), shunt (ohm, henry), B-dot loop (turns, area) and divider (ratio to 1)."""

    TABLE: ClassVar[str] = "instruments"
    rogowski_turns_per_metre: float | None = optional_entry("1/m", check_positive)
    rogowski_area: float | None = optional_entry("m^2", check_positive)
    shunt_resistance: float | None = optional_entry("ohm", check_positive)
    shunt_inductance: float | None = optional_entry("H", check_positive)
    loop_turns: float | None = optional_entry("", check_positive)
    loop_area: float | None = optional_entry("m^2", check_positive)
    divider_ratio: float | None = optional_entry("", check_positive)
    __post_init__ = check_entries
