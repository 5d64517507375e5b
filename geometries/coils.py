"""Builders of coils: loop, sheet, solenoid, spiral, winding."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from geometries import checks
from geometries.errors import GeometryError
from geometries.outlines import Outline, circle, rectangle
from geometries.parts import CurrentSheet, Filament, Part, Zone


def loop(*, radius: float, at: float = 0.0, name: str = "coil") -> Part:
    """One circular turn without section: a line current.

    radius  of the turn, metres
    at      height z of its plane, metres
    name    of the part
    Raises GeometryError for a radius that is not positive or above 5 m.
    """
    filament = Filament(checks.length("radius", radius), checks.height("at", at))
    return Part(checks.label(name), "loop", is_coil=True, filament=filament)


def sheet(*, radius: float, length: float, turns: float, at: float = 0.0, name: str = "coil") -> Part:
    """A cylinder without thickness that carries a uniform current per length.

    radius  of the cylinder, metres
    length  along z, metres
    turns   in all, a positive number that need not be whole
    at      height z of the centre, metres
    name    of the part
    Raises GeometryError for a length that is not positive or above 5 m, or turns that are not positive.
    """
    half, z = checks.length("length", length) / 2, checks.height("at", at)
    surface = CurrentSheet(checks.length("radius", radius), z - half, z + half, checks.positive("turns", turns))
    return Part(checks.label(name), "sheet", is_coil=True, sheet=surface)


def solenoid(*, turns: int, bore_radius: float, wire_diameter: float | None = None, wire_section: tuple[float, float] | None = None,
             pitch: float | None = None, layers: int = 1, layer_pitch: float | None = None, stranded: bool = False,
             fill: float | None = None, at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """Turns of wire wound along z, in one layer or several.

    turns          in all, split evenly over the layers; numbered layer by layer from inside, each layer from below
    bore_radius    from the axis to the metal, metres
    wire_diameter  of round wire, metres; either this or wire_section
    wire_section   (radial, axial) sides of rectangular wire, metres
    pitch          axial distance from turn to turn, metres; may be left out with one turn in a layer
    layers         a whole number
    layer_pitch    radial distance from layer to layer, metres; the same as pitch if left out
    stranded       True: uniform current density in each turn; False: solid metal with skin and proximity effect
    fill           copper share of a stranded turn's section, above 0 and at most 1
    at             height z of the centre, metres
    name           of the part
    material       of the metal; carried, never read here
    Raises GeometryError for sizes that cannot be, turns that do not split evenly, or turns that would overlap.
    """
    wire, bore = _wire(wire_diameter, wire_section), checks.length("bore_radius", bore_radius)
    per_layer, layers = _split(turns, layers)
    axial = _axial_pitch(pitch, per_layer, wire)
    radial = _layer_pitch(layer_pitch, axial, layers, wire)
    checks.check_overall("the coil's height", (per_layer - 1) * axial + wire.axial, "check turns and pitch, in metres")
    checks.check_overall("the coil's outer radius", bore + (layers - 1) * radial + wire.radial, "check layers and layer_pitch, in metres")
    bottom = checks.height("at", at) - (per_layer - 1) * axial / 2
    first = bore + wire.radial / 2
    centres = [(first + layer * radial, bottom + turn * axial) for layer in range(layers) for turn in range(per_layer)]
    return Part(checks.label(name), "solenoid", _turns(centres, wire, material), is_coil=True,
                stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


def spiral(*, turns: int, inner_radius: float, wire_diameter: float | None = None, wire_section: tuple[float, float] | None = None,
           pitch: float | None = None, stranded: bool = False, fill: float | None = None,
           at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """A flat coil: turns of wire wound outward in one plane, numbered from inside.

    turns          a whole number
    inner_radius   from the axis to the metal, metres
    wire_diameter  of round wire, metres; either this or wire_section
    wire_section   (radial, axial) sides of rectangular wire, metres
    pitch          radial distance from turn to turn, metres; may be left out with one turn
    stranded       True: uniform current density in each turn; False: solid metal with skin and proximity effect
    fill           copper share of a stranded turn's section, above 0 and at most 1
    at             height z of the coil's mid-plane, metres
    name           of the part
    material       of the metal; carried, never read here
    Raises GeometryError for sizes that cannot be or turns that would overlap.
    """
    wire, inner = _wire(wire_diameter, wire_section), checks.length("inner_radius", inner_radius)
    turns = checks.whole_number("turns", turns)
    radial = 0.0 if pitch is None else checks.length("pitch", pitch)
    if turns > 1:
        _require_pitch(pitch, f"a spiral of {turns} turns", "radial", wire.radial)
        checks.check_spacing(("pitch", radial), (wire.radial_name, wire.radial))
    checks.check_overall("the coil's outer radius", inner + (turns - 1) * radial + wire.radial, "check turns and pitch, in metres")
    z = checks.height("at", at)
    centres = [(inner + wire.radial / 2 + turn * radial, z) for turn in range(turns)]
    return Part(checks.label(name), "spiral", _turns(centres, wire, material), is_coil=True,
                stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


def winding(*, inner_radius: float, outer_radius: float, height: float, turns: float, fill: float | None = None,
            at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """A thick coil of rectangular section and uniform current density; always stranded.

    inner_radius, outer_radius  of the section, metres
    height    of the section along z, metres
    turns     in all, a positive number that need not be whole
    fill      copper share of the section, above 0 and at most 1; needed where a resistance is asked for
    at        height z of the centre, metres
    name      of the part
    material  of the wire; carried, never read here
    Raises GeometryError for sizes that cannot be or turns that are not positive.
    """
    inner, outer = checks.length("inner_radius", inner_radius), checks.length("outer_radius", outer_radius)
    checks.check_below(("inner_radius", inner), ("outer_radius", outer))
    half, z = checks.length("height", height) / 2, checks.height("at", at)
    zone = Zone("winding", rectangle(inner, outer, z - half, z + half), material, checks.positive("turns", turns))
    return Part(checks.label(name), "winding", (zone,), is_coil=True, stranded=True, fill=checks.filling_factor(fill, True))


@dataclass(frozen=True)
class _Wire:
    """Section of a wire: its sides in metres, and what the user calls them."""

    radial: float
    axial: float
    is_round: bool

    @property
    def radial_name(self) -> str:
        return "wire_diameter" if self.is_round else "wire_section's radial side"

    @property
    def axial_name(self) -> str:
        return "wire_diameter" if self.is_round else "wire_section's axial side"

    def outline(self, r: float, z: float) -> Outline:
        """Outline of the wire centred at (r, z)."""
        if self.is_round:
            return circle(r, z, self.radial / 2)
        return rectangle(r - self.radial / 2, r + self.radial / 2, z - self.axial / 2, z + self.axial / 2)


def _wire(diameter: float | None, section: tuple[float, float] | None) -> _Wire:
    if (diameter is None) == (section is None):
        given = "neither" if diameter is None else "both"
        raise GeometryError(f"{given} of wire_diameter and wire_section given: give one of them, "
                            "such as wire_diameter=0.003 or wire_section=(0.002, 0.004)")
    if section is None:
        size = checks.length("wire_diameter", diameter)
        return _Wire(size, size, True)
    if not isinstance(section, (tuple, list)) or len(section) != 2:
        raise GeometryError(f"wire_section = {section!r} must be two lengths in metres: give (radial, axial)")
    return _Wire(checks.length("wire_section's radial side", section[0]), checks.length("wire_section's axial side", section[1]), False)


def _split(turns: int, layers: int) -> tuple[int, int]:
    """Turns in each layer, and layers."""
    turns, layers = checks.whole_number("turns", turns), checks.whole_number("layers", layers)
    per_layer, left_over = divmod(turns, layers)
    if left_over or not per_layer:
        choices = " or ".join(str(n * layers) for n in (per_layer, per_layer + 1) if n)
        raise GeometryError(f"turns = {turns} do not split evenly over layers = {layers}: give {choices} turns, or other layers")
    return per_layer, layers


def _axial_pitch(pitch: float | None, per_layer: int, wire: _Wire) -> float:
    axial = 0.0 if pitch is None else checks.length("pitch", pitch)
    if per_layer > 1:
        _require_pitch(pitch, f"a solenoid with {per_layer} turns in a layer", "axial", wire.axial)
        checks.check_spacing(("pitch", axial), (wire.axial_name, wire.axial))
    return axial


def _layer_pitch(layer_pitch: float | None, pitch: float, layers: int, wire: _Wire) -> float:
    radial = pitch if layer_pitch is None else checks.length("layer_pitch", layer_pitch)
    if layers > 1:
        if not radial:
            raise GeometryError(f"layer_pitch is missing: {layers} layers need the radial distance from layer to layer in metres, "
                                f"at least {checks.millimetres(wire.radial)} plus the insulation")
        checks.check_spacing(("layer_pitch" if layer_pitch is not None else "layer_pitch (left out, so the pitch)", radial),
                             (wire.radial_name, wire.radial))
    return radial


def _require_pitch(pitch: float | None, what: str, direction: str, wire: float) -> None:
    if pitch is None:
        raise GeometryError(f"pitch is missing: {what} needs the {direction} distance from turn to turn in metres, "
                            f"at least {checks.millimetres(wire)} plus the insulation")


def _turns(centres: list[tuple[float, float]], wire: _Wire, material: Any) -> tuple[Zone, ...]:
    return tuple(Zone(f"turn {k}", wire.outline(r, z), material) for k, (r, z) in enumerate(centres, 1))
