"""A field on the triangles of the inner domain, with places on a border once for each side, since B may jump there."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldsolve.field.fem.quadrature import QuadraturePoints, sample
from fieldsolve.field.plottable_field import PlottableCurrents, PlottableField
from geometries.mesh import EXTERIOR, Mesh

if TYPE_CHECKING:
    from geometries.cross_section import Section

NODE_WEIGHTS = np.array([[2, 0, 0], [0, 2, 0], [0, 0, 2], [1, 1, 0], [0, 1, 1], [1, 0, 1]])       # corners, middles of edges 0-1, 1-2, 0-2
INWARD_SHARE = 1e-4           # share of the way from a place to the triangle's centroid where B is read, so that the side is certain


@dataclass(frozen=True, eq=False)
class TwoSidedField:
    """Places in the inner domain's triangles and the field there.

    r, z (p,)           each place and side, metres
    places (m, q)       numbers of these in each triangle, in the order of the weights
    region (m,)         region number of each triangle, as in the mesh
    A_phi (p,)          Wb/m
    B_r, B_z (p,)       tesla, averaged over the triangles of one side around a place
    """

    r: np.ndarray
    z: np.ndarray
    places: np.ndarray
    region: np.ndarray
    A_phi: np.ndarray
    B_r: np.ndarray
    B_z: np.ndarray


@dataclass(frozen=True, eq=False)
class TwoSidedDensity:
    """Places r, z (p,) in metres in the inner domain's triangles, their numbers (m, q) in each, and J_phi (p,) in A/m^2 there."""

    r: np.ndarray
    z: np.ndarray
    places: np.ndarray
    J_phi: np.ndarray


def two_sided_field(field: PlottableField, triangles: np.ndarray, weights: np.ndarray = NODE_WEIGHTS) -> TwoSidedField:
    """The `field` at places in some `triangles` of the inner domain; the integer `weights` (q, 3) of the corners give the places."""
    mesh, solution = field.mesh, field.solution
    numbers, first, at_places, shifted_inward = _sample_places(field, triangles, weights)
    r, z, u = (values.ravel()[first] for values in (at_places.r, at_places.z, at_places.interpolate(solution.u)[0]))
    owner, place = np.repeat(triangles, len(weights)), np.tile(_shift_inward(weights), (len(triangles), 1))
    B = solution.flux_density_in(owner, place, shifted_inward.r.ravel(), shifted_inward.z.ravel())
    B_r, B_z = (_side_average(values.reshape(numbers.shape), numbers, len(first)) for values in B)
    return TwoSidedField(r=r, z=z, places=numbers, region=mesh.region[triangles], A_phi=r * (u + 0.5 * solution.applied_field),
                         B_r=B_r, B_z=B_z)


def two_sided_current_density(field: PlottableCurrents, triangles: np.ndarray, weights: np.ndarray = NODE_WEIGHTS) -> TwoSidedDensity:
    """J of a `field` at the places, with the numbers, that `two_sided_field` gives them."""
    numbers, first, at_places, shifted_inward = _sample_places(field, triangles, weights)
    J_phi = field.current_density(shifted_inward.r.ravel()[first], shifted_inward.z.ravel()[first])
    return TwoSidedDensity(at_places.r.ravel()[first], at_places.z.ravel()[first], numbers, J_phi)


def triangle_lattice(parts: int) -> tuple[np.ndarray, np.ndarray]:
    """Corner weights (q, 3) of the places in a triangle whose edges are cut in `parts`, and the pieces between them (parts^2, 3)."""
    steps = [(i, j) for i in range(parts + 1) for j in range(parts + 1 - i)]
    number = {step: k for k, step in enumerate(steps)}
    upright = [[(i, j), (i + 1, j), (i, j + 1)] for i, j in steps if i + j < parts]
    inverted = [[(i + 1, j), (i + 1, j + 1), (i, j + 1)] for i, j in steps if i + j < parts - 1]
    return np.array([(parts - i - j, i, j) for i, j in steps]), np.array([[number[step] for step in piece] for piece in upright + inverted])


def visible_triangles(mesh: Mesh, box: tuple[float, float, float, float] | None = None) -> np.ndarray:
    """Numbers of the inner domain's triangles that reach into a box (r_min, r_max, z_min, z_max) in metres; all for None."""
    inner = mesh.region != EXTERIOR
    if box is not None:
        low, high = mesh.corners.min(axis=1), mesh.corners.max(axis=1)
        inner &= (high[:, 0] >= box[0]) & (low[:, 0] <= box[1]) & (high[:, 1] >= box[2]) & (low[:, 1] <= box[3])
    return np.flatnonzero(inner)


def _sample_places(field: PlottableField | PlottableCurrents, triangles: np.ndarray,
                   weights: np.ndarray) -> tuple[np.ndarray, np.ndarray, QuadraturePoints, QuadraturePoints]:
    """Numbers of the places, where each first stands, and samplings at the places and a little inward of them."""
    mesh = field.mesh
    numbers, first = _number_places(mesh.triangles[triangles, :3], _sides(field.section, mesh)[triangles], weights)
    at_places, shifted_inward = (sample(mesh, triangles, places) for places in (weights / weights[0].sum(), _shift_inward(weights)))
    return numbers, first, at_places, shifted_inward


def _shift_inward(weights: np.ndarray) -> np.ndarray:
    """Barycentric coordinates (q, 3) of the places, a little inward."""
    return (1 - INWARD_SHARE) * weights / weights[0].sum() + INWARD_SHARE / 3


def _sides(section: Section, mesh: Mesh) -> np.ndarray:
    """Number of the side each triangle is on: its region, parted at current sheets; shape (m,)."""
    side = mesh.region.astype(int)
    centroid_r = mesh.corners[:, :, 0].mean(axis=1)
    for radius in sorted({part.sheet.radius for part in section.parts if part.sheet}):
        side = 2 * side + (centroid_r < radius)
    return side


def _number_places(corners: np.ndarray, side: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Numbers (m, q) of the places, the same for one place on one side, and where each number first stands in them.

    A place is identified by the corners that have a weight in it, and these weights.
    """
    keys = np.where(weights > 0, corners[:, None, :] * (weights[0].sum() + 1) + weights, -1)
    keys = np.concatenate([np.sort(keys, axis=2), np.broadcast_to(side[:, None, None], (*keys.shape[:2], 1))], axis=2)
    _, first, numbers = np.unique(keys.reshape(-1, 4), axis=0, return_index=True, return_inverse=True)
    return numbers.reshape(keys.shape[:2]), first


def _side_average(values: np.ndarray, numbers: np.ndarray, count: int) -> np.ndarray:
    """Mean over the triangles that share a place; values and numbers (m, q)."""
    total = np.zeros(count, dtype=values.dtype)
    np.add.at(total, numbers, values)
    return total / np.bincount(numbers.ravel(), minlength=count)
