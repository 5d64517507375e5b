"""A solved field on its mesh: u, and what follows from it at any point of space."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldsolve.field import open_space
from fieldsolve.field.cells import sample
from fieldsolve.field.locate import locate
from fieldsolve.field.recovery import recovered
from geometries.errors import InputError
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Solution:
    """u = A_phi / r at the nodes (w on the outer sheet), beside an applied uniform field B_0 along z in tesla."""

    mesh: Mesh
    u: np.ndarray
    applied_field: float = 0.0

    @property
    def total(self) -> np.ndarray:
        """u of the whole field at the nodes of the inner sheet: u + B_0 / 2; shape (n,)."""
        return self.u + 0.5 * self.applied_field

    def flux_density(self, r, z, triangles: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points (r, z) in metres, anywhere in space; arrays of the points' common shape.

        `triangles` says on which side of a border to look.  B_r = -r u_z, B_z = 2u + r u_r.
        """
        r, z, shape = _points(r, z)
        u, u_r, u_z = self.u_and_slopes(r, z, triangles)
        return (-r * u_z).reshape(shape), (2 * u + r * u_r + self.applied_field).reshape(shape)

    def vector_potential(self, r, z) -> np.ndarray:
        """A_phi = r u in Wb/m at points in metres; array of the points' common shape."""
        r, z, shape = _points(r, z)
        return (r * (self.u_and_slopes(r, z)[0] + 0.5 * self.applied_field)).reshape(shape)

    def flux(self, r, z) -> np.ndarray:
        """Flux 2 pi r A_phi in weber through the circles through the points."""
        r, z, shape = _points(r, z)
        return 2 * np.pi * r.reshape(shape) * self.vector_potential(r, z).reshape(shape)

    def u_and_slopes(self, r: np.ndarray, z: np.ndarray, triangles: np.ndarray | None = None) -> tuple[np.ndarray, ...]:
        """u, u_r and u_z of the solved part (without the applied field) at points (q,)."""
        mesh, result = self.mesh, np.zeros((3, len(r)), dtype=self.u.dtype)
        beyond = np.zeros(len(r), dtype=bool)
        if mesh.open_radius and triangles is None:
            beyond = np.hypot(r, z - mesh.centre) > mesh.open_radius
        if (~beyond).any():
            result[:, ~beyond] = self._on_sheet(r[~beyond], z[~beyond], False, triangles)
        if beyond.any():
            far = r[beyond], z[beyond]
            result[:, beyond] = open_space.from_image(mesh, *far, *self._on_sheet(*open_space.image(mesh, *far), True))
        return tuple(result)

    def _on_sheet(self, r: np.ndarray, z: np.ndarray, outer: bool, triangles: np.ndarray | None = None) -> np.ndarray:
        triangle, place = locate(self.mesh, r, z, outer, triangles)
        if outer is False and triangles is None and (triangle < 0).any():      # between chord and arc
            r, z = r.copy(), z.copy()
            lost = triangle < 0
            triangle[lost], place[lost] = locate(self.mesh, *open_space.image(self.mesh, r[lost], z[lost]), True)
        if (triangle < 0).any():
            k = int(np.flatnonzero(triangle < 0)[0])
            raise InputError(f"the point r = {r[k]:g} m, z = {z[k]:g} m is outside the domain")
        return recovered(self.mesh, self.u, triangle, place, r, z)


def raw(mesh: Mesh, u: np.ndarray, triangle: np.ndarray, place: np.ndarray) -> np.ndarray:
    """u, u_r, u_z of the finite-element field itself; shape (3, q)."""
    return np.stack(sample(mesh, triangle, place[:, None]).of(u))[..., 0]


def _points(r, z) -> tuple[np.ndarray, np.ndarray, tuple[int, ...]]:
    r, z = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
    if not (np.isfinite(r).all() and np.isfinite(z).all()):
        raise InputError("points must be finite numbers in metres")
    if (r < 0).any():
        raise InputError(f"r = {r.min():g} m: the radius of a point must not be negative; the field is the same all round")
    return r.ravel(), z.ravel(), r.shape
