"""Curved edges enclose the area of the arc they stand for."""
import math

import numpy as np
import pytest

import geometries as geo
from fieldsolve.field.fem.quadrature import gauss_points
from geometries.mesher import mesh_section

BODIES = [(geo.sphere(radius=0.02), 4 / 3 * math.pi * 0.02**3), (geo.spheroid(radial=0.02, axial=0.04), 4 / 3 * math.pi * 0.02**2 * 0.04),
          (geo.ring(radius=0.05, wire_diameter=0.02), 2 * math.pi**2 * 0.05 * 0.01**2),
          (geo.shell(inner_radius=0.018, outer_radius=0.02), 4 / 3 * math.pi * (0.02**3 - 0.018**3))]


@pytest.mark.parametrize(("body", "volume"), BODIES)
def test_volume(body, volume):
    mesh = mesh_section(geo.CrossSection([body]))
    points = gauss_points(mesh, np.flatnonzero(mesh.region > 0))
    assert 2 * math.pi * (points.r * points.dA).sum() == pytest.approx(volume, rel=1e-6)
