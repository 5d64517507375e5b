"""Builders of coils: loop, sheet, solenoid, spiral, winding."""
from __future__ import annotations

from typing import Any

from geometries import checks
from geometries.keywords import known_keywords
from geometries.outlines import rectangle
from geometries.parts import CurrentSheet, Filament, Part, Zone
from geometries.wire import axial_pitch, build_wire, radial_pitch, require_pitch, split_turns, turn_zones


@known_keywords
def loop(*, radius: float, at: float = 0.0, name: str = "coil") -> Part:
    """One circular turn without section: a line current.

    Parameters
    ----------
    radius : float
        Of the turn, metres.
    at : float, optional
        Height z of its plane, metres.
    name : str, optional
        Name of the part.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For a radius that is not positive or above 5 m.

    Examples
    --------
    >>> loop(radius=20e-3).turns
    1.0
    """
    filament = Filament(checks.length("radius", radius), checks.height("at", at))
    return Part(checks.label(name), "loop", is_coil=True, filament=filament)


@known_keywords
def sheet(*, radius: float, length: float, turns: float, at: float = 0.0, name: str = "coil") -> Part:
    """A cylinder without thickness that carries a uniform current per length.

    Parameters
    ----------
    radius : float
        Of the cylinder, metres.
    length : float
        Along z, metres.
    turns : float
        In all, a positive number that need not be whole.
    at : float, optional
        Height z of the centre, metres.
    name : str, optional
        Name of the part.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For a length that is not positive or above 5 m, or turns that are not positive.

    Examples
    --------
    >>> sheet(radius=20e-3, length=50e-3, turns=12.5).bounds
    (0.02, 0.02, -0.025, 0.025)
    """
    half, z = checks.length("length", length) / 2, checks.height("at", at)
    surface = CurrentSheet(checks.length("radius", radius), z - half, z + half, checks.positive("turns", turns))
    return Part(checks.label(name), "sheet", is_coil=True, sheet=surface)


