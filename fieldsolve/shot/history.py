"""The record of a shot: series over time, their peaks, and the field at any stored instant."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from geometries.errors import InputError
from geometries.mesh import Mesh

UNITS = {"current": "A", "voltage": "V", "current_rate": "A/s", "loop_voltage": "V", "power": "W", "field": "T", "radial_force": "N",
         "axial_force": "N", "temperature": "K", "mean_temperature": "K", "turn_voltage": "V", "neighbour_voltage": "V",
         "voltage_to_body": "V", "rim_pressure": "Pa", "energy": "J", "flux": "Wb", "resistive_voltage": "V",
         "radius": "m", "outer_radius": "m", "inner_radius": "m", "axis_thickness": "m", "mid_radius_thickness": "m", "rim_thickness": "m",
         "lowest": "m", "highest": "m", "height": "m", "drift": "m", "speed": "m/s", "axial_speed": "m/s", "strain_rate": "1/s",
         "flow_temperature": "K", "plastic_heat": "J", "kinetic_energy": "J", "potential_energy": "J", "elastic_energy": "J",
         "dissipated_energy": "J", "external_energy": "J", "plastic_energy": "J",
         "ohmic_loss": "J", "arc_loss": "J", "joule_heat": "J", "viscous_energy": "J", "lost_energy": "J"}


@dataclass(eq=False)
class Recorder:
    """Collects what each step ends with; the only object here that changes.

    metal      tells what else is to be kept of an instant
    instants   (time, readings, (u, u_t, sigma, mesh), what `metal` told): the field and its rate at the nodes, the conductivity of the
               triangles of a mesh
    """

    metal: Callable[[], Any] = lambda: None
    instants: list[tuple[float, dict, tuple[np.ndarray, np.ndarray, np.ndarray, Mesh | None], Any]] = field(default_factory=list)

    def add(self, time: float, observables: dict, u: np.ndarray, u_t: np.ndarray, sigma: np.ndarray, mesh: Mesh | None) -> None:
        """One instant, whole or, where Ctrl-C comes between, not at all."""
        self.instants.append((time, observables, (u, u_t, sigma, mesh), self.metal()))

    def truncate(self, time: float) -> None:
        """Forget what was from a time in seconds on."""
        self.instants = [instant for instant in self.instants if instant[0] < time]

    @property
    def times(self) -> np.ndarray:
        """Seconds."""
        return np.array([time for time, *_ in self.instants])

    @property
    def fields(self) -> tuple[tuple[np.ndarray, np.ndarray, np.ndarray], ...]:
        """(u, u_t, sigma) at each instant."""
        return tuple(kept for _, _, kept, _ in self.instants)

    @property
    def metal_snapshots(self) -> tuple[Any, ...]:
        """What `metal` told at each instant."""
        return tuple(snapshot for *_, snapshot in self.instants)

    def series(self) -> dict:
        """Series by the keys of the readings, such as (quantity, place), each as long as `times`."""
        return {key: np.array([observables.get(key, 0.0) for _, observables, *_ in self.instants]) for key in self.instants[-1][1]}


@dataclass(frozen=True, eq=False)
class History:
    """Series by (quantity, place) over `times` in seconds."""

    times: np.ndarray
    values: dict[tuple[str, str], np.ndarray]

    def series(self, quantity: str, place: str) -> np.ndarray:
        """One series; InputError, with what there is, for an unknown one."""
        if (quantity, place) not in self.values:
            of_quantity = sorted(p for q, p in self.values if q == quantity)
            known = f"places with {quantity}: {', '.join(of_quantity)}" if of_quantity else \
                f"quantities: {', '.join(sorted({q for q, _ in self.values}))}"
            raise InputError(f"there is no series {quantity!r} of {place!r}; {known}")
        return self.values[quantity, place]

    def peak(self, quantity: str, place: str) -> tuple[float, float]:
        """Value of largest magnitude, its sign kept, and its time: vertex of the parabola through the largest point and its neighbours."""
        values = self.series(quantity, place)
        k = int(np.abs(values).argmax())
        if not 0 < k < len(values) - 1:
            return float(values[k]), float(self.times[k])
        t = self.times[k - 1:k + 2] - self.times[k]
        a, b, c = np.polyfit(t, values[k - 1:k + 2], 2)
        vertex = -b / (2 * a) if a else 0.0
        if not t[0] < vertex < t[2]:
            return float(values[k]), float(self.times[k])
        return float(c + b * vertex / 2), float(self.times[k] + vertex)
