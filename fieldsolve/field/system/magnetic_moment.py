"""Magnetic moment along z: of currents pi r^2 J, of magnetized metal M = (nu_0 - nu) B + nu B_rem, summed over the section."""
from __future__ import annotations

import math

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.fem.quadrature import gauss_points
from geometries.mesh import EXTERIOR, Mesh


def magnetization_moment(mesh: Mesh, nu: np.ndarray, remanence: np.ndarray, u: np.ndarray):
    """2 pi integral of M_z r in A m^2 over permeable and magnetized metal; nu and remanence (m,), u the total field."""
    triangles = np.flatnonzero(((nu != NU_0) | (remanence != 0)) & (mesh.region != EXTERIOR))
    points = gauss_points(mesh, triangles)
    B_z = points.flux_density(u)[1]
    magnetization = (NU_0 - nu[triangles, None]) * B_z + (nu * remanence)[triangles, None]
    return 2 * math.pi * (magnetization * points.r * points.dA).sum()
