"""Closed outlines in the half plane (r, z), made of straight edges and elliptical arcs."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

Point = tuple[float, float]
SMOOTH = math.cos(1e-2)     # of the angle between two edges: from there on they meet in a corner


def reached_on_ellipse(points: np.ndarray, centre: np.ndarray, semi_axes: np.ndarray) -> np.ndarray:
    """Where the rays from centres through points (n, 2) meet ellipses with these semi-axes along r and z; (n, 2)."""
    unit = (points - centre) / semi_axes
    return centre + unit / np.linalg.norm(unit, axis=1, keepdims=True) * semi_axes


@dataclass(frozen=True)
class Line:
    """Straight edge from `start` to `end`, each (r, z) in metres."""

    start: Point
    end: Point

    def points(self, parameter: np.ndarray) -> np.ndarray:
        """Points at `parameter` in [0, 1]; shape (n, 2)."""
        start, end = np.array(self.start), np.array(self.end)
        return start + np.asarray(parameter)[:, None] * (end - start)

    def moved(self, dz: float) -> Line:
        """The same edge, `dz` metres higher."""
        return Line((self.start[0], self.start[1] + dz), (self.end[0], self.end[1] + dz))


@dataclass(frozen=True)
class Arc:
    """Elliptical arc `centre + (a cos t, b sin t)`, t from `start_angle` to `end_angle` in radian.

    `semi_axes` is (a, b) in metres; a circle has a = b.  Counter-clockwise when the angle grows.
    """

    centre: Point
    semi_axes: tuple[float, float]
    start_angle: float
    end_angle: float

    @property
    def start(self) -> Point:
        """First point (r, z)."""
        return tuple(map(float, self.points(np.array([0.0]))[0]))

    @property
    def end(self) -> Point:
        """Last point (r, z)."""
        return tuple(map(float, self.points(np.array([1.0]))[0]))

    def points(self, parameter: np.ndarray) -> np.ndarray:
        """Points at `parameter` in [0, 1] of the angle; shape (n, 2)."""
        angle = self.start_angle + np.asarray(parameter) * (self.end_angle - self.start_angle)
        (r, z), (a, b) = self.centre, self.semi_axes
        points = np.column_stack([r + a * np.cos(angle), z + b * np.sin(angle)])
        points[np.abs(points[:, 0]) < 1e-14 * a, 0] = 0.0        # ends on the axis lie exactly on it
        return points

    def reached_from(self, points: np.ndarray) -> np.ndarray:
        """Where the rays from the centre through points (n, 2) meet the circle or ellipse; of a chord's middle the arc's; (n, 2)."""
        return reached_on_ellipse(points, self.centre, self.semi_axes)

    def moved(self, dz: float) -> Arc:
        """The same arc, `dz` metres higher."""
        return replace(self, centre=(self.centre[0], self.centre[1] + dz))


@dataclass(frozen=True, repr=False)
class Outline:
    """Closed outline; its edges follow one another counter-clockwise."""

    edges: tuple[Line | Arc, ...]

    def __repr__(self) -> str:
        r_min, r_max, z_min, z_max = self.bounds
        return f"Outline({len(self.edges)} edges, r from {r_min:.4g} to {r_max:.4g} m, z from {z_min:.4g} to {z_max:.4g} m)"

    @property
    def corners(self) -> np.ndarray:
        """Points off the axis where the outline has a sharp corner; shape (n, 2)."""
        near, found = np.array([0.0, 1e-6, 1 - 1e-6, 1.0]), []
        for edge, after in zip(self.edges, (*self.edges[1:], self.edges[0]), strict=True):
            ways = np.diff(edge.points(near), axis=0)[-1], np.diff(after.points(near), axis=0)[0]
            one, other = (way / np.hypot(*way) for way in ways)
            if one @ other < SMOOTH and edge.end[0] > 0:
                found.append(edge.end)
        return np.array(found).reshape(-1, 2)

    def polygon(self, arc_sides: int = 64) -> np.ndarray:
        """Corners of the outline with each full turn of arc cut into `arc_sides` chords; shape (n, 2)."""
        pieces = []
        for edge in self.edges:
            turn = abs(edge.end_angle - edge.start_angle) / (2 * math.pi) if isinstance(edge, Arc) else 0.0
            sides = max(1, math.ceil(arc_sides * turn))
            pieces.append(edge.points(np.arange(sides) / sides))
        return np.concatenate(pieces)

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest and largest r, smallest and largest z, in metres."""
        corners = self.polygon(256)
        (r_min, z_min), (r_max, z_max) = corners.min(axis=0), corners.max(axis=0)
        return float(r_min), float(r_max), float(z_min), float(z_max)

    @cached_property
    def area(self) -> float:
        """Area in square metres (Green's theorem, exact for lines and arcs)."""
        return sum(_swept_area(edge) for edge in self.edges)

    @property
    def is_rectangle(self) -> bool:
        """Whether it is a rectangle with edges along r and z."""
        return len(self.edges) == 4 and all(isinstance(e, Line) and (e.start[0] == e.end[0] or e.start[1] == e.end[1]) for e in self.edges)

    def moved(self, dz: float) -> Outline:
        """The same outline, `dz` metres higher."""
        return Outline(tuple(edge.moved(dz) for edge in self.edges))


def _swept_area(edge: Line | Arc) -> float:
    """Integral of r dz along the edge."""
    if isinstance(edge, Line):
        return 0.5 * (edge.start[0] + edge.end[0]) * (edge.end[1] - edge.start[1])
    r, (a, b), t = edge.centre[0], edge.semi_axes, np.array([edge.start_angle, edge.end_angle])
    return float(np.diff(r * b * np.sin(t) + a * b * (t / 2 + np.sin(2 * t) / 4))[0])


def polyline(points: list[Point]) -> Outline:
    """Outline with straight edges through `points`, counter-clockwise."""
    return Outline(tuple(Line(p, q) for p, q in zip(points, points[1:] + points[:1], strict=True)))


def rectangle(r_min: float, r_max: float, z_min: float, z_max: float) -> Outline:
    """Rectangle with edges along r and z."""
    return polyline([(r_min, z_min), (r_max, z_min), (r_max, z_max), (r_min, z_max)])


def circle(r: float, z: float, radius: float) -> Outline:
    """Full circle about (r, z), in four quarters that begin at its innermost point."""
    quarters = [math.pi * (1 + k / 2) for k in range(5)]
    return Outline(tuple(Arc((r, z), (radius, radius), a, b) for a, b in pairwise(quarters)))


def half_ellipse(z: float, semi_axes: tuple[float, float]) -> Outline:
    """Half of an ellipse centred on the axis at height z, closed along the axis."""
    arcs = _right_half(z, semi_axes)
    return Outline((*arcs, Line(arcs[-1].end, arcs[0].start)))


def half_shell(z: float, inner: tuple[float, float], outer: tuple[float, float]) -> Outline:
    """Half of the shell between two ellipses centred on the axis at height z."""
    far, near = _right_half(z, outer), _right_half(z, inner)
    back = tuple(replace(a, start_angle=a.end_angle, end_angle=a.start_angle) for a in reversed(near))
    return Outline((*far, Line(far[-1].end, back[0].start), *back, Line(back[-1].end, far[0].start)))


def _right_half(z: float, semi_axes: tuple[float, float]) -> tuple[Arc, Arc]:
    half = math.pi / 2
    return Arc((0.0, z), semi_axes, -half, 0.0), Arc((0.0, z), semi_axes, 0.0, half)
