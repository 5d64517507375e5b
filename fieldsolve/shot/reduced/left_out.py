"""What a discharge through a reduced model leaves out, and its size: the heat of each part and how far its force would move it.

The heat is adiabatic and the mean of a part (of its hottest zone).  The motion is that of metal without strength: speed = impulse / mass,
way = double integral of force / mass, so that it is an upper bound of a start and not a shape.
"""
from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.materials.material import Material
from geometries.cross_section import CrossSection
from geometries.errors import InputError
from geometries.mesh import Mesh

SMALL_WAY = 1e-2            # of a part's outer radius
SMALL_RISE = 1e-2           # of a resistivity


@dataclass(frozen=True)
class MetalZone:
    """A zone of solid or stranded metal: its part, volume in m^3 of the metal, outer radius in metres, share of the part's heat."""

    part: str
    material: Material
    volume: float
    radius: float


@dataclass(frozen=True)
class LeftOut:
    """What was left out of one part.

    temperature_rise  mean, adiabatic, in kelvin; None where the metal has no data for heat
    resistivity_rise  that goes with it, of the cold resistivity; None likewise
    speed, way        in m/s and m at the end, of metal without strength under the radial or axial force, whichever moves it further;
                      None where the metal has no density
    radius            outer radius of the part in metres
    """

    part: str
    temperature_rise: float | None
    resistivity_rise: float | None
    speed: float | None
    way: float | None
    radius: float

    @property
    def matters(self) -> bool:
        """Whether a full shot would differ: the resistivity rises by more than SMALL_RISE, or the part moves by SMALL_WAY of its radius."""
        return (self.resistivity_rise or 0.0) > SMALL_RISE or (self.way or 0.0) > SMALL_WAY * self.radius

    def __str__(self) -> str:
        heat = "heat unknown" if self.temperature_rise is None else \
            f"{self.temperature_rise:.3g} K warmer in the mean (resistivity + {100 * self.resistivity_rise:.2g} %)"
        way = "motion unknown" if self.way is None else f"up to {self.speed:.3g} m/s and {1e3 * self.way:.3g} mm if free"
        return f"{self.part}: {heat}, {way}"


def metal_zones(section: CrossSection, mesh: Mesh, parts: tuple[str, ...]) -> tuple[MetalZone, ...]:
    """The zones of some parts, those of one material together."""
    found = []
    for name in parts:
        part, zones = section.part(name), mesh.zone_triangles(name)
        volumes: dict[Material, float] = {}
        for zone, triangles in zip(part.zones, zones, strict=True):
            points = gauss_points(mesh, triangles)
            share = (part.fill or 1.0) if part.stranded else 1.0
            volumes[zone.material] = volumes.get(zone.material, 0.0) + share * 2 * math.pi * float(points.r_dA.sum())
        radius = float(mesh.nodes[mesh.triangles[mesh.part_triangles(name)], 0].max())
        found += [MetalZone(name, material, volume, radius) for material, volume in volumes.items() if material is not None]
    return tuple(found)


def estimate_left_out(shot) -> Iterator[LeftOut]:
    """What was left out of each part with metal."""
    from scipy.integrate import cumulative_simpson

    for name in dict.fromkeys(zone.part for zone in shot.metal):
        zones = [zone for zone in shot.metal if zone.part == name]
        heat = float(cumulative_simpson(shot.series("power", name), x=shot.times)[-1])
        rises = _rises(zones, heat)
        mass = sum(zone.volume * zone.material.density for zone in zones) if all(zone.material.density for zone in zones) else None
        speed = way = None
        if mass:
            speeds = [cumulative_simpson(shot.series(f"{direction}_force", name), x=shot.times, initial=0.0) / mass
                      for direction in ("radial", "axial")]
            ways = [cumulative_simpson(each, x=shot.times, initial=0.0) for each in speeds]
            speed, way = (max(float(np.abs(each).max()) for each in of) for of in (speeds, ways))
        yield LeftOut(name, *rises, speed, way, zones[0].radius)


def _rises(zones: list[MetalZone], heat: float) -> tuple[float | None, float | None]:
    """Rise of the temperature in K and of the resistivity, relative, as if all of the part's metal shared its heat evenly."""
    volume = sum(zone.volume for zone in zones)
    try:
        contents = [heat_content(zone.material) for zone in zones]
    except InputError:
        return None, None
    temperatures = [float(content.temperature(heat / volume)) for content in contents]
    rises = [float(content.resistivity(t)) / content.resistivity_room - 1 for content, t in zip(contents, temperatures, strict=True)]
    return max(temperatures) - 293.15, max(rises)
