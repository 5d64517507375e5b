"""Heat in each cell of solid metal: enthalpy that only grows, and the temperature and conductivity that go with it."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.system.coefficients import material_of
from fieldsolve.materials.curie import remaining_magnetization
from fieldsolve.materials.heat_content import HeatContent, heat_content
from geometries.cross_section import Section
from geometries.mesh import Mesh


class Heating:
    """Enthalpy of every triangle, adiabatic: no heat flows in the microseconds of a shot.

    cold      (m,) conductivity in S/m of the cold metal, zero where nothing heats
    fill      (m,) share of the cell that is metal, for strands
    enthalpy  (m,) J/m^3 above 293.15 K of the cold cell
    action    (m,) integral of J^2 dt in A^2 s/m^4 (mean of J^2 over the cell's metal)
    """

    def __init__(self, section: Section, mesh: Mesh, cold_conductivity: np.ndarray, fill: np.ndarray | float = 1.0):
        self.cold_conductivity, self.volume = cold_conductivity, fill * _volume(mesh)
        self.enthalpy, self.action = np.zeros(len(cold_conductivity)), np.zeros(len(cold_conductivity))
        self.zones: list[tuple[str, np.ndarray, HeatContent]] = []
        self.curie_temperatures: list[float | None] = []
        for k, (part, zone) in enumerate(mesh.regions):
            triangles = np.flatnonzero((mesh.region == k + 1) & (cold_conductivity > 0))
            if len(triangles):
                metal = material_of(section, part, zone)
                self.zones.append((part, triangles, heat_content(metal)))
                self.curie_temperatures.append(metal.curie)

    def resize(self, count: int) -> None:
        """Go on with `count` triangles: those of metal are the first and stay, the air behind them is new."""
        for name in ("cold_conductivity", "volume", "enthalpy", "action"):
            setattr(self, name, resize_to(getattr(self, name), count))

    def conductivity_after(self, energy: np.ndarray) -> np.ndarray:
        """sigma of each triangle in S/m when `energy` more (joule per triangle) has come in."""
        sigma = self.cold_conductivity.copy()
        for _, triangles, content in self.zones:
            expected_enthalpy = self.enthalpy[triangles] + energy[triangles] / self.volume[triangles]
            sigma[triangles] = content.conductivity_of(np.maximum(expected_enthalpy, 0.0))
        return sigma

    def conductivity_error(self, expected: np.ndarray, energy: np.ndarray, rate: np.ndarray) -> float:
        """How far an expected conductivity is off that after `energy` more: relative, as the mean weighted by the heating `rate`."""
        is_heated = rate > 0
        deviation = np.abs(expected[is_heated] / self.conductivity_after(energy)[is_heated] - 1)
        return float(rate[is_heated] @ deviation) / max(float(rate.sum()), 1e-300)

    def magnetization_after(self, energy: np.ndarray) -> np.ndarray:
        """Share of its magnetization at 293.15 K that each triangle keeps when `energy` more (joule per triangle) has come in; (m,)."""
        added_enthalpy = np.divide(energy, self.volume, out=np.zeros_like(energy), where=self.volume > 0)
        return self.magnetization_at(np.maximum(self.enthalpy + added_enthalpy, 0.0))

    def magnetization_at(self, enthalpy: np.ndarray) -> np.ndarray:
        """The same at enthalpies (m,) of any instant; 1 where nothing heats and in metal without a Curie temperature."""
        remaining = np.ones(len(enthalpy))
        for (_, triangles, content), curie in zip(self.zones, self.curie_temperatures, strict=True):
            if curie is not None:
                remaining[triangles] = remaining_magnetization(curie, content.temperature(enthalpy[triangles]))
        return remaining

    def add(self, energy: np.ndarray, sigma: np.ndarray) -> None:
        """Heat of one step, joule per triangle, at the conductivity the step was made with."""
        per_volume = np.divide(energy, self.volume, out=np.zeros_like(energy), where=self.volume > 0)
        self.enthalpy = self.enthalpy + per_volume
        self.action = self.action + per_volume * sigma

    def temperature(self) -> np.ndarray:
        """Kelvin in each triangle, 293.15 where nothing heats; shape (m,)."""
        return self.temperature_at(self.enthalpy)

    def temperature_at(self, enthalpy: np.ndarray) -> np.ndarray:
        """Kelvin in each triangle at enthalpies (m,) of any instant, 293.15 where nothing heats."""
        return self._evaluate_zones(enthalpy, lambda content, h: content.temperature(h), 293.15)

    def heat_energy(self, enthalpy: np.ndarray) -> np.ndarray:
        """Joule in each triangle at enthalpies (m,) of any instant."""
        return resize_to(self.volume, len(enthalpy)) * enthalpy

    def observables(self, parts: tuple[str, ...]) -> dict[tuple[str, str], float]:
        """Largest and mean temperature, molten and boiled share of the mass, and largest action over that to the solidus, by part."""
        temperature = self.temperature()
        molten = self._evaluate_zones(self.enthalpy, lambda content, h: content.molten_share(h), 0.0)
        boiled = self._evaluate_zones(self.enthalpy, lambda content, h: (content.boiled_share(h) > 0).astype(float), 0.0)
        found = {}
        for name in parts:
            cells = [(triangles, content) for part, triangles, content in self.zones if part == name]
            triangles = np.concatenate([t for t, _ in cells]) if cells else np.zeros(0, dtype=int)
            if not len(triangles):
                continue
            mass = np.concatenate([content.density * self.volume[t] for t, content in cells])
            found["temperature", name] = float(temperature[triangles].max())
            found["mean_temperature", name] = float((temperature[triangles] * mass).sum() / mass.sum())
            found["molten_share", name] = float((molten[triangles] * mass).sum() / mass.sum())
            found["boiled_share", name] = float((boiled[triangles] * mass).sum() / mass.sum())
            found["action_share", name] = max(float(self.action[t].max()) / content.action(content.melting_range[0])
                                              if math.isfinite(content.melting_range[0]) else 0.0 for t, content in cells)
        return found

    def _evaluate_zones(self, enthalpy: np.ndarray, quantity, elsewhere: float) -> np.ndarray:
        values = np.full(len(enthalpy), elsewhere)
        for _, triangles, content in self.zones:
            values[triangles] = quantity(content, enthalpy[triangles])
        return values


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
