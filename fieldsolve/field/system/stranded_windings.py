"""Stranded windings: J = N I / area over their whole section, carried by wire whose metal fills a share of it."""
from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.system.conductors import unit_density
from geometries.mesh import Mesh


@dataclass(frozen=True, eq=False)
class StrandedWindings:
    """Of each triangle, shape (m,); density and unit_heat are zero outside stranded windings, sigma also where their metal is not known.

    density    current density over the whole section at one ampere per turn, 1/m^2
    fill       share of metal, 1 elsewhere
    unit_heat  2 pi integral of density^2 / fill r, in 1/m: watt at one ampere and one S/m
    sigma      conductivity of the metal in S/m
    """

    density: np.ndarray
    fill: np.ndarray
    unit_heat: np.ndarray
    sigma: np.ndarray

    def with_conductivity(self, sigma: np.ndarray) -> StrandedWindings:
        """The same with other conductivities (m,) in S/m; where they are zero the metal is as it was."""
        return replace(self, sigma=np.where((self.sigma > 0) & (sigma > 0), sigma, self.sigma))

    def heat(self, current: np.ndarray) -> np.ndarray:
        """Ohmic heat of each triangle in watt at the currents (m,) in ampere per turn of the windings they are in."""
        return np.divide(current**2 * self.unit_heat, self.sigma, out=np.zeros(len(self.sigma)), where=self.sigma > 0)

    def resistance(self, triangles: np.ndarray) -> float | None:
        """Resistance to direct current in ohm of a winding, by its triangles; None where its fill or material is not known."""
        return float((self.unit_heat[triangles] / self.sigma[triangles]).sum()) if (self.sigma[triangles] > 0).all() else None


def assemble_windings(section, mesh: Mesh) -> StrandedWindings:
    """The stranded windings of a cross-section."""
    count = len(mesh.triangles)
    windings = StrandedWindings(np.zeros(count), np.ones(count), np.zeros(count), np.zeros(count))
    for part in section.parts:
        if part.zones and part.stranded:
            triangles = np.concatenate(mesh.zone_triangles(part.name))
            points = gauss_points(mesh, triangles)
            density = unit_density(mesh, part, points)[:, 0]
            windings.density[triangles] = density
            if part.fill is not None and part.zones[0].material is not None:
                windings.fill[triangles] = part.fill
                windings.sigma[triangles] = part.zones[0].material.conductivity
                windings.unit_heat[triangles] = density**2 / part.fill * 2 * math.pi * (points.r * points.dA).sum(axis=1)
    return windings
