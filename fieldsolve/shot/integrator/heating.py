"""Heat in each cell of solid metal: enthalpy that only grows, and the temperature and conductivity that go with it."""
from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.system.coefficients import material_of
from fieldsolve.materials.curie import remaining_magnetization
from fieldsolve.materials.heat_content import HeatContent, action_to_solidus, heat_content
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.shot.integrator.corner_heating import corner_heating
from geometries.cross_section import Section
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class HeatedZone:
    """The zones of one metal of a part that heat: its part, their triangles (k,), its heat content, its Curie temperature in K or None."""

    part: str
    triangles: np.ndarray
    content: HeatContent
    curie: float | None

    def __repr__(self) -> str:
        return f"HeatedZone({self.part}, {len(self.triangles)} triangles of {self.content.name})"


@dataclass(frozen=True, eq=False)
class HeatedMetal:
    """What turns the enthalpy (m,) of a mesh's triangles in J/m^3 at any instant into temperature, heat and magnetization.

    zones   the zones that heat
    volume  (m,) m^3 of metal of each triangle when cold, zero where nothing heats
    """

    zones: tuple[HeatedZone, ...]
    volume: np.ndarray

    def __repr__(self) -> str:
        return f"HeatedMetal({len(self.zones)} zones in {len(self.volume)} triangles)"

    def resized(self, count: int) -> HeatedMetal:
        """The same with `count` triangles: those of metal are the first and stay, the air behind them is new."""
        return replace(self, volume=resize_to(self.volume, count))

    def temperature_at(self, enthalpy: np.ndarray) -> np.ndarray:
        """Kelvin in each triangle, 293.15 where nothing heats; shape (m,)."""
        return self.evaluate(enthalpy, lambda content, h: content.temperature(h), ROOM_TEMPERATURE)

    def heat_energy(self, enthalpy: np.ndarray) -> np.ndarray:
        """Joule in each triangle; shape (m,)."""
        return resize_to(self.volume, len(enthalpy)) * enthalpy

    def magnetization_at(self, enthalpy: np.ndarray) -> np.ndarray:
        """Share of the magnetization at 293.15 K that is left; 1 where nothing heats and in metal without a Curie temperature."""
        remaining = np.ones(len(enthalpy))
        for zone in self.zones:
            if zone.curie is not None:
                remaining[zone.triangles] = remaining_magnetization(zone.curie, zone.content.temperature(enthalpy[zone.triangles]))
        return remaining

    def evaluate(self, enthalpy: np.ndarray, quantity: Callable, elsewhere: float) -> np.ndarray:
        """A quantity of (heat content, enthalpy) in each triangle, and what it is `elsewhere`; shape (m,)."""
        values = np.full(len(enthalpy), elsewhere)
        for zone in self.zones:
            values[zone.triangles] = quantity(zone.content, enthalpy[zone.triangles])
        return values


