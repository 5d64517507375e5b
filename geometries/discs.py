"""Builders of flat bodies: disc, washer, clad_disc, ring_and_core, plate."""
from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate, pairwise
from typing import Any

from geometries import checks
from geometries.body_outlines import height_span, single_zone, solid_outline
from geometries.errors import GeometryError
from geometries.keywords import known_keywords
from geometries.outlines import rectangle
from geometries.parts import Part, Zone


@known_keywords
def disc(*, radius: float, thickness: float, at: float = 0.0, name: str = "disc", material: Any = None) -> Part:
    """A flat disc.

    Parameters
    ----------
    radius : float
        In metres.
    thickness : float
        Along z, metres.
    at : float, optional
        Height z of the mid-plane, metres.
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
        For a length that is not positive or above 5 m.

    Examples
    --------
    >>> disc(radius=15e-3, thickness=2e-3).bounds
    (0.0, 0.015, -0.001, 0.001)
    """
    return single_zone(name, "disc", solid_outline(radius, ("thickness", thickness), at), material)


@known_keywords
def washer(*, radius: float, thickness: float, hole_radius: float, at: float = 0.0, name: str = "washer", material: Any = None) -> Part:
    """A flat disc with a hole.

    Parameters
    ----------
    radius : float
        Outer, metres.
    thickness : float
        Along z, metres.
    hole_radius : float
        In metres, smaller than radius.
    at : float, optional
        Height z of the mid-plane, metres.
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
        For a length that is not positive or above 5 m, or a hole as large as the disc.

    Examples
    --------
    >>> washer(radius=15e-3, thickness=2e-3, hole_radius=5e-3).bounds
    (0.005, 0.015, -0.001, 0.001)
    """
    hole, outer = checks.length("hole_radius", hole_radius, "without a hole use disc"), checks.length("radius", radius)
    checks.check_below(("hole_radius", hole), ("radius", outer))
    return single_zone(name, "washer", rectangle(hole, outer, *height_span("thickness", thickness, at)), material)


@known_keywords
def clad_disc(*, radius: float, layers: Iterable[tuple[float, Any]], thickness: float | None = None,
              at: float = 0.0, name: str = "disc") -> Part:
    """A flat disc of several layers, each of its own metal, bonded.

    Parameters
    ----------
    radius : float
        In metres.
    layers : iterable of (float, Material)
        (thickness in metres, material) of each layer, from below.
    thickness : float, optional
        Of all layers together, metres; if given, the layers must add up to it.
    at : float, optional
        Height z of the mid-plane, metres.
    name : str, optional
        Name of the part.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For a length that is not positive or above 5 m, or layers that do not add up.

    Examples
    --------
    >>> blank = clad_disc(radius=15e-3, layers=[(0.2e-3, None), (1.6e-3, None), (0.2e-3, None)])
    >>> [zone.name for zone in blank.zones]
    ['layer 1', 'layer 2', 'layer 3']
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


@known_keywords
def ring_and_core(*, radius: float, core_radius: float, thickness: float, ring: Any = None, core: Any = None,
                  at: float = 0.0, name: str = "disc") -> Part:
    """A flat disc of one metal in a ring of another, bonded.

    Parameters
    ----------
    radius : float
        Outer, metres.
    core_radius : float
        Of the inner disc, metres, smaller than radius.
    thickness : float
        Along z, metres.
    ring, core : Material, optional
        The two metals; the part carries them and never reads them.
    at : float, optional
        Height z of the mid-plane, metres.
    name : str, optional
        Name of the part.

    Returns
    -------
    Part

    Raises
    ------
    GeometryError
        For a length that is not positive or above 5 m, or a core as large as the disc.

    Examples
    --------
    >>> [zone.name for zone in ring_and_core(radius=15e-3, core_radius=9e-3, thickness=2e-3).zones]
    ['ring', 'core']
    """
    inner, outer = checks.length("core_radius", core_radius, "without a core use washer"), checks.length("radius", radius)
    checks.check_below(("core_radius", inner), ("radius", outer))
    low, high = height_span("thickness", thickness, at)
    zones = (Zone("ring", rectangle(inner, outer, low, high), ring), Zone("core", rectangle(0.0, inner, low, high), core))
    return Part(checks.label(name), "ring_and_core", zones)


@known_keywords
def plate(*, radius: float, thickness: float, at: float = 0.0, name: str = "plate", material: Any = None) -> Part:
    """A round plate, such as stands for a large one when its radius is many times the coil's.

    Parameters
    ----------
    radius : float
        In metres.
    thickness : float
        Along z, metres.
    at : float, optional
        Height z of the mid-plane, metres.
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
        For a length that is not positive or above 5 m.

    Examples
    --------
    >>> plate(radius=0.2, thickness=3e-3, at=-20e-3).name
    'plate'
    """
    return single_zone(name, "plate", solid_outline(radius, ("thickness", thickness), at), material)


def _layers(layers: Iterable[tuple[float, Any]]) -> tuple[list[float], list[Any]]:
    """Heights and materials of the layers."""
    pairs = list(layers) if isinstance(layers, Iterable) else [layers]
    if not pairs:
        raise GeometryError("layers is empty: give at least one (thickness, material)")
    for k, pair in enumerate(pairs, 1):
        if not isinstance(pair, (tuple, list)) or len(pair) != 2:
            raise GeometryError(f"layer {k} = {pair!r} must be (thickness, material), the thickness in metres")
    return [checks.length(f"thickness of layer {k}", pair[0]) for k, pair in enumerate(pairs, 1)], [pair[1] for pair in pairs]
