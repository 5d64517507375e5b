"""Wire: its section, the distances from turn to turn, and the turns of a coil as zones."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from geometries import checks
from geometries.errors import GeometryError
from geometries.outlines import Outline, circle, rectangle
from geometries.parts import Zone


@dataclass(frozen=True)
class Wire:
    """Section of a wire: its sides in metres, and the keywords that set them."""

    radial: float
    axial: float
    is_round: bool

    @property
    def radial_name(self) -> str:
        """Keyword that sets the radial side."""
        return "wire_diameter" if self.is_round else "wire_section's radial side"

    @property
    def axial_name(self) -> str:
        """Keyword that sets the axial side."""
        return "wire_diameter" if self.is_round else "wire_section's axial side"

    def outline(self, r: float, z: float) -> Outline:
        """Outline of the wire centred at (r, z)."""
        if self.is_round:
            return circle(r, z, self.radial / 2)
        return rectangle(r - self.radial / 2, r + self.radial / 2, z - self.axial / 2, z + self.axial / 2)


def build_wire(diameter: float | None, section: tuple[float, float] | None) -> Wire:
    """The wire of a diameter or of a section (radial, axial), in metres.  Raises GeometryError unless exactly one of them is given."""
    if (diameter is None) == (section is None):
        given = "neither" if diameter is None else "both"
        raise GeometryError(f"{given} of wire_diameter and wire_section given: give one of them, "
                            "such as wire_diameter=0.003 or wire_section=(0.002, 0.004)")
    if section is None:
        size = checks.length("wire_diameter", diameter)
        return Wire(size, size, True)
    if not isinstance(section, (tuple, list)) or len(section) != 2:
        raise GeometryError(f"wire_section = {section!r} must be two lengths in metres: give (radial, axial)")
    return Wire(checks.length("wire_section's radial side", section[0]), checks.length("wire_section's axial side", section[1]), False)


def split_turns(turns: int, layers: int) -> tuple[int, int]:
    """Turns in each layer, and layers."""
    turns, layers = checks.whole_number("turns", turns), checks.whole_number("layers", layers)
    per_layer, left_over = divmod(turns, layers)
    if left_over or not per_layer:
        choices = " or ".join(str(n * layers) for n in (per_layer, per_layer + 1) if n)
        raise GeometryError(f"turns = {turns} do not split evenly over layers = {layers}: give {choices} turns, or other layers")
    return per_layer, layers


def axial_pitch(pitch: float | None, per_layer: int, wire: Wire) -> float:
    """Axial distance from turn to turn in metres, 0 for one turn.  Raises GeometryError where it is missing or turns would overlap."""
    axial = 0.0 if pitch is None else checks.length("pitch", pitch)
    if per_layer > 1:
        require_pitch(pitch, f"a solenoid with {per_layer} turns in a layer", "axial", wire.axial)
        checks.check_spacing(("pitch", axial), (wire.axial_name, wire.axial))
    return axial


def radial_pitch(layer_pitch: float | None, pitch: float, layers: int, wire: Wire) -> float:
    """Radial distance from layer to layer in metres, by default the pitch.  Raises GeometryError as `axial_pitch`."""
    radial = pitch if layer_pitch is None else checks.length("layer_pitch", layer_pitch)
    if layers > 1:
        if not radial:
            raise GeometryError(f"layer_pitch is missing: {layers} layers need the radial distance from layer to layer in metres, "
                                f"at least {checks.millimetres(wire.radial)} plus the insulation")
        checks.check_spacing(("layer_pitch" if layer_pitch is not None else "layer_pitch (left out, so the pitch)", radial),
                             (wire.radial_name, wire.radial))
    return radial


def require_pitch(pitch: float | None, what: str, direction: str, wire: float) -> None:
    """Refuse a missing pitch of several turns; `what` needs it, along `direction`, where the wire is `wire` metres wide."""
    if pitch is None:
        raise GeometryError(f"pitch is missing: {what} needs the {direction} distance from turn to turn in metres, "
                            f"at least {checks.millimetres(wire)} plus the insulation")


def turn_zones(centres: list[tuple[float, float]], wire: Wire, material: Any) -> tuple[Zone, ...]:
    """One zone for each turn, centred at (r, z) in metres."""
    return tuple(Zone(f"turn {k}", wire.outline(r, z), material) for k, (r, z) in enumerate(centres, 1))
