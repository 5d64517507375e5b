"""Builders of other bodies: tube, ring, cylinder, sphere, spheroid, shell."""
from __future__ import annotations

from typing import Any

from geometries import checks
from geometries.body_outlines import height_span, single_zone, solid_outline
from geometries.errors import GeometryError
from geometries.keywords import known_keywords
from geometries.outlines import circle, half_ellipse, half_shell, rectangle
from geometries.parts import Part, Zone


@known_keywords
def tube(*, inner_radius: float, wall: float, length: float, at: float = 0.0, name: str = "tube", material: Any = None) -> Part:
    """A hollow cylinder.

    Parameters
    ----------
    inner_radius : float
        In metres.
    wall : float
        Thickness of the wall, metres.
    length : float
        Along z, metres.
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
        For a length that is not positive or above 5 m.

    Examples
    --------
    >>> tube(inner_radius=14e-3, wall=1e-3, length=10e-3).bounds
    (0.014, 0.015, -0.005, 0.005)
    """
    inner, wall = checks.length("inner_radius", inner_radius, "without a bore use cylinder"), checks.length("wall", wall)
    checks.check_overall("the tube's outer radius", inner + wall, "check inner_radius and wall, in metres")
    return single_zone(name, "tube", rectangle(inner, inner + wall, *height_span("length", length, at)), material)


@known_keywords
def ring(*, radius: float, wire_diameter: float, stranded: bool = False, fill: float | None = None,
         at: float = 0.0, name: str = "ring", material: Any = None) -> Part:
    """One turn of round wire, closed upon itself unless it is driven.

    Parameters
    ----------
    radius : float
        From the axis to the wire's centre, metres.
    wire_diameter : float
        In metres, smaller than twice the radius.
    stranded : bool, optional
        True: uniform current density; False: solid metal with skin effect.
    fill : float, optional
        Filling factor, the share of copper in a stranded wire's section, above 0 and at most 1.
    at : float, optional
        Height z of the wire's centre, metres.
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
        For a length that is not positive or above 5 m, or a wire that reaches the axis.

    Examples
    --------
    >>> ring(radius=25e-3, wire_diameter=4e-3).is_coil
    True
    """
    middle, width = checks.length("radius", radius), checks.length("wire_diameter", wire_diameter)
    if width >= 2 * middle:
        raise GeometryError(f"wire_diameter = {checks.millimetres(width)} reaches the axis from radius = {checks.millimetres(middle)}: "
                            f"make the wire thinner than {checks.millimetres(2 * middle)} or the radius larger")
    zone = Zone("turn 1", circle(middle, checks.height("at", at), width / 2), material)
    return Part(checks.label(name), "ring", (zone,), is_coil=True, stranded=bool(stranded), fill=checks.filling_factor(fill, stranded))


@known_keywords
def cylinder(*, radius: float, length: float, at: float = 0.0, name: str = "cylinder", material: Any = None) -> Part:
    """A solid cylinder.

    Parameters
    ----------
    radius : float
        In metres.
    length : float
        Along z, metres.
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
        For a length that is not positive or above 5 m.

    Examples
    --------
    >>> cylinder(radius=10e-3, length=40e-3).bounds
    (0.0, 0.01, -0.02, 0.02)
    """
    return single_zone(name, "cylinder", solid_outline(radius, ("length", length), at), material)


@known_keywords
def sphere(*, radius: float, at: float = 0.0, name: str = "sphere", material: Any = None) -> Part:
    """A solid sphere.

    Parameters
    ----------
    radius : float
        In metres.
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
        For a radius that is not positive or above 5 m.

    Examples
    --------
    >>> sphere(radius=10e-3).shape
    'sphere'
    """
    size = checks.length("radius", radius)
    return single_zone(name, "sphere", half_ellipse(checks.height("at", at), (size, size)), material)


@known_keywords
def spheroid(*, radial: float, axial: float, at: float = 0.0, name: str = "spheroid", material: Any = None) -> Part:
    """A solid ellipsoid of revolution.

    Parameters
    ----------
    radial, axial : float
        Half-axes across and along z, metres.
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
        For a half-axis that is not positive or above 5 m.

    Examples
    --------
    >>> spheroid(radial=10e-3, axial=5e-3).shape
    'spheroid'
    """
    half_axes = checks.length("radial", radial), checks.length("axial", axial)
    return single_zone(name, "spheroid", half_ellipse(checks.height("at", at), half_axes), material)


@known_keywords
def shell(*, inner_radius: float, outer_radius: float, at: float = 0.0, name: str = "shell", material: Any = None) -> Part:
    """A hollow sphere.

    Parameters
    ----------
    inner_radius, outer_radius : float
        In metres.
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
        For a radius that is not positive or above 5 m, or an inner one as large as the outer.

    Examples
    --------
    >>> shell(inner_radius=9e-3, outer_radius=10e-3).shape
    'shell'
    """
    inner, outer = checks.length("inner_radius", inner_radius, "without a hollow use sphere"), checks.length("outer_radius", outer_radius)
    checks.check_below(("inner_radius", inner), ("outer_radius", outer))
    return single_zone(name, "shell", half_shell(checks.height("at", at), (inner, inner), (outer, outer)), material)
