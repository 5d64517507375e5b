"""Checks of the numbers that a builder is given; each returns a number or raises GeometryError."""
from __future__ import annotations

import math
import unicodedata
from numbers import Real

from geometries.errors import GeometryError

LONGEST = 5.0           # metres; nothing this package describes is larger
SHORTEST = 1e-7         # metres; no part has a length below it
MOST_TURNS = 1000       # of wire that are drawn one by one
MOST_ZONES = 1000       # of all parts of a section
LARGEST_COUNT = 1e9     # of turns of a sheet or a winding
LONGEST_NAME = 1000     # characters
CONTROL = ("Cc", "Cs", "Zl", "Zp")      # categories of Unicode that no name holds: control characters, halves of letters, ends of lines
ROUNDING = 1e-9         # relative; what two lengths meant to be equal may differ by


def millimetres(value: float) -> str:
    """`value` in metres as text in millimetres."""
    return f"{1e3 * value:.9g} mm"


def number(name: str, value: float, example: str = "metres, for example 0.003") -> float:
    """A finite number as a float; the error offers `example` instead."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise GeometryError(f"{name} = {value!r} is not a number: give {example}")
    try:
        is_finite = math.isfinite(value)
    except OverflowError:               # an int too large for a float
        is_finite = False
    if not is_finite:
        shown = value if isinstance(value, float) else "a number of too many digits"
        raise GeometryError(f"{name} = {shown} is not finite: give {example}")
    return float(value)


def length(name: str, value: float, remedy: str = "") -> float:
    """A length in metres: positive and at most `LONGEST`; the error for one that is not positive ends with `remedy`."""
    metres = number(name, value)
    if metres <= 0:
        raise GeometryError(f"{name} = {metres:.9g} m must be above 0: {remedy or 'give a positive length in metres'}")
    if metres > LONGEST:
        raise GeometryError(f"{name} = {metres:.9g} m is above the limit of {LONGEST:g} m: meant {metres:.9g} mm?")
    if metres < SHORTEST:
        raise GeometryError(f"{name} = {metres:.9g} m is below the limit of {SHORTEST:g} m: meant {1e3 * metres:.9g} m?")
    return metres


def height(name: str, value: float) -> float:
    """A height z in metres, at most `LONGEST` from the mid-plane z = 0."""
    metres = number(name, value)
    if abs(metres) > LONGEST:
        raise GeometryError(f"{name} = {metres:.9g} m is further than the limit of {LONGEST:g} m from z = 0: meant {metres:.9g} mm?")
    return metres


def check_overall(name: str, metres: float, remedy: str) -> None:
    """Raise if the size that other lengths add up to is above `LONGEST`."""
    if metres > LONGEST:
        raise GeometryError(f"{name} of {metres:.9g} m is above the limit of {LONGEST:g} m: {remedy}")


def positive(name: str, value: float) -> float:
    """A positive pure number."""
    count = number(name, value, "a positive number")
    if not 0 < count <= LARGEST_COUNT:
        raise GeometryError(f"{name} = {count:.9g} must be above 0 and at most {LARGEST_COUNT:g}: give a positive number")
    return count


def whole_number(name: str, value: float) -> int:
    """A whole number of at least 1."""
    count = number(name, value, "a whole number of at least 1")
    if count < 1 or count != int(count):
        raise GeometryError(f"{name} = {count:.9g} must be a whole number of at least 1")
    if count > MOST_TURNS:
        raise GeometryError(f"{name} = {count:.9g} is above the limit of {MOST_TURNS}: give a winding, whose turns are not drawn singly")
    return int(count)


def filling_factor(fill: float | None, stranded: bool) -> float | None:
    """The filling factor of a stranded section, its share of copper, above 0 and at most 1; None where it was not given."""
    if fill is None:
        return None
    if not stranded:
        raise GeometryError(f"fill = {fill!r} is for stranded turns only: give stranded=True, or leave fill out")
    share = number("fill", fill, "the filling factor, above 0 and at most 1")
    if not 0 < share <= 1:
        hint = f": meant {share / 100:g}?" if 1 < share <= 100 else ": it is the share of copper in the section"
        raise GeometryError(f"fill = {share:.9g} must be above 0 and at most 1{hint}")
    return share


def label(name: str) -> str:
    """A part's name: text that is not blank."""
    if not isinstance(name, str) or not name.strip():
        raise GeometryError(f"name = {name!r} must be a text that is not blank: give name='coil', say")
    if len(name) > LONGEST_NAME:
        raise GeometryError(f"name = '{name[:20]}...' has {len(name)} characters, above the limit of {LONGEST_NAME}: give a shorter one")
    if any(unicodedata.category(character) in CONTROL for character in name):
        raise GeometryError(f"name = {name!r} holds a new line or another control character: give a name of letters, digits and spaces")
    return name


def check_below(small: tuple[str, float], large: tuple[str, float]) -> None:
    """Raise unless the first (name, metres) is smaller than the second."""
    if small[1] >= large[1]:
        raise GeometryError(
            f"{small[0]} = {millimetres(small[1])} must be smaller than {large[0]} = {millimetres(large[1])}: "
            f"make {small[0]} smaller or {large[0]} larger"
        )


def check_spacing(pitch: tuple[str, float], wire: tuple[str, float]) -> None:
    """Raise if the pitch (name, metres) is smaller than the wire (name, metres) along it, so that turns would overlap."""
    if pitch[1] < wire[1] * (1 - ROUNDING):
        raise GeometryError(
            f"{pitch[0]} = {millimetres(pitch[1])} is below {wire[0]} = {millimetres(wire[1])}, so turns would overlap: "
            f"give a {pitch[0].split()[0]} of at least {millimetres(wire[1])} plus the insulation"
        )
