"""What a cross-section is made of: parts, and the zones of metal in them."""
from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from geometries.outlines import Outline
from geometries.plot import part_html

ZoneKey = tuple[str, int]       # name of a part, number of a zone in it


@dataclass(frozen=True, repr=False)
class Zone:
    """One region of a part: its outline, the material it carries (never read here) and its turns.

    `turns` counts the turns of a coil that share this outline: 1 for a solid turn, N for a winding.
    """

    name: str
    outline: Outline
    material: Any = field(default=None, compare=False)
    turns: float = 1.0

    def __repr__(self) -> str:
        r_min, r_max, z_min, z_max = self.outline.bounds
        turns = f", {self.turns:g} turns" if self.turns != 1 else ""
        return f"Zone({self.name}{turns}: r from {r_min:.4g} to {r_max:.4g} m, z from {z_min:.4g} to {z_max:.4g} m)"


@dataclass(frozen=True)
class Filament:
    """Circular line current without section: `radius` and height `z` in metres."""

    radius: float
    z: float


@dataclass(frozen=True)
class CurrentSheet:
    """Cylinder without thickness, `radius`, from `z_min` to `z_max` in metres, with `turns` turns."""

    radius: float
    z_min: float
    z_max: float
    turns: float


@dataclass(frozen=True, repr=False)
class Part:
    """A named conductor or body of revolution; made by the builders of `coils` and `workpieces`.

    is_coil   driven by a current, a voltage or a bank; otherwise a body
    stranded  the zones carry a uniform current density (else J is what the solid metal makes of it)
    fill      copper share of a stranded section, None where it was not given
    grid      lines r and z in metres which no cell of the mesh crosses, None where cells may lie as they like
    A part has zones, or is one filament, or is one current sheet.
    """

    name: str
    shape: str
    zones: tuple[Zone, ...] = ()
    is_coil: bool = False
    stranded: bool = False
    fill: float | None = None
    filament: Filament | None = None
    sheet: CurrentSheet | None = None
    grid: tuple[tuple[float, ...], tuple[float, ...]] | None = field(default=None, compare=False)

    def __repr__(self) -> str:
        kind = f"{'stranded ' if self.stranded else ''}{self.shape} of {self.turns:g} turns" if self.is_coil else self.shape
        r_min, r_max, z_min, z_max = self.bounds
        return f"Part({self.name}: {kind}, r from {r_min:.4g} to {r_max:.4g} m, z from {z_min:.4g} to {z_max:.4g} m)"

    _repr_html_ = part_html

    @property
    def turns(self) -> float:
        """Turns in all; 1 for a body."""
        if self.filament:
            return 1.0
        return self.sheet.turns if self.sheet else sum(zone.turns for zone in self.zones) if self.is_coil else 1.0

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest and largest r, smallest and largest z, in metres."""
        if self.filament:
            return self.filament.radius, self.filament.radius, self.filament.z, self.filament.z
        if self.sheet:
            return self.sheet.radius, self.sheet.radius, self.sheet.z_min, self.sheet.z_max
        boxes = [zone.outline.bounds for zone in self.zones]
        return (min(b[0] for b in boxes), max(b[1] for b in boxes), min(b[2] for b in boxes), max(b[3] for b in boxes))

    def named(self, name: str) -> Part:
        """The same part under another name."""
        return replace(self, name=name)

    def moved(self, dz: float) -> Part:
        """The same part, `dz` metres higher."""
        return replace(
            self,
            zones=tuple(replace(zone, outline=zone.outline.moved(dz)) for zone in self.zones),
            filament=self.filament and replace(self.filament, z=self.filament.z + dz),
            sheet=self.sheet and replace(self.sheet, z_min=self.sheet.z_min + dz, z_max=self.sheet.z_max + dz),
            grid=self.grid and (self.grid[0], tuple(z + dz for z in self.grid[1])),
        )
