"""Metal with a B-H curve on a mesh: H, energy and matrices at a field, and the share of its magnetization that heat has left.

With b the direction of B, H(B) gives the field b H, its secant `nu = H/B` and its tangent `dH_i/dB_j = nu d_ij + (dH/dB - nu) b_i b_j`.
Of metal that has kept a share s of its magnetization, nu_0 B - H is s times what it is at 293.15 K at the same B:
`H = s H(B) + (1 - s) nu_0 B`, and so for the energy.  With s falling to 0 at the Curie temperature the metal becomes as air.
"""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.quadrature import QuadraturePoints, gauss_points
from fieldsolve.field.fem.reference_triangle import kept_entries
from fieldsolve.field.system import coefficients
from fieldsolve.materials.bh_curve import BHCurve, chord_reluctivity, coenergy_density
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class BHCurveZone:
    """Triangles of one curve, and quadrature points in them.

    part   name of the part;  magnetization_fraction  (m, 1) share of the magnetization at 293.15 K that each triangle has kept; None: all
    """

    curve: BHCurve
    points: QuadraturePoints
    part: str = ""
    magnetization_fraction: np.ndarray | None = None

    def flux_density(self, total: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Length and direction of B of a total field's nodal u at the points: (m, q) and (m, q, 2)."""
        m, q = self.points.r.shape
        B = (self.points.curl.reshape(m, 2 * q, -1) @ total[self.points.mesh.triangles[self.points.triangles]][..., None]).reshape(m, q, 2)
        length = np.hypot(B[..., 0], B[..., 1])
        return length, B / np.where(length > 0, length, 1.0)[..., None]

    def matrices(self, total: np.ndarray, tangent: bool) -> np.ndarray:
        """Local matrices with the secant or the tangent reluctivity at a field; (m, kept entries)."""
        length, direction = self.flux_density(total)
        nu = self._blend(chord_reluctivity(self.curve, length), NU_0)
        local = self._times_curl(self.points.curl * (nu * self.points.r_dA)[..., None, None])
        if tangent:
            along = (direction[..., None, :] @ self.points.curl)[..., 0, :]                      # b . curl(v), (m, q, nodes)
            steeper = (self._blend(self.curve.differential_reluctivity(length), NU_0) - nu) * self.points.r_dA
            local += along.swapaxes(1, 2) @ (steeper[..., None] * along)
        kept = kept_entries(self.points.mesh.order)
        return local[:, kept.rows, kept.columns]

    def forces(self, total: np.ndarray, applied_field: float) -> np.ndarray:
        """Integral of r [H . curl(v) - nu_0 B_0 curl_z(v)]; (m, nodes)."""
        length, direction = self.flux_density(total)
        H = direction * self.field_strength(length)[..., None]
        H[..., 1] -= NU_0 * applied_field
        return self._times_curl((self.points.r_dA[..., None] * H)[..., None])[..., 0]

    def bh_curve_load(self, total: np.ndarray) -> np.ndarray:
        """Integral of r (nu_0 B - H) . curl(v): the load of this metal in place of vacuum; (m, nodes)."""
        length, direction = self.flux_density(total)
        strength = (NU_0 * length - self.field_strength(length)) * self.points.r_dA
        return self._times_curl((strength[..., None] * direction)[..., None])[..., 0]

    def field_strength(self, B: np.ndarray) -> np.ndarray:
        """H in A/m at lengths of B in tesla, (m, q)."""
        return self._blend(self.curve.field_strength(B), NU_0 * B)

    def mean_reluctivity(self, total: np.ndarray) -> np.ndarray:
        """Mean secant reluctivity of each triangle at a field, m/H; (m,)."""
        nu = self._blend(chord_reluctivity(self.curve, self.flux_density(total)[0]), NU_0)
        return (nu * self.points.r_dA).sum(axis=1) / self.points.r_dA.sum(axis=1)

    def energy(self, total: np.ndarray) -> np.ndarray:
        """2 pi integral of r times the integral of H dB of each triangle in joule; (m,)."""
        return 2 * math.pi * (self.energy_density(self.flux_density(total)[0]) * self.points.r_dA).sum(axis=1)

    def energy_density(self, B: np.ndarray) -> np.ndarray:
        """Integral of H dB in J/m^3 at lengths of B in tesla, (m, q)."""
        return self._blend(self.curve.energy_density(B), 0.5 * NU_0 * B**2)

    def coenergy(self, total: np.ndarray) -> np.ndarray:
        """The same of the integral of B dH."""
        length = self.flux_density(total)[0]
        return 2 * math.pi * (self._blend(coenergy_density(self.curve, length), 0.5 * NU_0 * length**2) * self.points.r_dA).sum(axis=1)

    def vacuum_energy(self, total: np.ndarray) -> np.ndarray:
        """The energy of each triangle in joule if it were vacuum with the same flux; (m,)."""
        return 2 * math.pi * (0.5 * NU_0 * self.flux_density(total)[0] ** 2 * self.points.r_dA).sum(axis=1)

    def demagnetization_energy(self, total: np.ndarray) -> np.ndarray:
        """By how much the energy of each triangle at kept flux grows in joule when all the magnetism of 293.15 K goes; (m,)."""
        return self.vacuum_energy(total) - replace(self, magnetization_fraction=None).energy(total)

    def moment(self, total: np.ndarray) -> float:
        """Magnetic moment along z in A m^2, 2 pi integral of r (nu_0 B_z - H_z)."""
        length, direction = self.flux_density(total)
        return 2 * math.pi * float(((NU_0 * length - self.field_strength(length)) * direction[..., 1] * self.points.r_dA).sum())

    def _times_curl(self, fields: np.ndarray) -> np.ndarray:
        """Sums over the points of curl(v) . each of some fields (m, q, 2, k); (m, nodes, k)."""
        m, q, _, k = fields.shape
        return self.points.curl.reshape(m, 2 * q, -1).swapaxes(1, 2) @ fields.reshape(m, 2 * q, k)

    def _blend(self, cold, gone):
        """A quantity between its value with all the magnetization of 293.15 K and that with none."""
        share = self.magnetization_fraction
        return cold if share is None else share * cold + (1 - share) * gone


def bh_curve_zones(section: coefficients.Section, mesh: Mesh,
                   rule: Callable[[Mesh, np.ndarray], QuadraturePoints] = gauss_points) -> list[BHCurveZone]:
    """The zones of a section whose metal has a B-H curve, with the points of a rule of quadrature."""
    zones = []
    for number, (part, zone) in enumerate(mesh.regions, start=1):
        metal = coefficients.material_of(section, part, zone)
        if metal is not None and metal.bh_curve is not None:
            zones.append(BHCurveZone(metal.bh_curve, rule(mesh, np.flatnonzero(mesh.region == number)), part))
    return zones
