"""What is to be computed: the parts of a cross-section in open space, or of an infinitely long strip."""
from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

import numpy as np

from geometries import checks, fit
from geometries.errors import GeometryError
from geometries.keywords import known_keywords
from geometries.parts import Part, Zone
from geometries.pickling import fields_only
from geometries.plot import plot_section, section_html

SHOWN_PARTS = 8         # of a section, in its text


@dataclass(frozen=True)
class Bore:
    """The space inside a coil: r below `radius`, z from `z_min` to `z_max`, in metres."""

    radius: float
    z_min: float
    z_max: float


@known_keywords
@dataclass(frozen=True, repr=False)
class CrossSection:
    """Parts around the axis, in open space.

    Parameters
    ----------
    parts : sequence of Part
        At least one.  Their names differ and their metal does not overlap; touching is allowed.

    Raises
    ------
    GeometryError
        For parts that cannot stand together.

    Examples
    --------
    >>> from geometries import disc, solenoid
    >>> coil = solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3)
    >>> section = CrossSection([coil, disc(radius=15e-3, thickness=2e-3)])
    >>> print(f"{1e3 * section.bore().radius:.1f} mm")
    15.6 mm
    """

    parts: Sequence[Part]               # a tuple from here on

    __getstate__ = fields_only

    plot, _repr_html_ = plot_section, section_html

    def __post_init__(self) -> None:
        object.__setattr__(self, "parts", fit.as_parts(self.parts))
        fit.check_fit(self.parts)

    def __repr__(self) -> str:
        r_min, r_max, z_min, z_max = self.bounds
        return (f"CrossSection({len(self.parts)} part{'' if len(self.parts) == 1 else 's'}: {_described(self.parts)}; "
                f"r from {r_min:.4g} to {r_max:.4g} m, z from {z_min:.4g} to {z_max:.4g} m)")

    def part(self, name: str) -> Part:
        """The part of that name.  Raises GeometryError, with the nearest names, if there is none."""
        return _named(self.parts, name)

    @property
    def coils(self) -> tuple[Part, ...]:
        """Loops, sheets, solenoids, spirals, windings and rings."""
        return _of_kind(self.parts, True)

    @property
    def bodies(self) -> tuple[Part, ...]:
        """Parts that are not coils."""
        return _of_kind(self.parts, False)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest and largest r, smallest and largest z of all parts, in metres."""
        return _bounds(self.parts)

    @property
    def centre(self) -> float:
        """Height z half-way between the lowest and the highest point, in metres."""
        return (self.bounds[2] + self.bounds[3]) / 2

    @cached_property
    def extent(self) -> float:
        """Largest distance of any point of any part from the axis point at `centre`, in metres."""
        return max(_farthest(part, self.centre) for part in self.parts)

    @property
    def bores(self) -> dict[str, Bore]:
        """Bores by the name of their region: 'bore' if one coil has one, 'bore of NAME' if several have.  A loop has none."""
        hollow = [coil for coil in self.coils if coil.filament is None]
        if len(hollow) == 1:
            return {"bore": _bore(hollow[0])}
        return {f"bore of {coil.name}": _bore(coil) for coil in hollow}

    def coil_of_bore(self, region: str) -> str:
        """Name of the coil whose bore a region of `bores` is."""
        return next(coil.name for coil in self.coils if coil.filament is None and region in ("bore", f"bore of {coil.name}"))

    def bore(self, name: str | None = None) -> Bore:
        """The bore of a coil.

        Parameters
        ----------
        name : str, optional
            Of the coil or of the region; may be left out if only one coil has a bore.

        Returns
        -------
        Bore

        Raises
        ------
        GeometryError
            If there is no such coil, it has no bore, or several have one and no name is given.
        """
        if name in self.bores:
            return self.bores[name]
        if name is None or name == "bore":
            return self._only_bore()
        coil = self.part(name.removeprefix("bore of "))
        if not coil.is_coil or coil.filament:
            raise GeometryError(f"{coil.name} is a {coil.shape} and has no bore: name a coil with a length, or give points")
        return _bore(coil)

    def _only_bore(self) -> Bore:
        if len(self.bores) == 1:
            return next(iter(self.bores.values()))
        if not self.bores:
            raise GeometryError("this cross-section has no bore, because no coil in it has a length: add a coil, or give points instead")
        raise GeometryError(f"several coils have a bore: name one of {', '.join(self.bores)}")


@known_keywords
@dataclass(frozen=True, repr=False)
class AxialStrip:
    """A slice of an arrangement that is infinitely long and the same at every height.

    Parameters
    ----------
    parts : sequence of Part
        Their zones are rectangles of one and the same height, that of the slice: cylinders, tubes and the like.
    inner_radius : float, optional
        Where the slice begins, in metres: from 0, the axis, up to the smallest r of the parts.
    outer_radius : float, optional
        Where it ends, in metres; at least the largest r of the parts, which is the default.

    Raises
    ------
    GeometryError
        For parts that cannot stand together or are not of that kind, and for radii that cut into them.

    Examples
    --------
    >>> from geometries import cylinder
    >>> AxialStrip([cylinder(radius=10e-3, length=1e-3)], outer_radius=20e-3).outer_radius
    0.02
    """

    parts: Sequence[Part]               # a tuple from here on
    inner_radius: float = 0.0
    outer_radius: float | None = None

    plot, _repr_html_ = plot_section, section_html

    def __post_init__(self) -> None:
        parts = fit.as_parts(self.parts)
        fit.check_fit(parts)
        _check_strip(parts)
        inner, outer = _strip_radii(_bounds(parts), self.inner_radius, self.outer_radius)
        for name, value in (("parts", parts), ("inner_radius", inner), ("outer_radius", outer)):
            object.__setattr__(self, name, value)

    def __repr__(self) -> str:
        return f"AxialStrip(r from {self.inner_radius:.4g} to {self.outer_radius:.4g} m, {_described(self.parts)})"

    def part(self, name: str) -> Part:
        """The part of that name.  Raises GeometryError, with the nearest names, if there is none."""
        return _named(self.parts, name)

    @property
    def coils(self) -> tuple[Part, ...]:
        """Windings and other coils of rectangular section."""
        return _of_kind(self.parts, True)

    @property
    def bodies(self) -> tuple[Part, ...]:
        """Parts that are not coils."""
        return _of_kind(self.parts, False)

    @property
    def z_min(self) -> float:
        """Lowest z of the slice, metres."""
        return self.parts[0].bounds[2]

    @property
    def z_max(self) -> float:
        """Highest z of the slice, metres."""
        return self.parts[0].bounds[3]

    @property
    def centre(self) -> float:
        """Height z of the slice's middle, metres."""
        return (self.z_min + self.z_max) / 2


