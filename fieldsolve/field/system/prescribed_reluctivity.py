"""Linear metal that differs from place to place: a reluctivity at each quadrature point, which follows from a field's amplitude."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.quadrature import QuadraturePoints, curl_products


@dataclass(frozen=True, eq=False)
class PrescribedReluctivity:
    """Triangles with quadrature points in them, and nu (m, q) in m/H at those."""

    points: QuadraturePoints
    nu: np.ndarray

    def matrices(self) -> np.ndarray:
        """Local matrices of the curl form; (m, kept entries)."""
        return curl_products(self.points, self.nu)

    def load(self) -> np.ndarray:
        """Load of one tesla of uniform field, the integral of r (nu_0 - nu) curl_z(v); (m, nodes)."""
        return (((NU_0 - self.nu) * self.points.r_dA)[:, None] @ self.points.curl[:, :, 1])[:, 0]

    def moment(self, total: np.ndarray) -> complex:
        """Magnetic moment along z in A m^2 at a total field's nodal u, 2 pi integral of r (nu_0 - nu) B_z."""
        return 2 * math.pi * ((NU_0 - self.nu) * self.points.flux_density(total)[1] * self.points.r_dA).sum()

    def mean_reluctivity(self) -> np.ndarray:
        """Mean reluctivity of each triangle in m/H; (m,)."""
        return (self.nu * self.points.r_dA).sum(axis=1) / self.points.r_dA.sum(axis=1)
