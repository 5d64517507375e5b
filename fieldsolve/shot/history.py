"""The series of a shot over time and their peaks, and the recorder that collects them step by step."""
from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fieldsolve.shot.instant import MetalSnapshot, StoredInstant
from geometries.errors import InputError, SolveError
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
MOST_UNEVEN = 8.0       # ratio of neighbouring steps while nothing switches


@dataclass(frozen=True, eq=False)
class History:
    """Series of a shot.

    times   (k,) seconds, from 0 on
    values  (k,) values in the unit of `UNITS` by (quantity, place), such as ("current", "coil")
    events  instants in seconds at which something switched or a prescribed current has a corner, where slopes may jump
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
        """Value of largest magnitude, its sign kept, and its time, between the instants: see `peak_between`."""
        values = self.series(quantity, place)
        return peak_between(self.times, values, int(np.abs(values).argmax()), self.events)


def peak_between(times: np.ndarray, values: np.ndarray, k: int, events: Sequence[float] = ()) -> tuple[float, float]:
    """Extremum of a series near its largest instant k, and its time.

    It is that of the quartic through the five nearest instants: steps near a peak are a tenth of the time up to it, where a parabola is
    off by 5e-4.  Where something switches among the five, after which steps start small again, or the series ends there, it is that of
    the parabola through three; where that is so among the three, the instant itself.  No polynomial is laid across an event: where the
    largest instant is one, the instants before it count.
    """
    first, last = _smooth_stretch(times, k, events)
    middle = min(k, last - 1) if last < len(times) - 1 else k
    for reach in (2, 1):
        if first <= middle - reach and middle + reach <= last:
            steps = np.diff(times[middle - reach:middle + reach + 1])
            if steps.max() <= MOST_UNEVEN * steps.min():
                return _extremum(times, values, middle, reach) or (float(values[k]), float(times[k]))
    return float(values[k]), float(times[k])


def _smooth_stretch(times: np.ndarray, k: int, events: Sequence[float]) -> tuple[int, int]:
    """First and last instant of the stretch without an event inside that holds instant k, or ends with it."""
    at = np.minimum(np.searchsorted(times, sorted(events)), len(times) - 1)         # one by rounding after the last instant is at it
    return int(max(at[at < k], default=0)), int(min(at[at >= k], default=len(times) - 1))


def _extremum(times: np.ndarray, values: np.ndarray, k: int, reach: int) -> tuple[float, float] | None:
    """Extremum nearest to instant k, and its time, of the polynomial through it and `reach` neighbours on either side; None without one."""
    near, span = slice(k - reach, k + reach + 1), times[k + 1] - times[k - 1]
    t = (times[near] - times[k]) / span
    polynomial = np.polyfit(t, values[near], 2 * reach)
    roots = np.roots(np.polyder(polynomial))
    inside = roots.real[(np.abs(roots.imag) < 1e-12) & (roots.real > t[reach - 1]) & (roots.real < t[reach + 1])]
    if not len(inside):
        return None
    vertex = inside[np.abs(inside).argmin()]
    return float(np.polyval(polynomial, vertex)), float(times[k] + span * vertex)


@dataclass(eq=False)
class Recorder:
    """Collects what each step ends with; it changes as the run goes on.

    snapshot  gives what is to be kept of the metal as it is now
    entries   time in seconds, observables by key, and the stored instant, for each step; no instant where there is no field
    """

    snapshot: Callable[[], MetalSnapshot] = lambda: MetalSnapshot(None, {}, {})
    entries: list[tuple[float, dict, StoredInstant | None]] = field(default_factory=list)

    def add(self, time: float, observables: dict, u: np.ndarray, u_t: np.ndarray, conductivity: np.ndarray, mesh: Mesh | None) -> None:
        """One instant, complete or, where Ctrl-C comes between, not at all; SolveError where one of the observables is not a number."""
        check_observables(observables)
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
        return History(self.times, series_of([observables for _, observables, _ in self.entries]))


def series_of(observables: Sequence[Mapping[tuple[str, str], float]]) -> dict[tuple[str, str], np.ndarray]:
    """Series of what was read at each instant, by the keys of the last one, zero where an instant has none."""
    return {key: np.array([of_instant.get(key, 0.0) for of_instant in observables]) for key in observables[-1]}


def check_observables(observables: Mapping[tuple[str, str], float]) -> None:
    """SolveError where what was read at an instant is not a number."""
    for (quantity, place), value in observables.items():
        if math.isnan(value):
            raise SolveError(f"the {quantity.replace('_', ' ')} of {place} is not a number; a material or a size may not be one")


def bracket(times: np.ndarray, time: float) -> tuple[int, int, float]:
    """Numbers of the instants before and after a time, and the share of the way between them; the only one twice where there is one.

    >>> bracket(np.array([0.0, 1.0, 3.0]), 2.0)
    (1, 2, 0.5)
    """
    if len(times) == 1:
        return 0, 0, 1.0
    after = int(np.clip(np.searchsorted(times, time), 1, len(times) - 1))
    return after - 1, after, float((time - times[after - 1]) / (times[after] - times[after - 1]))