class Heating:
    """Enthalpy of every triangle as a shot goes on, adiabatic: no heat flows in the microseconds of a shot.

    metal              the zones that heat, with their volumes
    cold_conductivity  (m,) S/m of the cold metal, zero where nothing heats
    enthalpy           (m,) J/m^3 above 293.15 K of the cold cell
    action             (m,) integral of J^2 dt in A^2 s/m^4 (mean of J^2 over the cell's metal)
    corners            the heat at the corners of the cells of solid metal
    `fill` is the share of each cell (m,) that is metal, for stranded windings.
    """

    def __init__(self, section: Section, mesh: Mesh, cold_conductivity: np.ndarray, fill: np.ndarray | float = 1.0):
        self.cold_conductivity = cold_conductivity
        self.enthalpy, self.action = np.zeros(len(cold_conductivity)), np.zeros(len(cold_conductivity))
        zones = _heated_zones(section, mesh, cold_conductivity > 0)
        self.metal = HeatedMetal(zones, fill * _volume(mesh))
        self.corners = corner_heating(mesh, [(zone.part, zone.triangles, zone.content) for zone in zones
                                             if not section.part(zone.part).stranded])

    def resize(self, count: int) -> None:
        """Go on with `count` triangles: those of metal are the first and stay, the air behind them is new."""
        self.metal = self.metal.resized(count)
        for name in ("cold_conductivity", "enthalpy", "action"):
            setattr(self, name, resize_to(getattr(self, name), count))

    def conductivity_after(self, energy: np.ndarray) -> np.ndarray:
        """sigma of each triangle in S/m when `energy` more (joule per triangle) has come in."""
        sigma = self.cold_conductivity.copy()
        for zone in self.metal.zones:
            expected_enthalpy = self.enthalpy[zone.triangles] + energy[zone.triangles] / self.metal.volume[zone.triangles]
            sigma[zone.triangles] = zone.content.conductivity_of(np.maximum(expected_enthalpy, 0.0))
        return sigma

    def conductivity_error(self, expected: np.ndarray, energy: np.ndarray, rate: np.ndarray) -> float:
        """How far an expected conductivity is off that after `energy` more: relative, as the mean weighted by the heating `rate`."""
        is_heated = rate > 0
        deviation = np.abs(expected[is_heated] / self.conductivity_after(energy)[is_heated] - 1)
        return float(rate[is_heated] @ deviation) / max(float(rate.sum()), 1e-300)

    def magnetization_after(self, energy: np.ndarray) -> np.ndarray:
        """Share of its magnetization at 293.15 K that each triangle keeps when `energy` more (joule per triangle) has come in; (m,)."""
        return self.metal.magnetization_at(np.maximum(self.enthalpy + self._per_volume(energy), 0.0))

    def add_current(self, stages: Sequence, weights: Sequence[float], length: float) -> None:
        """Heat of the currents over a step of `length` seconds, by its stages and their weights."""
        for weight, stage in zip(weights, stages, strict=True):
            self._add_to_cells(weight * length * stage.heat_rate, stage.model.system.metal_conductivity)
        self.corners.add_current(stages, weights, length)

    def add(self, energy: np.ndarray, sigma: np.ndarray | float = 0.0) -> None:
        """Heat known by triangle alone, in joule: of a current at a conductivity, or with none of plastic flow and lost magnetism."""
        self._add_to_cells(energy, sigma)
        self.corners.add_to_cells(self._per_volume(energy))

    def _add_to_cells(self, energy: np.ndarray, sigma: np.ndarray | float) -> None:
        per_volume = self._per_volume(energy)
        self.enthalpy = self.enthalpy + per_volume
        self.action = self.action + per_volume * sigma

    def _per_volume(self, energy: np.ndarray) -> np.ndarray:
        volume = self.metal.volume
        return np.divide(energy, volume, out=np.zeros_like(energy), where=volume > 0)

    def temperature(self) -> np.ndarray:
        """Kelvin in each triangle, 293.15 where nothing heats; shape (m,)."""
        return self.metal.temperature_at(self.enthalpy)

    def observables(self, parts: tuple[str, ...]) -> dict[tuple[str, str], float]:
        """Temperatures, molten and boiled share of the mass, and largest action over that to the solidus, by (quantity, part).

        The largest temperature and action are those at a corner of a cell, where one is above every cell's mean: at the surface of a
        skin.  "cell_temperature" is the largest of the cells' means.
        """
        found = {}
        for name in parts:
            zones = [zone for zone in self.metal.zones if zone.part == name]
            if not zones:
                continue
            mass = np.concatenate([zone.content.density * self.metal.volume[zone.triangles] for zone in zones])
            temperatures = [zone.content.temperature(self.enthalpy[zone.triangles]) for zone in zones]
            by_quantity = {
                "mean_temperature": temperatures,
                "molten_share": [zone.content.molten_share_at(T) for zone, T in zip(zones, temperatures, strict=True)],
                "boiled_share": [zone.content.boiled_share_at(T) > 0 for zone, T in zip(zones, temperatures, strict=True)],
            }
            found |= {(quantity, name): float(np.concatenate(values) @ mass / mass.sum()) for quantity, values in by_quantity.items()}
            found["cell_temperature", name] = float(np.max([T.max() for T in temperatures]))
            found["temperature", name] = float(np.max([found["cell_temperature", name], self.corners.hottest(name)]))     # NaN stays
            of_cells = [float(self.action[zone.triangles].max()) / action_to_solidus(zone.content) for zone in zones]
            found["action_share", name] = float(np.max([*of_cells, self.corners.action_share(name)]))
        return found


def _heated_zones(section: Section, mesh: Mesh, conducts: np.ndarray) -> tuple[HeatedZone, ...]:
    """The metal of each part, of several metals each for itself, in triangles that conduct (m,)."""
    found: dict = {}
    for k, (part, number) in enumerate(mesh.regions):
        triangles, metal = np.flatnonzero((mesh.region == k + 1) & conducts), material_of(section, part, number)
        if len(triangles):
            found.setdefault((part, heat_content(metal), metal.curie), []).append(triangles)
    return tuple(HeatedZone(part, np.concatenate(cells), content, curie) for (part, content, curie), cells in found.items())


def _volume(mesh: Mesh) -> np.ndarray:
    """Volume of the ring that each triangle sweeps, m^3; zero in air and on the outer sheet."""
    volume = np.zeros(len(mesh.triangles))
    metal = np.flatnonzero(mesh.region > 0)
    if len(metal):
        points = gauss_points(mesh, metal)
        volume[metal] = 2 * math.pi * (points.r * points.dA).sum(axis=1)
    return volume


def resize_to(values: np.ndarray, count: int) -> np.ndarray:
    """Values by triangle, cut or filled up with zeros to `count` triangles: the last ones are air."""
    return np.concatenate([values[:count], np.zeros(max(count - len(values), 0))])
