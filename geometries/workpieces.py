"""Builders of bodies: disc, washer, clad_disc, ring_and_core, tube, ring, plate, cylinder, sphere, spheroid, shell."""
from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate, pairwise
from typing import Any

from geometries import checks
from geometries.errors import GeometryError
from geometries.outlines import Outline, circle, half_ellipse, half_shell, rectangle
from geometries.parts import Part, Zone


def disc(*, radius: float, thickness: float, at: float = 0.0, name: str = "disc", material: Any = None) -> Part:
    """A flat disc.

    radius     metres
    thickness  along z, metres
    at         height z of the mid-plane, metres
    name       of the part
    material   of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m.
    """
    return _body(name, "disc", _solid(radius, ("thickness", thickness), at), material)


def washer(*, radius: float, thickness: float, hole_radius: float, at: float = 0.0, name: str = "washer", material: Any = None) -> Part:
    """A flat disc with a hole.

    radius       outer, metres
    thickness    along z, metres
    hole_radius  metres, smaller than radius
    at           height z of the mid-plane, metres
    name         of the part
    material     of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m, or a hole as large as the disc.
    """
    hole, outer = checks.length("hole_radius", hole_radius, "without a hole use disc"), checks.length("radius", radius)
    checks.check_below(("hole_radius", hole), ("radius", outer))
    return _body(name, "washer", rectangle(hole, outer, *_span("thickness", thickness, at)), material)


def clad_disc(*, radius: float, layers: Iterable[tuple[float, Any]], thickness: float | None = None,
              at: float = 0.0, name: str = "disc") -> Part:
    """A flat disc of several layers, each of its own metal, bonded.

    radius     metres
    layers     (thickness in metres, material) of each layer, from below
    thickness  of all layers together, metres; if given, the layers must add up to it
    at         height z of the mid-plane, metres
    name       of the part
    Raises GeometryError for a length that is not positive or above 5 m, or layers that do not add up.
    """
    outer, (heights, materials) = checks.length("radius", radius), _layers(layers)
    total = sum(heights)
    checks.check_overall("the disc's thickness", total, "check the layers, in metres")
    if thickness is not None and abs(checks.length("thickness", thickness) - total) > checks.ROUNDING * total:
        raise GeometryError(f"the layers add up to {checks.millimetres(total)}, not to thickness = {checks.millimetres(thickness)}: "
                            "change a layer, or leave thickness out")
    faces = list(accumulate(heights, initial=checks.height("at", at) - total / 2))
    zones = tuple(Zone(f"layer {k}", rectangle(0.0, outer, low, high), material)
                  for k, ((low, high), material) in enumerate(zip(pairwise(faces), materials, strict=True), 1))
    return Part(checks.label(name), "clad_disc", zones)


def ring_and_core(*, radius: float, core_radius: float, thickness: float, ring: Any = None, core: Any = None,
                  at: float = 0.0, name: str = "disc") -> Part:
    """A flat disc of one metal in a ring of another, bonded.

    radius       outer, metres
    core_radius  of the inner disc, metres, smaller than radius
    thickness    along z, metres
    ring, core   materials of the two; carried, never read here
    at           height z of the mid-plane, metres
    name         of the part
    Raises GeometryError for a length that is not positive or above 5 m, or a core as large as the disc.
    """
    inner, outer = checks.length("core_radius", core_radius, "without a core use washer"), checks.length("radius", radius)
    checks.check_below(("core_radius", inner), ("radius", outer))
    low, high = _span("thickness", thickness, at)
    zones = (Zone("ring", rectangle(inner, outer, low, high), ring), Zone("core", rectangle(0.0, inner, low, high), core))
    return Part(checks.label(name), "ring_and_core", zones)


def tube(*, inner_radius: float, wall: float, length: float, at: float = 0.0, name: str = "tube", material: Any = None) -> Part:
    """A hollow cylinder.

    inner_radius  metres
    wall          thickness of the wall, metres
    length        along z, metres
    at            height z of the centre, metres
    name          of the part
    material      of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m.
    """
    inner, wall = checks.length("inner_radius", inner_radius, "without a bore use cylinder"), checks.length("wall", wall)
    checks.check_overall("the tube's outer radius", inner + wall, "check inner_radius and wall, in metres")
    return _body(name, "tube", rectangle(inner, inner + wall, *_span("length", length, at)), material)