Section = CrossSection | AxialStrip     # what can be meshed and solved


def _described(parts: Sequence[Part]) -> str:
    """Names and shapes of the parts, of many the first ones."""
    shown = [f"{part.name}: {part.shape}" for part in parts[:SHOWN_PARTS]]
    return ", ".join(shown) + (f" and {len(parts) - SHOWN_PARTS} more" if len(parts) > SHOWN_PARTS else "")


def _named(parts: Sequence[Part], name: str) -> Part:
    for part in parts:
        if part.name == name:
            return part
    names = [part.name for part in parts]
    nearest = get_close_matches(str(name), names, n=3)
    hint = f"meant {' or '.join(nearest)}? " if nearest else ""
    raise GeometryError(f"there is no part named {name!r}: {hint}The parts are {', '.join(names)}")


def _of_kind(parts: Sequence[Part], is_coil: bool) -> tuple[Part, ...]:
    return tuple(part for part in parts if part.is_coil == is_coil)


def _bounds(parts: Iterable[Part]) -> tuple[float, float, float, float]:
    r_min, r_max, z_min, z_max = zip(*(part.bounds for part in parts), strict=True)
    return min(r_min), max(r_max), min(z_min), max(z_max)


def _farthest(part: Part, centre: float) -> float:
    """Largest distance of the part's points from (0, centre)."""
    if not part.zones:
        _, r, z_min, z_max = part.bounds
        return max(math.hypot(r, z_min - centre), math.hypot(r, z_max - centre))
    return max(float(np.hypot(*(zone.outline.polygon(256) - (0.0, centre)).T).max()) for zone in part.zones)


def _bore(coil: Part) -> Bore:
    r_min, _, z_min, z_max = coil.bounds
    return Bore(r_min, z_min, z_max)


def _check_strip(parts: Sequence[Part]) -> None:
    _, _, low, high = parts[0].bounds
    slack = checks.ROUNDING * (high - low)
    for part in parts:
        if not part.zones or not all(zone.outline.is_rectangle for zone in part.zones):
            raise GeometryError(f"{part.name}, a {part.shape}, is not the same at every height: a strip takes cylinders, tubes "
                                "and other parts of rectangular section")
        for zone in part.zones:
            if max(abs(zone.outline.bounds[2] - low), abs(zone.outline.bounds[3] - high)) > slack:
                raise GeometryError(f"{zone.name} of {part.name} reaches from z = {_reach(zone)}, {parts[0].name} from z = "
                                    f"{_reach(parts[0].zones[0])}: in a strip give all parts the same length and at=")


def _reach(zone: Zone) -> str:
    return " to ".join(map(checks.millimetres, zone.outline.bounds[2:]))


def _strip_radii(bounds: tuple[float, float, float, float], inner: float, outer: float | None) -> tuple[float, float]:
    """Radii where the strip begins and ends."""
    inner, r_min, r_max = checks.number("inner_radius", inner), bounds[0], bounds[1]
    outer = r_max if outer is None else checks.length("outer_radius", outer)
    if not 0 <= inner <= r_min * (1 + checks.ROUNDING):
        raise GeometryError(f"inner_radius = {checks.millimetres(inner)} must be from 0 to {checks.millimetres(r_min)}, "
                            "where the first part begins: make it smaller, or leave it out")
    if outer < r_max * (1 - checks.ROUNDING):
        raise GeometryError(f"outer_radius = {checks.millimetres(outer)} must be at least {checks.millimetres(r_max)}, "
                            "where the last part ends: make it larger, or leave it out")
    return min(inner, r_min), max(outer, r_max)


def check_cross_section(section: object) -> None:
    """Refuse what is no cross-section."""
    if not isinstance(section, (CrossSection, AxialStrip)):
        raise GeometryError(f"section = {section!r:.60}: is no cross-section: give geo.CrossSection([coil, disc]), say")
