"""Enthalpy of a metal: temperature, conductivity, molten and boiled fraction from it, and the action integral."""
from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from fieldsolve.errors import InputError
from fieldsolve.materials.material import Material, thermal_data
from fieldsolve.materials.thermal import ROOM_TEMPERATURE, TABLE_START, Thermal, value_at

GAUSS = np.polynomial.legendre.leggauss(12)          # of the action between two knots: accurate to 1e-10 where rho grows fourfold


@dataclass(frozen=True, eq=False)
class HeatContent:
    """Enthalpy of a metal at constant volume of its cold state, and what follows from it.

        h(T) = density * (integral of c dT from 293.15 K, + heat of fusion * molten share + heat of vaporisation * boiled share)

    c is linear between the knots, so h is a parabola there and its inverse a closed form.  The molten share is linear in T from
    solidus to liquidus (at least 1 K), and with it the resistivity goes from the solid's to the liquid's.  The boiled share is linear
    over the 10 K above the boiling point.  From there on resistivity is constant and the cell is beyond the model.

    Methods take a number or an array of any shape, one value a cell, and return the same shape.
    Raises InputError below 273 K, where the tables begin, and for what is not a number.
    """

    name: str
    density: float                           # kg/m^3
    melting_range: tuple[float, float]               # K
    boiling_range: tuple[float, float]               # K
    resistivity_room: float                  # ohm m at 293.15 K, infinite for an insulator
    knots: np.ndarray                        # K, rising, from 273 K
    knot_enthalpies: np.ndarray                  # J/m^3 at the knots
    knot_heat_capacities: np.ndarray                   # J/(m^3 K) just above each knot, latent heat included
    heat_capacity_slopes: np.ndarray                   # J/(m^3 K^2) from each knot to the next, 0 beyond the last
    knot_resistivity_rises: np.ndarray                      # ohm m at the knots

    def enthalpy(self, temperature) -> np.ndarray:
        """Heat in J/m^3 above 293.15 K at a temperature in K."""
        k = self._interval_of(temperature, self.knots, "K")
        x = np.asarray(temperature) - self.knots[k]
        return self.knot_enthalpies[k] + x * (self.knot_heat_capacities[k] + 0.5 * self.heat_capacity_slopes[k] * x)

    def temperature(self, enthalpy) -> np.ndarray:
        """Temperature in K at an enthalpy in J/m^3: the root x of `a x + b x^2/2 = h`, written so that b = 0 is no exception."""
        k = self._interval_of(enthalpy, self.knot_enthalpies, "J/m^3")
        h, a = np.asarray(enthalpy) - self.knot_enthalpies[k], self.knot_heat_capacities[k]
        return self.knots[k] + 2 * h / (a + np.sqrt(a * a + 2 * self.heat_capacity_slopes[k] * h))

    def inverse_heat_capacity(self, enthalpy) -> np.ndarray:
        """How fast temperature rises with enthalpy, dT/dh in K m^3/J, at an enthalpy in J/m^3."""
        k = self._interval_of(enthalpy, self.knot_enthalpies, "J/m^3")
        return 1 / np.sqrt(
            self.knot_heat_capacities[k] ** 2 + 2 * self.heat_capacity_slopes[k] * (np.asarray(enthalpy) - self.knot_enthalpies[k])
        )

    def resistivity(self, temperature) -> np.ndarray:
        """Resistivity in ohm m at a temperature in K, solid, melting or liquid; constant from boiling on."""
        return self.resistivity_room + np.interp(temperature, self.knots, self.knot_resistivity_rises)

    def conductivity_of(self, enthalpy) -> np.ndarray:
        """Conductivity in S/m at an enthalpy in J/m^3; 0 for an insulator."""
        return 1 / self.resistivity(self.temperature(enthalpy))

    def molten_share(self, enthalpy) -> np.ndarray:
        """Share of the mass that is liquid, 0 to 1, at an enthalpy in J/m^3; 1 also where it boils."""
        return self.molten_share_at(self.temperature(enthalpy))

    def molten_share_at(self, temperature) -> np.ndarray:
        """The same at a temperature in K."""
        return _fraction_between(temperature, self.melting_range)

    def boiled_share(self, enthalpy) -> np.ndarray:
        """Share of the heat of vaporisation that is taken up, 0 to 1, at an enthalpy in J/m^3: above 0 the cell is beyond the model."""
        return self.boiled_share_at(self.temperature(enthalpy))

    def boiled_share_at(self, temperature) -> np.ndarray:
        """The same at a temperature in K."""
        return _fraction_between(temperature, self.boiling_range)

    def action(self, temperature: float) -> float:
        """Integral of J^2 dt in A^2 s/m^4 that heats from 293.15 K to a temperature in K: `integral of dh / rho`, without expansion."""
        low, high = min(ROOM_TEMPERATURE, temperature), max(ROOM_TEMPERATURE, temperature)
        self._interval_of(low, self.knots, "K")
        ends = np.unique([low, *self.knots[(self.knots > low) & (self.knots < high)], high])
        nodes, weights = GAUSS
        half = np.diff(ends)[:, None] / 2
        t = ends[:-1, None] + half * (1 + nodes)
        k = np.searchsorted(self.knots, t, side="right") - 1
        heat = self.knot_heat_capacities[k] + self.heat_capacity_slopes[k] * (t - self.knots[k])
        return float(np.copysign(np.sum(half * weights * heat / self.resistivity(t)), temperature - ROOM_TEMPERATURE))

    def _interval_of(self, values, knots: np.ndarray, unit: str) -> np.ndarray:
        """Index of the knot at or below each value."""
        if np.isnan(knots).any():                               # past which a search finds another interval, and says nothing
            raise InputError(f"{self.name}: a table of its heat holds what is no number")
        least = np.min(values, initial=np.inf)
        if not least >= knots[0]:
            raise InputError(f"{self.name}: {least:g} {unit} is colder than {knots[0]:g} {unit}, or no number; "
                             f"the tables begin at {TABLE_START:g} K")
        return np.searchsorted(knots, values, side="right") - 1


