"""A field on straight triangles that cover a box: pieces of the mesh's own, and rings in the open space beyond it."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.plottable_field import PlottableField
from fieldsolve.report.sampling.outlines import Extent
from fieldsolve.report.sampling.two_sided_field import triangle_lattice, two_sided_field, visible_triangles
from geometries.mesh import Mesh

TRIANGLES, MOST_PARTS = 20_000, 6              # straight triangles wanted in the box, about; parts of an edge, at most
RING_PIECES = 180                         # pieces of a ring
OVERLAP = 1e-4                          # of rings and mesh, so that no gap shows between them


@dataclass(frozen=True, eq=False)
class FieldTriangulation:
    """Straight triangles (m, 3) over places r, z (p,) in metres, with flux in weber and B in tesla there; places on a border come twice."""

    r: np.ndarray
    z: np.ndarray
    triangles: np.ndarray
    flux: np.ndarray
    B_r: np.ndarray
    B_z: np.ndarray


def triangulate_field(field: PlottableField, box: Extent) -> FieldTriangulation:
    """The `field` over a box (r_min, r_max, z_min, z_max) in metres, and some way around it."""
    mesh = field.mesh
    chosen = visible_triangles(mesh, box)
    farthest = max(math.hypot(r, z - mesh.centre) for r in box[:2] for z in box[2:])
    parts = [_triangulate_mesh(field, chosen)] if len(chosen) else []
    if mesh.open_radius and farthest > mesh.open_radius:
        parts.append(_triangulate_exterior(field, farthest))
    return _join(parts)


def _join(parts: list[FieldTriangulation]) -> FieldTriangulation:
    offsets = np.cumsum([0, *(len(part.r) for part in parts[:-1])])
    triangles = np.concatenate([part.triangles + offset for part, offset in zip(parts, offsets, strict=True)])
    r, z, flux, B_r, B_z = (np.concatenate([getattr(part, name) for part in parts]) for name in ("r", "z", "flux", "B_r", "B_z"))
    return FieldTriangulation(r, z, triangles, flux, B_r, B_z)


def _triangulate_mesh(field: PlottableField, chosen: np.ndarray) -> FieldTriangulation:
    parts = min(max(round(math.sqrt(TRIANGLES / len(chosen))), 2), MOST_PARTS)
    weights, pieces = triangle_lattice(parts)
    inner = two_sided_field(field, chosen, weights)
    return FieldTriangulation(
        inner.r, inner.z, inner.places[:, pieces].reshape(-1, 3), 2 * np.pi * inner.r * inner.A_phi, inner.B_r, inner.B_z
    )


def _triangulate_exterior(field: PlottableField, farthest: float) -> FieldTriangulation:
    r, z, triangles = _exterior_rings(field.mesh, farthest)
    return FieldTriangulation(r, z, triangles, field.flux(r, z), *field.flux_density(r, z))


def _exterior_rings(mesh: Mesh, farthest: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places and triangles of half rings from the arc outward, in geometric steps."""
    nearest, last = (1 - OVERLAP) * mesh.open_radius, 1.01 * farthest
    count = math.ceil(math.log(last / nearest) * RING_PIECES / math.pi)
    radius, angle = np.geomspace(nearest, last, count + 1)[:, None], np.linspace(-math.pi / 2, math.pi / 2, RING_PIECES + 1)
    r, z = radius * np.cos(angle), mesh.centre + radius * np.sin(angle)
    r[:, [0, -1]] = 0.0
    number = np.arange(r.size).reshape(r.shape)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    return r.ravel(), z.ravel(), np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)]).reshape(-1, 3)
