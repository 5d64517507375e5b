"""The numbers of a shot whose errors are compared: peaks and their times, losses, forces, energies, shapes, series and fields."""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BarycentricInterpolator

from fieldsolve.estimate import Estimate
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from geometries.cross_section import CrossSection

SAMPLE_TIMES = (0.3, 0.65, 0.97)        # of the shot: where series and fields are compared
WINDOW = 0.015                          # of the shot: distance of the five values by which a series is kept round a sample time
SERIES = ("current", "voltage", "loop_voltage", "radial_force", "axial_force")
MIN_ENERGY_SHARE = 1e-4                 # of the banks' energy: less is not compared
POINTS_OUTSIDE = 0.4                    # of the section's extent: how far off the points of the field lie


@dataclass(frozen=True)
class Number:
    """One number of a shot: its kind, its name, the value and its error bound; infinite where none is known."""

    kind: str
    name: str
    value: float
    error: float


def numbers(shot) -> Iterator[Number]:
    """All numbers of a shot but those at sample times."""
    yield from _peaks(shot)
    for name in shot.bodies:
        yield _number("impulse", f"impulse of {name}", shot.impulse(name))
        if not shot.held and not shot.fixed_parts.get(name):
            yield _number("shape", f"radius of {name}", shot.radius_ratio(name))
            at = "waist" if ("waist_thickness", name) in shot.history.values else "rim"
            yield _number("shape", f"thickness at the {at} of {name}", shot.thickness_ratio(name, at))
    for name in shot.coils:
        yield _number("action", f"action of {name}", shot.action(name))
    yield _number("reversal", "reversal", shot.reversal)
    for name, energy in shot.energy.final_energies().items():
        if abs(energy) > MIN_ENERGY_SHARE * shot.energy.scale:
            yield _number("loss" if name in shot.energy.sinks else "energy", f"{name} at the end", energy)


def _peaks(shot) -> Iterator[Number]:
    electric = [("current", (*shot.coils, *shot.bodies)), ("loop_voltage", shot.bodies), ("power", shot.bodies)]
    for quantity, place in _present(shot, electric):
        peak = shot.peak(quantity, place)
        yield _number(f"peak {quantity.replace('_', ' ')}", f"{quantity} of {place}", peak)
        if abs(peak.time) < 0.98 * shot.times[-1]:
            yield Number("peak time", f"time of {quantity} of {place}", peak.time, getattr(peak, "time_error", math.inf))
    for quantity, place in shot.history.values:
        if quantity == "field":
            yield _number("peak field", f"field of {place}", shot.peak(quantity, place))
    for quantity, place in _present(shot, [(force, (*shot.bodies, *shot.coils)) for force in ("radial_force", "axial_force")]):
        yield _number("force", f"{quantity} of {place}", shot.peak(quantity, place))
    for quantity, place in _present(shot, [("temperature", (*shot.coils, *shot.bodies)), ("mean_temperature", shot.bodies)]):
        label = {"temperature": "surface temperature", "mean_temperature": "mean temperature"}[quantity]
        peak = shot.peak(quantity, place)
        yield Number("temperature", f"rise of {label} of {place}", float(peak) - ROOM_TEMPERATURE, peak.error)


def _present(shot, wanted) -> Iterator[tuple[str, str]]:
    yield from ((quantity, place) for quantity, places in wanted for place in places if (quantity, place) in shot.history.values)


def _number(kind: str, name: str, estimate: Estimate) -> Number:
    return Number(kind, name, float(estimate), float(estimate.error))


# --- at sample times ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SampledSeries:
    """A series round one time of a shot: its name, that time in s, the distance of the five values in s, and the values."""

    name: str
    time: float
    spacing: float
    values: tuple[float, ...]

    @property
    def nodes(self) -> np.ndarray:
        """Times in s of the five values."""
        return self.time + self.spacing * np.arange(-2, 3)

    def at(self, time: float) -> float:
        """The series at a time near, by the polynomial through the values."""
        return float(BarycentricInterpolator(self.nodes, np.array(self.values))(time))


def sample_series(shot, end_time: float) -> Iterator[SampledSeries]:
    """The series of a shot round the sample times, but where something switches nearby."""
    spacing = WINDOW * end_time
    for share in SAMPLE_TIMES:
        time, near = share * end_time, 2.5 * spacing
        if time + near > shot.times[-1] or any(abs(when - time) < near for when, _ in shot.events):
            continue
        for quantity, place in shot.history.values:
            if quantity in SERIES and place != "crowbar":
                values = (_interpolated(shot, quantity, place, at) for at in time + spacing * np.arange(-2, 3))
                yield SampledSeries(f"{quantity} of {place}", time, spacing, tuple(values))


def compare_series(shot, sampled: SampledSeries) -> tuple[float, float]:
    """(true error, error bound) of a series at the instant of a shot nearest to a sampled time."""
    quantity, _, place = sampled.name.partition(" of ")
    k = int(np.abs(shot.times - sampled.time).argmin())
    bound = float(shot.series_error(quantity, place)[k])
    return abs(float(shot.series(quantity, place)[k]) - sampled.at(float(shot.times[k]))), bound


def _interpolated(shot, quantity: str, place: str, time: float) -> float:
    """A series by the cubic through the two instants before a time and the two after it."""
    near = _nearest_four(shot, time)
    return float(BarycentricInterpolator(shot.times[near], shot.series(quantity, place)[near])(time))


def _nearest_four(shot, time: float) -> slice:
    k = int(np.clip(np.searchsorted(shot.times, time) - 2, 0, len(shot.times) - 4))
    return slice(k, k + 4)


def field_points(section: CrossSection) -> tuple[np.ndarray, np.ndarray]:
    """r and z in m of three points in the air round the parts: on the axis above and below, and beside."""
    low, high = (min(part.bounds[2] for part in section.parts), max(part.bounds[3] for part in section.parts))
    outside = POINTS_OUTSIDE * section.extent
    return np.array([0.0, 0.0, max(part.bounds[1] for part in section.parts) + outside]), np.array(
        [high + outside, low - outside, 0.5 * (low + high)])


def sample_fields(shot, end_time: float) -> Iterator[tuple[float, np.ndarray]]:
    """(time in s, flux density (2, 3) in T at the field points) at the sample times, from the four instants nearest."""
    for share in SAMPLE_TIMES:
        if (time := share * end_time) < shot.times[-1]:
            near = _nearest_four(shot, time)
            fields = np.array([shot.field_at(float(at)).flux_density(*field_points(shot.section)) for at in shot.times[near]])
            yield time, BarycentricInterpolator(shot.times[near], fields)(time)
