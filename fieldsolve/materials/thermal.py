"""Thermal data of a metal: heat capacity, melting, boiling, and the rise of its resistivity."""
from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fieldsolve.errors import InputError
from fieldsolve.renamed import old_attributes
from geometries.keywords import known_keywords

ROOM_TEMPERATURE = 293.15                  # K, where every conductivity is given and every enthalpy is 0
TABLE_START = 273.0                # K, where the tables begin
LINEAR_LAW_END = 1.0e4               # K, where a linear law without a boiling point ends
MIN_MELTING_RANGE = 1.0            # K, over which a pure metal melts, so that enthalpy remains a function of temperature
BOILING_RANGE = 10.0          # K, over which every metal boils, for the same reason

Points = tuple[tuple[float, float], ...]        # (temperature in K, value), straight between, constant beyond both ends


@known_keywords
@dataclass(frozen=True)
class Thermal:
    """What heating needs beside density and conductivity.

    Parameters
    ----------
    heat_capacity : sequence of (float, float)
        Points (K, J/(kg K)) of the solid.
    resistivity_rise : sequence of (float, float)
        Points (K, ohm m): resistivity less that at 293.15 K, solid and liquid; () for an insulator.
    melting : tuple of float, optional
        (solidus in K, liquidus in K, heat of fusion in J/kg).  By default the metal stays solid.
    liquid_heat_capacity : float, optional
        J/(kg K).  By default the solid's at the solidus.
    boiling : tuple of float, optional
        (temperature in K, heat of vaporisation in J/kg).  By default the metal does not boil.

    Raises
    ------
    InputError
        Where a number is not finite or not positive, or where temperatures do not rise.

    Notes
    -----
    Tables are straight between their points and constant beyond.  The rise of resistivity is added to the metal's resistivity at
    293.15 K (Matthiessen's rule: A. Matthiessen, C. Vogt, Phil. Trans. R. Soc. 154, 167 (1864)).

    Examples
    --------
    >>> metal = Thermal(heat_capacity=[(293.15, 385.0)], resistivity_rise=[(293.15, 0.0), (1293.15, 7e-8)], melting=(1356, 1356, 2e5))
    >>> metal.melting_range
    (1356.0, 1357.0)
    """

    heat_capacity: Points
    resistivity_rise: Points
    melting: tuple[float, float, float] | None = None
    liquid_heat_capacity: float | None = None
    boiling: tuple[float, float] | None = None

    __getattr__ = old_attributes("Thermal")

    def __post_init__(self):
        for key in ("heat_capacity", "resistivity_rise"):
            object.__setattr__(self, key, _check_points(key, getattr(self, key)))
        if not self.heat_capacity or min(value for _, value in self.heat_capacity) <= 0:
            raise InputError(f"heat_capacity = {self.heat_capacity}: expected at least one point (K, J/(kg K)), every value larger than 0")
        if self.resistivity_rise and not math.isclose(value_at(self.resistivity_rise, ROOM_TEMPERATURE), 0.0, abs_tol=1e-15):
            raise InputError(
                f"resistivity_rise = {value_at(self.resistivity_rise, ROOM_TEMPERATURE):g} ohm m at {ROOM_TEMPERATURE} K: must be 0 there; "
                "subtract the resistivity at that temperature"
            )
        object.__setattr__(self, "melting", check_melting(self.melting))
        object.__setattr__(self, "boiling", check_boiling(self.boiling, self.melting))
        if self.liquid_heat_capacity is not None:
            object.__setattr__(
                self, "liquid_heat_capacity", _check_positive_number("liquid_heat_capacity", self.liquid_heat_capacity, "J/(kg K)")
            )

    @property
    def melting_range(self) -> tuple[float, float]:
        """Temperatures in K between which the metal melts, at least 1 K apart; both infinite where it does not."""
        return (math.inf, math.inf) if self.melting is None else (self.melting[0], _effective_liquidus(self.melting))

    @property
    def boiling_range(self) -> tuple[float, float]:
        """Temperatures in K between which the heat of vaporisation is taken up; both infinite where the metal does not boil."""
        return (math.inf, math.inf) if self.boiling is None else (self.boiling[0], self.boiling[0] + BOILING_RANGE)


def linear_law(conductivity: float, temperature_coefficient: float, end: float = LINEAR_LAW_END) -> Points:
    """Resistivity rise (K, ohm m) of `rho = rho_20 (1 + alpha (T - 293.15 K))` up to `end` in K.

    conductivity in S/m, 0 for an insulator (no points); temperature_coefficient alpha in 1/K
    """
    if conductivity == 0:
        return ()
    slope = temperature_coefficient / conductivity
    return (TABLE_START, slope * (TABLE_START - ROOM_TEMPERATURE)), (ROOM_TEMPERATURE, 0.0), (end, slope * (end - ROOM_TEMPERATURE))


