"""Fields in order 4: when it is chosen, how its errors are estimated, and how its meshes are graded towards corners."""
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import NU_0
from fieldsolve.field.adaptivity.anisotropic_indicators import height_fraction
from fieldsolve.field.adaptivity.coefficient_decay import errors_by_decay
from fieldsolve.field.adaptivity.error_indicators import SMALLEST_STEP_AT_CORNER, refined_sizes
from fieldsolve.field.adaptivity.refinement import order_for
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.system.coefficients import convergence_rates
from geometries.mesh import EXTERIOR
from geometries.mesher import mesh_section

BROOKS = geo.CrossSection([geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=1)])
TUBE = geo.CrossSection([geo.winding(inner_radius=20e-3, outer_radius=30e-3, height=20e-3, turns=100),
                         geo.tube(inner_radius=10e-3, wall=4e-3, length=20e-3, at=14e-3,
                                  material=fs.Material(name="metal", conductivity=0.0, relative_permeability=100.0))])


def test_order_follows_the_accuracy():
    assert [order_for(accuracy) for accuracy in (1e-2, 2e-3, 1e-3, 1e-4, 1e-8)] == [2, 2, 4, 4, 4]


@pytest.mark.parametrize("accuracy", [1e-4, 1e-6, 1e-8])
def test_bounds_hold_and_few_unknowns_are_needed(accuracy):
    """Reference digits as in the benchmarks."""
    field = fs.solve_static(BROOKS, {"coil": 1.0}, accuracy=accuracy, goals="inductance")
    inductance = field.inductance("coil")
    off = abs(inductance / 2.54906731642e-8 - 1)
    assert field.accuracy_reached and field.mesh.order == 4
    assert off < inductance.error / inductance < accuracy
    assert field.unknowns < {1e-4: 3_000, 1e-6: 6_000, 1e-8: 20_000}[accuracy]         # of order 2 at 1e-6: 20 700


def test_edges_of_permeable_metal_are_graded_instead_of_refined_everywhere():
    field = fs.solve_static(TUBE, {"coil": 10.0}, accuracy=1e-4, goals=("inductance", "force", "mean"))
    assert field.accuracy_reached and field.meshes <= 6 and field.unknowns < 30_000
    mesh = field.mesh
    at_edge = convergence_rates(TUBE, mesh) < 2
    largest = mesh.cell_size[mesh.part_triangles("tube")].max()
    assert mesh.cell_size[at_edge].max() < 0.2 * largest and mesh.cell_size[at_edge].min() < 0.05 * largest


def test_decay_tells_the_error_of_an_interpolated_field():
    """Against the slopes of u = cos(2 k r) exp(k z) on cells of some sizes over its scale."""
    mesh = mesh_section(BROOKS, order=4)
    inside, k = np.flatnonzero(mesh.region != EXTERIOR), 60.0
    r, z = mesh.nodes.T
    points = gauss_points(mesh, inside)
    _, u_r, u_z = points.interpolate(np.cos(2 * k * r) * np.exp(k * z))
    true_r, true_z = -2 * k * np.sin(2 * k * points.r) * np.exp(k * points.z), k * np.cos(2 * k * points.r) * np.exp(k * points.z)
    true = np.sqrt(NU_0 * (((u_r - true_r) ** 2 + (u_z - true_z) ** 2) * points.r**3 * points.dA).sum(axis=1))
    field = (np.cos(2 * k * r) * np.exp(k * z))[:, None]
    estimated, resolved = errors_by_decay(mesh, np.full(len(mesh.triangles), NU_0), field)
    ratio = estimated[inside, 0] / true
    assert 0.5 < np.sqrt((estimated[inside, 0] ** 2).sum() / (true**2).sum()) < 4
    assert np.median(ratio) == pytest.approx(1.6, rel=0.6) and np.quantile(ratio, 0.1) > 0.3
    assert resolved[inside].all()
    assert not errors_by_decay(mesh, np.full(len(mesh.triangles), NU_0), np.sin(1e4 * field))[1][inside].all()


def test_corners_get_far_smaller_cells_where_they_dominate():
    mesh = mesh_section(TUBE, order=4)
    rate = convergence_rates(TUBE, mesh)
    assert set(np.unique(rate)) == {4 / 3, 4.0, 8.0}
    indicator = np.where(rate < 2, 1.0, 1e-3)
    sizes, growth = refined_sizes(mesh, indicator, np.zeros_like(indicator), 30.0, rate)
    assert growth < 20
    inner = mesh.cell_size[(mesh.region != EXTERIOR) & (rate < 2)]
    assert sizes.interior_sizes.min() < 0.2 * inner.min()
    assert sizes.interior_sizes.min() > 0.5 * SMALLEST_STEP_AT_CORNER * inner.min()


def test_share_of_the_height_in_thin_cells():
    disc = geo.disc(radius=15e-3, thickness=0.1e-3, material=fs.material("copper"))
    mesh = mesh_section(geo.CrossSection([disc]), order=4)
    r, z = mesh.nodes.T
    share = height_fraction(mesh, np.stack([(r / 15e-3) ** 5, (z / 0.1e-3) ** 5, 1j * (z / 0.1e-3) ** 5], axis=1))
    (cells,) = mesh.mapped.values()
    outer = cells[len(cells) // 4:].ravel()
    assert share[outer, 0].max() < 1e-6 and share[cells, 1:].min() > 1 - 1e-6
    assert (share[~mesh.is_mapped] == 0).all()


def test_a_peak_at_an_edge_in_a_skin_takes_few_meshes():
    """At 1 MHz it is 16 um from the edge.  There the indicator falls with the first power of the cells, not the fourth."""
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("aluminium 1100-O"))
    section = geo.CrossSection([geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=26e-3, turns=8), disc])
    field = fs.solve_harmonic(section, 1e6, {"coil": 1.0}, goals="peak")
    assert field.accuracy_reached and field.meshes <= 4         # 11 as if it fell with the fourth power
    finer = fs.solve_harmonic(section, 1e6, {"coil": 1.0}, goals="peak", accuracy=1e-6).peak_field()
    assert abs(field.peak_field() - finer) < field.peak_field().error + finer.error