@functools.lru_cache(maxsize=256)
def heat_content(material: Material) -> HeatContent:
    """The enthalpy of a metal and what follows from it, computed once for each metal.

    Raises InputError that names what the metal lacks for heating.
    """
    thermal = thermal_data(material)
    heat = _heat_capacity_points(thermal)
    rise = thermal.resistivity_rise or ((ROOM_TEMPERATURE, 0.0),)
    phases = [t for t in (*thermal.melting_range, *thermal.boiling_range) if np.isfinite(t)]
    knots = np.unique([TABLE_START, ROOM_TEMPERATURE, *phases, *(t for t, _ in (*heat, *rise) if t > TABLE_START)])
    after, before = (material.density * (np.interp(knots, *np.transpose(heat)) + latent) for latent in _latent_heat(thermal, knots))
    width = np.diff(knots)
    h = np.concatenate([[0.0], np.cumsum((after[:-1] + before[1:]) / 2 * width)])
    content = HeatContent(
        name=material.name,
        density=material.density,
        melting_range=thermal.melting_range,
        boiling_range=thermal.boiling_range,
        resistivity_room=1 / material.conductivity if material.conductivity else np.inf,
        knots=knots,
        knot_enthalpies=h - h[np.searchsorted(knots, ROOM_TEMPERATURE)],
        knot_heat_capacities=after,
        heat_capacity_slopes=np.append((before[1:] - after[:-1]) / width, 0.0),
        knot_resistivity_rises=np.interp(knots, *np.transpose(rise)),
    )
    for table in (
        content.knots,
        content.knot_enthalpies,
        content.knot_heat_capacities,
        content.heat_capacity_slopes,
        content.knot_resistivity_rises,
    ):
        table.flags.writeable = False
    return content


@functools.lru_cache(maxsize=256)
def action_to_solidus(content: HeatContent) -> float:
    """Integral of J^2 dt in A^2 s/m^4 from 293.15 K to where a metal begins to melt; infinite where that is not known."""
    solidus = content.melting_range[0]
    return content.action(solidus) if np.isfinite(solidus) else np.inf


def action_integral(material: Material, temperature: float) -> float:
    """Integral of J^2 dt in A^2 s/m^4 from 293.15 K to a temperature in K: `integral of density c dT / rho(T)`, latent heat
    included, no expansion.

    >>> from fieldsolve.materials import material
    >>> f"{action_integral(material('copper'), 1356.0):.0e}"              # to where copper starts to melt
    '9e+16'
    """
    return heat_content(material).action(temperature)


def _heat_capacity_points(thermal: Thermal) -> list[tuple[float, float]]:
    """Points (K, J/(kg K)) of the heat capacity without latent heat, linear from the solid's to the liquid's in between."""
    solidus, liquidus = thermal.melting_range
    if not np.isfinite(solidus):
        return list(thermal.heat_capacity)
    at_solidus = value_at(thermal.heat_capacity, solidus)
    solid = [(t, c) for t, c in thermal.heat_capacity if t < solidus]
    return [*solid, (solidus, at_solidus), (liquidus, thermal.liquid_heat_capacity or at_solidus)]


def _latent_heat(thermal: Thermal, knots: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Latent heat in J/(kg K) just above and just below each knot."""
    after, before = np.zeros(len(knots)), np.zeros(len(knots))
    for change, (first, last) in ((thermal.melting, thermal.melting_range), (thermal.boiling, thermal.boiling_range)):
        if change is not None:
            after[(knots >= first) & (knots < last)] += change[-1] / (last - first)
            before[(knots > first) & (knots <= last)] += change[-1] / (last - first)
    return after, before


def _fraction_between(temperature: np.ndarray, between: tuple[float, float]) -> np.ndarray:
    """Fraction of the way of a temperature in K between two others, 0 to 1; 0 where these are infinite."""
    first, last = between
    return np.zeros(np.shape(temperature)) if np.isinf(first) else np.clip((temperature - first) / (last - first), 0.0, 1.0)