def ring(*, radius: float, wire_diameter: float, stranded: bool = False, fill: float | None = None,
         at: float = 0.0, name: str = "ring", material: Any = None) -> Part:
    """One turn of round wire, closed upon itself unless it is driven.

    radius         from the axis to the wire's centre, metres
    wire_diameter  metres, smaller than twice the radius
    stranded       True: uniform current density; False: solid metal with skin effect
    fill           copper share of a stranded wire's section, above 0 and at most 1
    at             height z of the wire's centre, metres
    name           of the part
    material       of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m, or a wire that reaches the axis.
    """
    middle, width = checks.length("radius", radius), checks.length("wire_diameter", wire_diameter)
    if width >= 2 * middle:
        raise GeometryError(f"wire_diameter = {checks.millimetres(width)} reaches the axis from radius = {checks.millimetres(middle)}: "
                            f"make the wire thinner than {checks.millimetres(2 * middle)} or the radius larger")
    zone = Zone("turn 1", circle(middle, checks.height("at", at), width / 2), material)
    return Part(checks.label(name), "ring", (zone,), is_coil=True, stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


def plate(*, radius: float, thickness: float, at: float = 0.0, name: str = "plate", material: Any = None) -> Part:
    """A round plate, such as stands for a large one when its radius is many times the coil's.

    radius     metres
    thickness  along z, metres
    at         height z of the mid-plane, metres
    name       of the part
    material   of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m.
    """
    return _body(name, "plate", _solid(radius, ("thickness", thickness), at), material)


def cylinder(*, radius: float, length: float, at: float = 0.0, name: str = "cylinder", material: Any = None) -> Part:
    """A solid cylinder.

    radius    metres
    length    along z, metres
    at        height z of the centre, metres
    name      of the part
    material  of the metal; carried, never read here
    Raises GeometryError for a length that is not positive or above 5 m.
    """
    return _body(name, "cylinder", _solid(radius, ("length", length), at), material)


def sphere(*, radius: float, at: float = 0.0, name: str = "sphere", material: Any = None) -> Part:
    """A solid sphere.

    radius    metres
    at        height z of the centre, metres
    name      of the part
    material  of the metal; carried, never read here
    Raises GeometryError for a radius that is not positive or above 5 m.
    """
    size = checks.length("radius", radius)
    return _body(name, "sphere", half_ellipse(checks.height("at", at), (size, size)), material)


def spheroid(*, radial: float, axial: float, at: float = 0.0, name: str = "spheroid", material: Any = None) -> Part:
    """A solid ellipsoid of revolution.

    radial, axial  half-axes across and along z, metres
    at             height z of the centre, metres
    name           of the part
    material       of the metal; carried, never read here
    Raises GeometryError for a half-axis that is not positive or above 5 m.
    """
    half_axes = checks.length("radial", radial), checks.length("axial", axial)
    return _body(name, "spheroid", half_ellipse(checks.height("at", at), half_axes), material)


def shell(*, inner_radius: float, outer_radius: float, at: float = 0.0, name: str = "shell", material: Any = None) -> Part:
    """A hollow sphere.

    inner_radius, outer_radius  metres
    at        height z of the centre, metres
    name      of the part
    material  of the metal; carried, never read here
    Raises GeometryError for a radius that is not positive or above 5 m, or an inner one as large as the outer.
    """
    inner, outer = checks.length("inner_radius", inner_radius, "without a hollow use sphere"), checks.length("outer_radius", outer_radius)
    checks.check_below(("inner_radius", inner), ("outer_radius", outer))
    return _body(name, "shell", half_shell(checks.height("at", at), (inner, inner), (outer, outer)), material)


def _body(name: str, shape: str, outline: Outline, material: Any) -> Part:
    """A part of one zone, which is called after the shape."""
    return Part(checks.label(name), shape, (Zone(shape, outline, material),))


def _solid(radius: float, height: tuple[str, float], at: float) -> Outline:
    """Rectangle from the axis to `radius`."""
    return rectangle(0.0, checks.length("radius", radius), *_span(*height, at))


def _span(name: str, height: float, at: float) -> tuple[float, float]:
    """Lowest and highest z of something `height` tall about `at`."""
    half, z = checks.length(name, height) / 2, checks.height("at", at)
    return z - half, z + half


def _layers(layers: Iterable[tuple[float, Any]]) -> tuple[list[float], list[Any]]:
    """Heights and materials of the layers."""
    pairs = list(layers) if isinstance(layers, Iterable) else [layers]
    if not pairs:
        raise GeometryError("layers is empty: give at least one (thickness, material)")
    for k, pair in enumerate(pairs, 1):
        if not isinstance(pair, (tuple, list)) or len(pair) != 2:
            raise GeometryError(f"layer {k} = {pair!r} must be (thickness, material), the thickness in metres")
    return [checks.length(f"thickness of layer {k}", pair[0]) for k, pair in enumerate(pairs, 1)], [pair[1] for pair in pairs]
