"""What a workshop says of its rig: one frozen table each, every entry optional, each with its unit and its check.

Leads and former are those of the shot: `fieldsolve.Leads`, `fieldsolve.Former`.  Ratings are those of each `fieldsolve.Bank`.
"""
from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from fieldsolve.rig.entries import (
    check_altitude,
    check_boolean,
    check_choice,
    check_count,
    check_day,
    check_entries,
    check_fraction,
    check_positive,
    check_pressure,
    check_room_temperature,
    optional_entry,
    table_name,
)

HEARING_PROTECTION = ("none", "plug", "muff", "plug and muff")
WALL_MATERIALS = ("mild steel",)                  # what the penetration formulas are for


class MissingInput(Exception):
    """What a check or a quantity needs and the rig does not give: it is not assessed."""


def require(table: Any, *keys: str) -> Any:
    """The entries of a table, one alone or a tuple; raises MissingInput, which names all that are not given."""
    missing = [key for key in keys if getattr(table, key) is None]
    if missing:
        raise MissingInput(f"[{table_name(table)}] {' and '.join(missing)}")
    values = tuple(getattr(table, key) for key in keys)
    return values if len(values) > 1 else values[0]


@dataclass(frozen=True)
class Site:
    """The room on the day of the shot.

    altitude  metres; pressure  pascal, in its place; temperature  kelvin; humidity  relative, 0 to 1
    persons_distance     metres from coil and leads to the nearest person
    persons_behind_box   whether everyone stands behind the containment
    hearing_protection   'none', 'plug', 'muff' or 'plug and muff'
    implants_excluded    whether nobody with a pacemaker or another implant is in the room
    """

    altitude: float | None = optional_entry("m", check_altitude)
    pressure: float | None = optional_entry("Pa", check_pressure)
    temperature: float | None = optional_entry("K", check_room_temperature)
    humidity: float | None = optional_entry("", check_fraction)
    persons_distance: float | None = optional_entry("m", check_positive)
    persons_behind_box: bool | None = optional_entry(None, check_boolean)
    hearing_protection: str | None = optional_entry(None, check_choice(*HEARING_PROTECTION))
    implants_excluded: bool | None = optional_entry(None, check_boolean)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Gap:
    """The spark gap: its distance in metres, or in its place the self-break voltage in volt measured and reduced to 20 degC and 760 torr.

    second_distance, second_self_break  the same of the second bank's gap
    """

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

    parts: int | None = optional_entry("", check_count)
    part_resistance: float | None = optional_entry("ohm", check_positive)
    part_rated_voltage: float | None = optional_entry("V", check_positive)
    part_rated_power: float | None = optional_entry("W", check_positive)
    part_rated_energy: float | None = optional_entry("J", check_positive)
    strings: int | None = optional_entry("", check_count)
    tested: datetime.date | None = optional_entry(None, check_day)          # noqa: RUF009
    dump_resistance: float | None = optional_entry("ohm", check_positive)
    dump_mass: float | None = optional_entry("kg", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Box:
    """The containment: thickness of its wall in metres at its weakest place, and the fragment it must hold where that is not one turn.

    material  'mild steel', which the formulas are for; fragment_mass  kg; fragment_diameter  of its face in metres
    """

    wall: float | None = optional_entry("m", check_positive)
    material: str | None = optional_entry(None, check_choice(*WALL_MATERIALS))
    fragment_mass: float | None = optional_entry("kg", check_positive)
    fragment_diameter: float | None = optional_entry("m", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Insulation:
    """Breakdown voltages in volt: of the film from turn to turn, from layer to layer, and from coil to disc; layers of a winding."""

    film_breakdown: float | None = optional_entry("V", check_positive)
    layer_breakdown: float | None = optional_entry("V", check_positive)
    coil_to_disc_breakdown: float | None = optional_entry("V", check_positive)
    layers: int | None = optional_entry("", check_count)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Charger:
    """The charger: its constant current in ampere, or the resistance in ohm through which it charges."""

    current: float | None = optional_entry("A", check_positive)
    resistance: float | None = optional_entry("ohm", check_positive)
    __post_init__ = check_entries


@dataclass(frozen=True)
class Instruments:
    """Rogowski coil (turns per metre, area), shunt (ohm, henry), B-dot loop (turns, area) and divider (ratio to 1)."""

    rogowski_turns_per_metre: float | None = optional_entry("1/m", check_positive)
    rogowski_area: float | None = optional_entry("m^2", check_positive)
    shunt_resistance: float | None = optional_entry("ohm", check_positive)
    shunt_inductance: float | None = optional_entry("H", check_positive)
    loop_turns: float | None = optional_entry("", check_positive)
    loop_area: float | None = optional_entry("m^2", check_positive)
    divider_ratio: float | None = optional_entry("", check_positive)
    __post_init__ = check_entries