def thermal_from_data(data: Mapping) -> Thermal:
    """The thermal data of a metal's data file, all in SI.

    Solid: a table of the pure metal less its value at 293.15 K, or a linear law. Liquid: a line that begins at the liquidus.
    While the metal melts its resistivity goes straight from the one to the other.  From boiling on it is constant.
    """
    melting = tuple(data[key]["value"] for key in ("solidus", "liquidus", "heat_of_fusion"))
    boiling = data["boiling"]["value"], data["heat_of_vaporisation"]["value"]
    return Thermal(
        heat_capacity=_table(data["heat_capacity"]),
        resistivity_rise=_resistivity_rise_points(data, melting, boiling[0]),
        melting=melting,
        liquid_heat_capacity=data["liquid_heat_capacity"]["value"],
        boiling=boiling,
    )


def _resistivity_rise_points(data: Mapping, melting: tuple[float, float, float], boiling_point: float) -> Points:
    """Resistivity rise (K, ohm m): the solid's points, then liquidus and boiling point on the liquid's line."""
    if "resistivity" in data:
        solid = _table(data["resistivity"])
        room = value_at(solid, ROOM_TEMPERATURE)
    else:
        conductivity = data["conductivity"]["value"]
        solid = tuple((t, rise + 1 / conductivity) for t, rise in linear_law(conductivity, data["temperature_coefficient"]["value"]))
        room = 1 / conductivity
    liquid, slope = data["liquid_resistivity"], data["liquid_resistivity_slope"]["value"]
    below = [(t, value) for t, value in solid if t < melting[0]] + [(melting[0], value_at(solid, melting[0])), (ROOM_TEMPERATURE, room)]
    above = [(t, liquid["value"] + slope * (t - liquid["temperature"])) for t in (_effective_liquidus(melting), boiling_point)]
    return tuple(sorted({t: value - room for t, value in below + above}.items()))


def value_at(points: Points, temperature: float) -> float:
    """Value at one temperature in K, straight between the points, constant beyond them."""
    k = bisect_right([t for t, _ in points], temperature)
    if k in (0, len(points)):
        return points[min(k, len(points) - 1)][1]
    (t0, v0), (t1, v1) = points[k - 1:k + 1]
    return v0 + (v1 - v0) * (temperature - t0) / (t1 - t0)


def _effective_liquidus(melting: tuple[float, float, float]) -> float:
    return max(melting[1], melting[0] + MIN_MELTING_RANGE)


def _table(entry: Mapping) -> Points:
    return tuple(zip(entry["temperature"], entry["value"], strict=True))


def check_melting(melting: Sequence[float] | None) -> tuple[float, float, float] | None:
    """(solidus, liquidus, heat of fusion) as floats in K, K, J/kg.  Raises InputError for anything else."""
    if melting is None:
        return None
    solidus, liquidus, fusion = _check_numbers("melting", melting, "(solidus in K, liquidus in K, heat of fusion in J/kg), such as "
                                               "(1356.0, 1356.0, 205e3)", 3)
    if not ROOM_TEMPERATURE < solidus <= liquidus:
        raise InputError(
            f"melting = {melting!r}: solidus {solidus:g} K and liquidus {liquidus:g} K must be in this order, above {ROOM_TEMPERATURE} K"
        )
    return solidus, liquidus, fusion


def check_boiling(boiling: Sequence[float] | None, melting: tuple[float, float, float] | None) -> tuple[float, float] | None:
    """(temperature, heat of vaporisation) as floats in K, J/kg.  Raises InputError for anything else, or not above `melting`."""
    if boiling is None:
        return None
    temperature, heat = _check_numbers("boiling", boiling, "(temperature in K, heat of vaporisation in J/kg), such as (2835.0, 4.73e6)", 2)
    least = ROOM_TEMPERATURE if melting is None else _effective_liquidus(melting)
    if temperature <= least:
        raise InputError(f"boiling = {boiling!r}: the temperature, {temperature:g} K, must be above {least:g} K, where the metal is "
                         f"{'at room temperature' if melting is None else 'all liquid'}")
    return temperature, heat


def _check_positive_number(key: str, value: float, expected: str) -> float:
    return _check_numbers(key, (value,), f"a number in {expected}", 1)[0]


def _check_numbers(key: str, values: Sequence[float], expected: str, count: int) -> tuple[float, ...]:
    try:
        numbers = tuple(float(value) for value in values)
        if len(numbers) == count and all(math.isfinite(number) and number > 0 for number in numbers):
            return numbers
    except (TypeError, ValueError, OverflowError):
        pass
    raise InputError(f"{key} = {values!r}: expected {expected}, finite and larger than 0")


def _check_points(key: str, points: Sequence[Sequence[float]]) -> Points:
    try:
        table = tuple((float(t), float(value)) for t, value in points)
    except (TypeError, ValueError, OverflowError):
        table = ((math.nan, math.nan),)
    if not all(math.isfinite(number) for point in table for number in point):
        raise InputError(f"{key} = {points!r}: expected points (temperature in K, value), finite numbers")
    if any(a[0] >= b[0] for a, b in pairwise(table)):
        raise InputError(f"{key} = {points!r}: the temperatures must rise from point to point")
    return table
