"""Quantities of a shot that a workshop measures after it, by name."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.shot.result.quantities import final_ratio, reversal

UNITS_BY_NAME = {"radius of": "m", "diameter of": "m", "hole radius of": "m", "thickness of": "m", "mass of": "kg", "peak current of": "A",
                 "peak speed of": "m/s", "peak temperature of": "K", "peak field": "T", "reversal of": "", "charge voltage of": "V",
                 "residual voltage of": "V", "inductance of": "H"}
THICKNESSES = {"axis": "axis_thickness", "mid-radius": "mid_radius_thickness", "rim": "rim_thickness"}


@dataclass(frozen=True)
class Quantity:
    """What can be measured: its unit, its value of a shot, when it is read, and whether it is of metal that must move for it."""

    unit: str
    evaluate: Callable[[Any], float]
    time: Callable[[Any], float | None] = lambda shot: float(shot.times[-1])
    of_shape: bool = False


def measurable_quantities(shot) -> dict[str, Quantity]:
    """All quantities that can be measured after a shot, by name."""
    found: dict[str, Quantity] = {}
    for name in shot.bodies:
        found |= _shape(shot, name)
        found[f"peak current of {name}"] = _peak("current", name, "A")
        found[f"mass of {name}"] = Quantity("kg", lambda run, name=name: body_mass(run, name))
        if ("speed", name) in shot.history.values:
            found[f"peak speed of {name}"] = _peak("speed", name, "m/s", of_shape=True)
        if ("temperature", name) in shot.history.values:
            found[f"peak temperature of {name}"] = _peak("temperature", name, "K")
    for quantity, place in shot.history.values:
        if quantity == "field":
            found[f"peak field in {place}" if place.split(" ")[0] in ("bore", "gap") else f"peak field at {place}"] = _peak(
                "field", place, "T")
    for place in shot.bank_places:
        found[f"reversal of {place}"] = Quantity("", lambda run, place=place: reversal(run, place))
        found[f"charge voltage of {place}"] = Quantity("V", lambda run, place=place: float(run.series("voltage", place)[0]), _at_start)
        found[f"residual voltage of {place}"] = Quantity("V", lambda run, place=place: float(run.series("voltage", place)[-1]))
    return found


def find_quantity(shot, name: str) -> Quantity:
    """The quantity of a name; InputError with the nearest for an unknown one."""
    known = measurable_quantities(shot)
    if name not in known:
        raise InputError(f"measured {name!r}: not known; {suggestion(name, known)}")
    return known[name]


def unit_of_name(name: str) -> str:
    """SI unit of a quantity by the beginning of its name; InputError where no quantity begins so.

    >>> unit_of_name("thickness of disc at rim")
    'm'
    """
    for beginning, unit in UNITS_BY_NAME.items():
        if name.startswith(beginning):
            return unit
    raise InputError(f"measured {name!r}: not known; names begin with {', '.join(UNITS_BY_NAME)}, as in 'radius of disc'")


def body_mass(shot, name: str) -> float:
    """Mass of a body as it was built, in kg."""
    mass = 0.0
    for zone in shot.section.part(name).zones:
        density = getattr(zone.material, "density", None)
        if density is None:
            raise InputError(f"measured 'mass of {name}': the density of its metal is not known; give density= of its material")
        mass += density * _volume(zone.outline.polygon(256))
    return mass


def _volume(polygon: np.ndarray) -> float:
    """Volume in m^3 that a polygon (n, 2) of r and z sweeps round the axis:  2 pi times its first moment about r = 0."""
    r, z = polygon.T
    r_next, z_next = np.roll(r, -1), np.roll(z, -1)
    return abs(float(np.sum((r + r_next) * (r * z_next - r_next * z)))) * math.pi / 3


def _at_start(shot) -> float:
    return 0.0


def _peak(series: str, place: str, unit: str, of_shape: bool = False) -> Quantity:
    return Quantity(unit, lambda run: run.history.peak(series, place)[0], lambda run: run.history.peak(series, place)[1], of_shape)


def _shape(shot, name: str) -> dict[str, Quantity]:
    """Radius, diameter, hole and thicknesses of a body at the end of the shot."""
    _, outer, low, high = shot.section.part(name).bounds
    found = {f"radius of {name}": _final("outer_radius", name, outer), f"diameter of {name}": _final("outer_radius", name, outer, 2.0)}
    inner = shot.section.part(name).bounds[0]
    if inner > 0:
        found[f"hole radius of {name}"] = _final("inner_radius", name, inner)
    for place, series in THICKNESSES.items():
        if (series, name) not in shot.history.values or shot.series(series, name)[0] > 0:
            found[f"thickness of {name} at {place}"] = _final(series, name, high - low)
    return found


def _final(series: str, name: str, start: float, factor: float = 1.0) -> Quantity:
    """A length at the end of a shot; `start` where it does not move."""
    def evaluate(run) -> float:
        moved = (series, name) in run.history.values
        return factor * start * (final_ratio(run, series, name) if moved else 1.0)
    return Quantity("m", evaluate, of_shape=True)
