"""Series of a moving body's shape that are read off its stored positions: the waist of a tube, the crown of a flat body."""
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.shot.history import History
from fieldsolve.shot.instant import StoredInstant
from geometries.cross_section import CrossSection
from geometries.mesh import Mesh
from geometries.parts import Part

SAME_FACE = 1e-6            # of a part's extent: nodes within it of a face at the start are on the face
FEWEST_NODES = 3            # on a face
FIRST_CHANGE = 1e-6         # of a tube's radius: before its radius has changed so much anywhere, the waist stands where it first appears
TUBE_HAS_NOT = ("axis_thickness", "mid_radius_thickness", "rim_thickness")


@dataclass(frozen=True, eq=False)
class _Face:
    """Nodes of one face of a part, in the order of a coordinate at the start.

    start       (n,) that coordinate, m
    positions   (k, n, 2) r and z at each instant, m
    """

    start: np.ndarray
    positions: np.ndarray

    def at(self, place: np.ndarray, axis: int) -> np.ndarray:
        """r (axis 0) or z (axis 1) at each instant of the material that stood at some places of the face at the start; (k, places)."""
        return np.array([np.interp(place, self.start, values) for values in self.positions[:, :, axis]])


def with_shape_series(history: History, section: CrossSection, instants: Sequence[StoredInstant]) -> History:
    """A history with the waists and crowns of the bodies that moved; of a tube without the thicknesses of a disc, which it has not.

    waist_inner_radius, waist_outer_radius, waist_thickness, waist_height   of a tube, where its inner radius has changed most
    crown_height, crown_radius, crown_speed                                 of a flat body, where its middle stands out most over its rim
    """
    values = dict(history.values)
    for part in section.parts:
        if part.is_coil or ("outer_radius", part.name) not in values:
            continue
        found = _waist(part, instants) if is_tube(part) else _crown(part, instants, history.times)
        values |= {(quantity, part.name): series for quantity, series in found.items()}
        if found and is_tube(part):
            values = {key: series for key, series in values.items() if key not in [(name, part.name) for name in TUBE_HAS_NOT]}
    return replace(history, values=values)


def is_tube(part: Part) -> bool:
    """Whether a part is hollow and taller than its wall is thick."""
    r_min, r_max, z_min, z_max = part.bounds
    return r_min > 0 and z_max - z_min > r_max - r_min


def _waist(part: Part, instants: Sequence[StoredInstant]) -> dict[str, np.ndarray]:
    """Radii, wall and height of a tube where its inner radius has changed most; nothing for a wall that is no rectangle."""
    r_min, r_max, *_ = part.bounds
    inner, outer = (face_of(part, instants, 0, radius) for radius in (r_min, r_max))
    if inner is None or outer is None:
        return {}
    radius, height = inner.at(inner.start, 0), inner.at(inner.start, 1)
    place = _most_changed(np.abs(radius - radius[0]), FIRST_CHANGE * r_min)
    rows = np.arange(len(instants))
    waist, outside = radius[rows, place], outer.at(inner.start, 0)[rows, place]
    return {"waist_inner_radius": waist, "waist_outer_radius": outside, "waist_thickness": outside - waist,
            "waist_height": height[rows, place]}


def _crown(part: Part, instants: Sequence[StoredInstant], times: np.ndarray) -> dict[str, np.ndarray]:
    """Height over the rim, radius and speed along z of a flat body's middle where it stands out most; nothing for one without two faces."""
    *_, z_min, z_max = part.bounds
    faces = [face_of(part, instants, 1, height) for height in (z_min, z_max)]
    if None in faces:
        return {}
    places = faces[0].start
    radius, middle = (np.mean([face.at(places, axis) for face in faces], axis=0) for axis in (0, 1))
    height = middle - middle[:, -1:]
    rows, place = np.arange(len(instants)), np.abs(height).argmax(axis=1)
    speed = np.gradient(middle, times, axis=0) if len(times) > 1 else np.zeros_like(middle)
    return {"crown_height": height[rows, place], "crown_radius": radius[rows, place], "crown_speed": speed[rows, place]}


def _most_changed(change: np.ndarray, least: float) -> np.ndarray:
    """Column of the largest change (k, n) in each row; before any exceeds `least` the column of the first that does."""
    place, largest = change.argmax(axis=1), change.max(axis=1)
    first = int((largest > least).argmax()) if (largest > least).any() else int(largest.argmax())
    place[:first] = place[first]
    return place


def face_of(part: Part, instants: Sequence[StoredInstant], axis: int, value: float) -> _Face | None:
    """The face of a part at r (axis 0) or z (axis 1) of `value` in m at the start; None where too few nodes stand there."""
    mesh = instants[0].mesh
    nodes = _face_nodes(mesh, part, axis, value)
    if len(nodes) < FEWEST_NODES:
        return None
    start = mesh.nodes[nodes, 1 - axis]
    nodes = nodes[start.argsort()]
    return _Face(np.sort(start), np.array([instant.mesh.nodes[nodes] for instant in instants]))


def _face_nodes(mesh: Mesh, part: Part, axis: int, value: float) -> np.ndarray:
    r_min, r_max, z_min, z_max = part.bounds
    nodes = np.unique(mesh.triangles[mesh.part_triangles(part.name)])
    return nodes[np.abs(mesh.nodes[nodes, axis] - value) < SAME_FACE * max(r_max - r_min, z_max - z_min)]
