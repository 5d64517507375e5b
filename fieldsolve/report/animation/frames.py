"""What a movie of a shot shows at one time: the metal where it is, and one quantity over the section."""
from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.errors import InputError, suggestion
from fieldsolve.report.display_units import KILO, PER_MM2
from geometries.mesh import AIR, Mesh

if TYPE_CHECKING:
    from fieldsolve.field.transient.field import ShotField
    from fieldsolve.shot.result.shot import Shot

CORNERS = 3             # nodes of a triangle at its corners; those of its edges follow
SPLIT = np.array([[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]])      # a triangle of six nodes as four of three


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture of the movie.

    time       s
    mesh       where the metal stands
    triangles  (m, 3) nodes of the mesh
    values     (m,) one a triangle, in the quantity's unit
    flux       (nodes,) Wb for flux lines; None where none are drawn
    """

    time: float
    mesh: Mesh
    triangles: np.ndarray
    values: np.ndarray
    flux: np.ndarray | None = None

    def __repr__(self) -> str:
        return f"Frame({self.time:.6g} s, {len(self.triangles)} triangles)"


def movie_times(shot: Shot, count: int) -> np.ndarray:
    """Evenly spaced times in s from the start of a shot to its end."""
    if not (isinstance(count, int) and 2 <= count <= 1000):
        raise InputError(f"frames = {count!r}: give a whole number from 2 to 1000")
    return np.linspace(0.0, float(shot.times[-1]), count)


def movie_frames(shot: Shot, quantity: str, times: np.ndarray) -> Iterator[Frame]:
    """A frame at each time in s; between stored instants the field is interpolated as `shot.field_at` does."""
    for time in times:
        yield frame_at(shot, quantity, float(time))


def frame_at(shot: Shot, quantity: str, time: float) -> Frame:
    """The frame at a time in s.  Raises InputError for a quantity that is not among QUANTITIES."""
    if quantity not in QUANTITIES:
        raise InputError(f"quantity = {quantity!r}: {suggestion(quantity, QUANTITIES)}")
    return QUANTITIES[quantity].frame(shot, time)


def _field(shot: Shot, time: float) -> Frame:
    """|B| in T of each small triangle between nodes, over flux lines; of a u that is linear in each, B_r = -r u_z, B_z = 2 u + r u_r."""
    field = shot.field_at(time)
    small, u = _inner(field), field.solution.total
    corners, values = field.mesh.nodes[small], u[small]
    r = corners[:, :, 0].mean(axis=1)
    slopes = np.linalg.solve(corners[:, 1:] - corners[:, :1], (values[:, 1:] - values[:, :1])[:, :, None])[:, :, 0]
    B = np.hypot(r * slopes[:, 1], 2 * values.mean(axis=1) + r * slopes[:, 0])
    return Frame(time, field.mesh, small, B, 2 * np.pi * field.mesh.nodes[:, 0] ** 2 * u)


def _inner(field: ShotField) -> np.ndarray:
    """Triangles (m, 3) between nodes, without those beyond the arc of open space."""
    mesh = field.mesh
    return mesh.triangles[mesh.region >= AIR][:, SPLIT].reshape(-1, CORNERS)


def _current(shot: Shot, time: float) -> Frame:
    """|J| in kA/mm^2 in the middle of each triangle of metal."""
    field = shot.field_at(time)
    metal = np.flatnonzero(field.mesh.region > AIR)
    density = field.current_density(*field.mesh.corners[metal].mean(axis=1).T)
    return Frame(time, field.mesh, field.mesh.triangles[metal][:, :CORNERS], KILO * PER_MM2 * np.abs(density))


def _temperature(shot: Shot, time: float) -> Frame:
    """Mean temperature in K of each triangle of metal at the stored instant that is nearest."""
    metal = shot.metal_at(time)
    return Frame(metal.time, metal.mesh, metal.mesh.triangles[metal.triangles][:, :CORNERS], metal.temperature)


@dataclass(frozen=True)
class MovieQuantity:
    """What can be shown: how a frame is made, the scale's label, its least value, and the hue from light to dark."""

    frame: Callable[[Shot, float], Frame]
    label: str
    lowest: float
    hues: tuple[str, str]


QUANTITIES = {
    "field": MovieQuantity(_field, "|B| [T]", 0.0, ("#f5f8fb", "#2e69a3")),
    "current": MovieQuantity(_current, "|J| [kA/mm²]", 0.0, ("#fdf8f0", "#8a4b08")),
    "temperature": MovieQuantity(_temperature, "temperature [K]", 293.15, ("#fdf3f0", "#8f2214")),
}
