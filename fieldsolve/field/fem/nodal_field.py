"""A solved field on its mesh: u at the nodes, and the field that follows at any point of space."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fieldsolve.field.fem import kelvin_transform
from fieldsolve.field.fem.gradient_recovery import interpolated_values, recovered_values
from fieldsolve.field.fem.point_location import locate
from geometries.errors import InputError
from geometries.mesh import EXTERIOR, Mesh

DIFFERENCE_FACTOR = 3.0     # error bound of B at a point over the largest difference between two meshes around it


@dataclass(frozen=True, eq=False, repr=False)
class NodalField:
    """u = A_phi / r at the nodes (in the exterior domain its Kelvin transform w), beside an applied uniform field B_0 along z.

    mesh           where u is known
    u              (n,) in tesla, real or complex
    applied_field  B_0 in tesla
    """

    mesh: Mesh
    u: np.ndarray
    applied_field: float = 0.0

    def __repr__(self) -> str:
        return f"NodalField({len(self.u)} {self.u.dtype} values, applied field {self.applied_field:g} T)"

    @property
    def total(self) -> np.ndarray:
        """u of the field and the applied one together at the nodes of the inner domain: u + B_0 / 2; shape (n,)."""
        return self.u + 0.5 * self.applied_field

    def flux_density(self, r, z, regions: tuple[int, ...] | None = None) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z in tesla at points (r, z) in metres, anywhere in space; arrays of the points' common shape.

        `regions` of the mesh say on which side of a border to look.  B_r = -r u_z, B_z = 2u + r u_r.
        """
        r, z, shape = _points(r, z)
        u, u_r, u_z = self.u_and_gradient(r, z, regions)
        return (0.0 - r * u_z).reshape(shape), (2 * u + r * u_r + self.applied_field).reshape(shape)

    def flux_density_in(self, triangle: np.ndarray, place: np.ndarray, r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """B_r and B_z at points of the inner domain whose triangles and barycentric places are known; each (q,)."""
        u, u_r, u_z = recovered_values(self.mesh, self.u, triangle, place, r, z)
        return -r * u_z, 2 * u + r * u_r + self.applied_field

    def vector_potential(self, r, z) -> np.ndarray:
        """A_phi = r u in Wb/m at points in metres; array of the points' common shape."""
        r, z, shape = _points(r, z)
        return (r * (self.u_and_gradient(r, z, read=interpolated_values)[0] + 0.5 * self.applied_field)).reshape(shape)

    def flux(self, r, z) -> np.ndarray:
        """Flux 2 pi r A_phi in weber through the circles through the points."""
        r, z, shape = _points(r, z)
        return 2 * np.pi * r.reshape(shape) * self.vector_potential(r, z).reshape(shape)

    def u_and_gradient(self, r: np.ndarray, z: np.ndarray, regions: tuple[int, ...] | None = None,
                       read: Callable[..., np.ndarray] = recovered_values) -> tuple[np.ndarray, ...]:
        """u, u_r and u_z of the solved part (without the applied field) at points (q,)."""
        mesh, result = self.mesh, np.zeros((3, len(r)), dtype=self.u.dtype)
        outside = np.zeros(len(r), dtype=bool)
        if mesh.open_radius and regions is None:
            outside = np.hypot(r, z - mesh.centre) > mesh.open_radius
        if (~outside).any():
            result[:, ~outside] = self._in_domain(r[~outside], z[~outside], regions, read)
        if outside.any():
            far = r[outside], z[outside]
            image = kelvin_transform.image(mesh, *far)
            result[:, outside] = kelvin_transform.from_image(mesh, *far, *self._in_domain(*image, (EXTERIOR,), read))
        return tuple(result)

    def _in_domain(self, r: np.ndarray, z: np.ndarray, regions: tuple[int, ...] | None, read: Callable[..., np.ndarray]) -> np.ndarray:
        triangle, place = locate(self.mesh, r, z, regions)
        for wider in (regions, None):                          # between an arc and the parabolas that stand in for it on this mesh
            beside = (triangle < 0) & (self._is_at_arc(r, z) | (regions is not None and EXTERIOR not in regions))
            if beside.any():
                triangle[beside], place[beside] = locate(self.mesh, r[beside], z[beside], wider, slack=0.01)
        if (triangle < 0).any():
            k = int(np.flatnonzero(triangle < 0)[0])
            raise InputError(f"the point r = {r[k]:g} m, z = {z[k]:g} m is outside the domain")
        return read(self.mesh, self.u, triangle, place, r, z)

    def _is_at_arc(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        radius = self.mesh.open_radius
        return np.abs(np.hypot(r, z - self.mesh.centre) - radius) < 1e-3 * radius if radius else np.zeros(len(r), dtype=bool)


def difference_around(coarse: NodalField, fine: NodalField, r, z) -> np.ndarray:
    """Error bound of B at points from the difference between two solutions, in tesla; array of the points' common shape.

    It is DIFFERENCE_FACTOR times the largest length of the difference at the point and at six places in the same region, half a
    cell of the coarse mesh away: at the point itself the two may agree by chance.
    """
    r, z, shape = _points(r, z)
    mesh, angles = coarse.mesh, np.arange(6)[:, None] * np.pi / 3
    triangle = locate(mesh, r, z)[0]
    reach = np.where(triangle >= 0, 0.5 * mesh.cell_size[triangle], 0.0)
    places = np.stack([np.abs(r + reach * np.cos(angles)), z + reach * np.sin(angles)])                 # (2, 6, q)
    beside = locate(mesh, *places.reshape(2, -1))[0].reshape(places.shape[1:])
    same = (beside >= 0) & (mesh.region[beside] == mesh.region[triangle])
    places = np.concatenate([np.stack([r, z])[:, None], np.where(same, places, np.stack([r, z])[:, None])], axis=1)
    B_coarse, B_fine = (np.stack(solution.flux_density(*places)) for solution in (coarse, fine))
    return DIFFERENCE_FACTOR * np.linalg.norm(B_fine - B_coarse, axis=0).max(axis=0).reshape(shape)


def _points(r, z) -> tuple[np.ndarray, np.ndarray, tuple[int, ...]]:
    r, z = np.broadcast_arrays(np.asarray(r, dtype=float), np.asarray(z, dtype=float))
    if not (np.isfinite(r).all() and np.isfinite(z).all()):
        raise InputError("points must be finite numbers in metres")
    if (r < 0).any():
        raise InputError(f"r = {r.min():g} m: the radius of a point must not be negative; the field is the same all round")
    return r.ravel(), z.ravel(), r.shape
