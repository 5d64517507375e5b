"""Bodies of one zone, and the rectangles that most of them are."""
from __future__ import annotations

from typing import Any

from geometries import checks
from geometries.outlines import Outline, rectangle
from geometries.parts import Part, Zone


def single_zone(name: str, shape: str, outline: Outline, material: Any) -> Part:
    """A part of one zone, which is called after the shape."""
    return Part(checks.label(name), shape, (Zone(shape, outline, material),))


def solid_outline(radius: float, height: tuple[str, float], at: float) -> Outline:
    """Rectangle from the axis to `radius`."""
    return rectangle(0.0, checks.length("radius", radius), *height_span(*height, at))


def height_span(name: str, height: float, at: float) -> tuple[float, float]:
    """Lowest and highest z of something `height` tall about `at`."""
    half, z = checks.length(name, height) / 2, checks.height("at", at)
    return z - half, z + half