@known_keywords
def solenoid(*, turns: int, bore_radius: float, wire_diameter: float | None = None, wire_section: tuple[float, float] | None = None,
             pitch: float | None = None, layers: int = 1, layer_pitch: float | None = None, stranded: bool = False,
             fill: float | None = None, at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """Turns of wire wound along z, in one layer or several.

    Parameters
    ----------
    turns : int
        In all, split evenly over the layers; numbered layer by layer from inside, each layer
        from below.
    bore_radius : float
        From the axis to the metal, metres.
    wire_diameter : float, optional
        Of round wire, metres; either this or wire_section.
    wire_section : tuple of float, optional
        (radial, axial) sides of rectangular wire, metres.
    pitch : float, optional
        Axial distance from turn to turn, metres; may be left out with one turn in a layer.
    layers : int, optional
        Number of layers or turns.
    layer_pitch : float, optional
        Radial distance from layer to layer, metres; the same as pitch if left out.
    stranded : bool, optional
        True: uniform current density in each turn; False: solid metal with skin and proximity
        effect.
    fill : float, optional
        Filling factor, the share of copper in a stranded turn's section, above 0 and at most 1.
    at : float, optional
        Height z of the centre, metres.
    name : str, optional
        Name of the part.
    material : Material, optional
        The metal; the part carries it and never reads it.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For sizes that cannot be, turns that do not split evenly, or turns that would overlap.

    Examples
    --------
    >>> coil = solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3)
    >>> len(coil.zones), coil.turns
    (8, 8.0)
    """
    wire, bore = build_wire(wire_diameter, wire_section), checks.length("bore_radius", bore_radius)
    per_layer, layers = split_turns(turns, layers)
    axial = axial_pitch(pitch, per_layer, wire)
    radial = radial_pitch(layer_pitch, axial, layers, wire)
    checks.check_overall("the coil's height", (per_layer - 1) * axial + wire.axial, "check turns and pitch, in metres")
    checks.check_overall("the coil's outer radius", bore + (layers - 1) * radial + wire.radial, "check layers and layer_pitch, in metres")
    bottom = checks.height("at", at) - (per_layer - 1) * axial / 2
    first = bore + wire.radial / 2
    centres = [(first + layer * radial, bottom + turn * axial) for layer in range(layers) for turn in range(per_layer)]
    return Part(checks.label(name), "solenoid", turn_zones(centres, wire, material), is_coil=True,
                stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


@known_keywords
def spiral(*, turns: int, inner_radius: float, wire_diameter: float | None = None, wire_section: tuple[float, float] | None = None,
           pitch: float | None = None, stranded: bool = False, fill: float | None = None,
           at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """A flat coil: turns of wire wound outward in one plane, numbered from inside.

    Parameters
    ----------
    turns : int
        Number of layers or turns.
    inner_radius : float
        From the axis to the metal, metres.
    wire_diameter : float, optional
        Of round wire, metres; either this or wire_section.
    wire_section : tuple of float, optional
        (radial, axial) sides of rectangular wire, metres.
    pitch : float, optional
        Radial distance from turn to turn, metres; may be left out with one turn.
    stranded : bool, optional
        True: uniform current density in each turn; False: solid metal with skin and proximity
        effect.
    fill : float, optional
        Filling factor, the share of copper in a stranded turn's section, above 0 and at most 1.
    at : float, optional
        Height z of the coil's mid-plane, metres.
    name : str, optional
        Name of the part.
    material : Material, optional
        The metal; the part carries it and never reads it.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For sizes that cannot be or turns that would overlap.

    Examples
    --------
    >>> spiral(turns=5, inner_radius=5e-3, wire_section=(2e-3, 6e-3), pitch=2.2e-3).shape
    'spiral'
    """
    wire, inner = build_wire(wire_diameter, wire_section), checks.length("inner_radius", inner_radius)
    turns = checks.whole_number("turns", turns)
    radial = 0.0 if pitch is None else checks.length("pitch", pitch)
    if turns > 1:
        require_pitch(pitch, f"a spiral of {turns} turns", "radial", wire.radial)
        checks.check_spacing(("pitch", radial), (wire.radial_name, wire.radial))
    checks.check_overall("the coil's outer radius", inner + (turns - 1) * radial + wire.radial, "check turns and pitch, in metres")
    z = checks.height("at", at)
    centres = [(inner + wire.radial / 2 + turn * radial, z) for turn in range(turns)]
    return Part(checks.label(name), "spiral", turn_zones(centres, wire, material), is_coil=True,
                stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


@known_keywords
def winding(*, inner_radius: float, outer_radius: float, height: float, turns: float, fill: float | None = None,
            at: float = 0.0, name: str = "coil", material: Any = None) -> Part:
    """A thick coil of rectangular section and uniform current density; always stranded.

    Parameters
    ----------
    inner_radius, outer_radius : float
        Of the section, metres.
    height : float
        Of the section along z, metres.
    turns : float
        In all, a positive number that need not be whole.
    fill : float, optional
        Filling factor, the share of copper in the section, above 0 and at most 1; needed for a resistance
        for.
    at : float, optional
        Height z of the centre, metres.
    name : str, optional
        Name of the part.
    material : Material, optional
        The wire's metal; the part carries it and never reads it.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For sizes that cannot be or turns that are not positive.

    Examples
    --------
    >>> winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=100, fill=0.6).stranded
    True
    """
    inner, outer = checks.length("inner_radius", inner_radius), checks.length("outer_radius", outer_radius)
    checks.check_below(("inner_radius", inner), ("outer_radius", outer))
    half, z = checks.length("height", height) / 2, checks.height("at", at)
    zone = Zone("winding", rectangle(inner, outer, z - half, z + half), material, checks.positive("turns", turns))
    return Part(checks.label(name), "winding", (zone,), is_coil=True, stranded=True, fill=checks.filling_factor(fill, True))
