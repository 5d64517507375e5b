"""The series of a shot over time and their peaks, and the recorder that collects them step by step."""
from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.shot.instant import MetalSnapshot, StoredInstant
from geometries.errors import InputError
from geometries.mesh import Mesh

UNITS = {"current": "A", "voltage": "V", "current_rate": "A/s", "loop_voltage": "V", "power": "W", "field": "T", "radial_force": "N",
         "axial_force": "N", "temperature": "K", "mean_temperature": "K", "cell_temperature": "K", "turn_voltage": "V",
         "neighbour_voltage": "V", "voltage_to_body": "V", "rim_pressure": "Pa", "energy": "J", "flux": "Wb", "resistive_voltage": "V",
         "radius": "m", "outer_radius": "m", "inner_radius": "m", "axis_thickness": "m", "mid_radius_thickness": "m", "rim_thickness": "m",
         "waist_inner_radius": "m", "waist_outer_radius": "m", "waist_thickness": "m", "waist_height": "m", "crown_height": "m",
         "crown_radius": "m", "crown_speed": "m/s",
         "lowest": "m", "highest": "m", "height": "m", "drift": "m", "speed": "m/s", "axial_speed": "m/s", "strain_rate": "1/s",
         "flow_temperature": "K", "plastic_heat": "J", "kinetic_energy": "J", "potential_energy": "J", "elastic_energy": "J",
         "dissipated_energy": "J", "external_energy": "J", "plastic_energy": "J",
         "ohmic_loss": "J", "arc_loss": "J", "joule_heat": "J", "viscous_energy": "J", "lost_energy": "J"}


@dataclass(frozen=True, eq=False)
class History:
    """Series of a shot.

    times   (k,) seconds, from 0 on
    values  (k,) values in the unit of `UNITS` by (quantity, place), such as ("current", "coil")
    events  instants in seconds at which something switched, where slopes may jump
    """

    times: np.ndarray
    values: Mapping[tuple[str, str], np.ndarray]
    events: tuple[float, ...] = ()

    def __repr__(self) -> str:
        return f"History({len(self.values)} series at {len(self.times)} instants)"

    def series(self, quantity: str, place: str) -> np.ndarray:
        """One series; InputError, with what there is, for an unknown one."""
        if (quantity, place) not in self.values:
            of_quantity = sorted(p for q, p in self.values if q == quantity)
            known = f"places with {quantity}: {', '.join(of_quantity)}" if of_quantity else \
                f"quantities: {', '.join(sorted({q for q, _ in self.values}))}"
            raise InputError(f"there is no series {quantity!r} of {place!r}; {known}")
        return self.values[quantity, place]

    def peak(self, quantity: str, place: str) -> tuple[float, float]:
        """Value of largest magnitude, its sign kept, and its time: vertex of the parabola through the largest point and its neighbours.

        No parabola is laid across an event: where the largest point is one, it is that through the points before.
        """
        values = self.series(quantity, place)
        k = int(np.abs(values).argmax())
        middle = k - 1 if float(self.times[k]) in self.events else k
        if not 0 < middle < len(values) - 1 or not {float(t) for t in self.times[middle - 1:middle + 1]}.isdisjoint(self.events):
            return float(values[k]), float(self.times[k])
        t, v = (of[middle - 1:middle + 2] - of[middle] for of in (self.times, values))
        a = (v[2] / t[2] - v[0] / t[0]) / (t[2] - t[0])                 # v = b t + a t^2
        b = v[0] / t[0] - a * t[0]
        vertex = -b / (2 * a) if a else 0.0
        if not t[0] < vertex < t[2]:
            return float(values[k]), float(self.times[k])
        return float(values[middle] + b * vertex / 2), float(self.times[middle] + vertex)


@dataclass(eq=False)
class Recorder:
    """Collects what each step ends with; it changes as the run goes on.

    snapshot  gives what is to be kept of the metal as it is now
    entries   time in seconds, observables by key, and the stored instant, for each step; no instant where there is no field
    """

    snapshot: Callable[[], MetalSnapshot] = lambda: MetalSnapshot(None, {}, {})
    entries: list[tuple[float, dict, StoredInstant | None]] = field(default_factory=list)

    def add(self, time: float, observables: dict, u: np.ndarray, u_t: np.ndarray, conductivity: np.ndarray, mesh: Mesh | None) -> None:
        """One instant, complete or, where Ctrl-C comes between, not at all."""
        instant = None if mesh is None else StoredInstant(time, u, u_t, conductivity, mesh, self.snapshot())
        self.entries.append((time, observables, instant))

    def truncate(self, time: float) -> None:
        """Forget what was from a time in seconds on."""
        self.entries = [entry for entry in self.entries if entry[0] < time]

    @property
    def instants(self) -> tuple[StoredInstant, ...]:
        """The stored instants so far."""
        return tuple(instant for *_, instant in self.entries if instant is not None)

    @property
    def times(self) -> np.ndarray:
        """Seconds."""
        return np.array([time for time, *_ in self.entries])

    @property
    def history(self) -> History:
        """Series by the keys of the last instant's observables, zero where an instant has none."""
        keys = self.entries[-1][1]
        return History(self.times, {key: np.array([observables.get(key, 0.0) for _, observables, _ in self.entries]) for key in keys})


def bracket(times: np.ndarray, time: float) -> tuple[int, int, float]:
    """Numbers of the instants before and after a time, and the share of the way between them; the only one twice where there is one.

    >>> bracket(np.array([0.0, 1.0, 3.0]), 2.0)
    (1, 2, 0.5)
    """
    if len(times) == 1:
        return 0, 0, 1.0
    after = int(np.clip(np.searchsorted(times, time), 1, len(times) - 1))
    return after - 1, after, float((time - times[after - 1]) / (times[after] - times[after - 1]))
