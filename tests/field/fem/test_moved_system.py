"""Matrices of a moved mesh: the same as those assembled anew."""
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.field.system.eddy_current import eddy_system
from fieldsolve.motion.moving_mesh.moving_mesh import build_moving_mesh
from geometries.mesher import mesh_section

COPPER = fs.Material(conductivity=5.8e7, density=8960.0)


@pytest.mark.parametrize("make", [
    lambda: geo.solenoid(turns=3, bore_radius=18e-3, wire_diameter=2e-3, pitch=2.5e-3, material=COPPER, name="coil"),
    lambda: geo.winding(inner_radius=18e-3, outer_radius=20e-3, height=8e-3, turns=12, material=COPPER, fill=0.6, name="coil")])
def test_it_is_as_assembled_anew(make):
    section = geo.CrossSection([make(), geo.disc(radius=15e-3, thickness=2e-3, material=COPPER, name="disc")])
    moving = build_moving_mesh(mesh_section(section, scale=2.0))
    before = moving.reference_mesh
    nodes = before.nodes[:moving.kept_count].copy()
    for name, stretch in (("coil", 1.01), ("disc", 0.97)):
        nodes[np.unique(before.triangles[before.part_triangles(name)]), 0] *= stretch
    after = moving.deformed(nodes)
    sigma = np.where(eddy_system(section, before).metal_conductivity > 0, 3e7, 0.0)
    moved, fresh = eddy_system(section, before).moved(after, sigma), eddy_system(section, after).with_conductivity(sigma)
    for name in ("stiffness", "full_stiffness", "conduction", "full_conduction", "turn_vectors"):
        one, other = getattr(moved, name), getattr(fresh, name)
        assert (one.indices == other.indices).all() and (one.indptr == other.indptr).all()
        assert np.abs(one.data - other.data).max(initial=0.0) <= 1e-13 * np.abs(other.data).max(initial=0.0)
    for name in ("turn_conductance", "unit_turn", "unit_conductance"):
        assert getattr(moved, name) == pytest.approx(getattr(fresh, name), rel=1e-12)
    assert moved.unit_loads["coil"] == pytest.approx(fresh.unit_loads["coil"], rel=1e-12)
    assert moved.load_of("coil") == pytest.approx(fresh.load_of("coil"), rel=1e-12)
    assert moved.metal_conductivity == pytest.approx(fresh.metal_conductivity)
