"""Triangles of order 2, 3 and 4: their polynomials, their nodes on arcs, and how fast errors fall."""
import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0, NU_0
from fieldsolve.field.fem.assembly import lower_triangle
from fieldsolve.field.fem.quadrature import gauss_points, sample
from fieldsolve.field.fem.reference_triangle import edge_weights, kept_entries, shape_functions, shape_gradients
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from fieldsolve.field.system import magnetostatic
from fieldsolve.field.system.conductors import local_load
from geometries.mesh import AIR, EXTERIOR
from geometries.mesh_order import area_keeping_distance
from geometries.mesher import mesh_section
from geometries.node_layout import ORDERS, edge_nodes, node_steps

RADIUS = 0.01
SPHERE = geo.CrossSection([geo.sphere(radius=RADIUS, material=fs.Material(name="metal", conductivity=1e6, relative_permeability=10.0))])


@pytest.mark.parametrize("order", ORDERS)
def test_shape_functions_are_one_at_their_nodes_and_slopes_are_their_derivatives(order):
    nodes = node_steps(order) / order
    assert np.abs(shape_functions(nodes, order) - np.eye(len(nodes))).max() < 1e-13
    places = np.random.default_rng(1).dirichlet([1, 1, 1], 20)
    assert np.abs(shape_functions(places, order).sum(axis=1) - 1).max() < 1e-12
    for k, direction in enumerate(([-1, 1, 0], [-1, 0, 1])):
        step = 1e-6 * np.array(direction)
        difference = (shape_functions(places + step, order) - shape_functions(places - step, order)) / 2e-6
        assert np.abs(shape_gradients(places, order)[:, k] - difference).max() < 1e-7


@pytest.mark.parametrize("order", ORDERS)
def test_nodes_of_edges_lie_between_its_ends_in_order(order):
    for nodes in node_steps(order)[edge_nodes(order)]:
        start, end, *between = nodes
        for k, node in enumerate(between, start=1):
            assert (node * order == start * (order - k) + end * k).all()
    x = np.array([0, 1, *np.arange(1, order) / order])
    for power in range(order + 1):
        assert edge_weights(order) @ x**power == pytest.approx(1 / (power + 1), rel=1e-12)


@pytest.mark.parametrize("order", ORDERS)
def test_forms_of_polynomials_are_exact(order):
    """u* K u, u* M u and loads of a polynomial of the order against rules of quadrature for its own derivatives, curved cells included."""
    mesh = mesh_section(SPHERE, scale=2.0, order=order)
    inside = np.flatnonzero(mesh.region != EXTERIOR)
    straight = inside[~mesh.curved[inside]]
    r, z = mesh.nodes.T / RADIUS
    u = r**order - 2 * r * z ** (order - 1) + 0.5 * z
    points = gauss_points(mesh, straight, 12)
    R, Z = points.r / RADIUS, points.z / RADIUS
    U = R**order - 2 * R * Z ** (order - 1) + 0.5 * Z
    U_r = (order * R ** (order - 1) - 2 * Z ** (order - 1)) / RADIUS
    U_z = (-2 * (order - 1) * R * Z ** (order - 2) + 0.5) / RADIUS
    curl = (points.r * ((points.r * U_z) ** 2 + (2 * U + points.r * U_r) ** 2) * points.dA).sum()
    mass = (points.r**3 * U**2 * points.dA).sum()
    for local, exact in ((magnetostatic.stiffness_local(mesh, np.full(len(mesh.triangles), NU_0), straight), NU_0 * curl),
                         (magnetostatic.unit_conduction(mesh, straight), mass)):
        assert u @ multiply_symmetric(lower_triangle(mesh, local, triangles=straight), u) == pytest.approx(exact, rel=1e-11)
    own = u[mesh.triangles[straight]]
    for form, integrand in (("current", points.r**2 * U), ("turn", points.r * U), ("axial_curl", points.r * (2 * U + points.r * U_r))):
        assert (local_load(mesh, straight, form, 1.0) * own).sum() == pytest.approx((integrand * points.dA).sum(), rel=1e-11)


@pytest.mark.parametrize("order", ORDERS)
def test_moments_and_quadrature_agree_where_cells_are_curved(order):
    mesh = mesh_section(SPHERE, scale=2.0, order=order)
    curved, kept = np.flatnonzero(mesh.curved & (mesh.region != EXTERIOR)), kept_entries(order)
    points = gauss_points(mesh, curved, 12)
    products = points.curl[..., kept.rows] * points.curl[..., kept.columns]
    direct = NU_0 * np.einsum("mq,mqdk->mk", points.r_dA, products)
    local = magnetostatic.stiffness_local(mesh, np.full(len(mesh.triangles), NU_0), curved)
    assert np.abs(local - direct).max() < 1e-5 * np.abs(direct).max()


@pytest.mark.parametrize("order", ORDERS)
def test_curved_cells_keep_areas_and_touch_the_arc(order):
    mesh = mesh_section(SPHERE, scale=2.0, order=order)
    sphere, air = mesh.part_triangles("sphere"), np.flatnonzero(mesh.region == AIR)
    area = gauss_points(mesh, sphere, 8).dA.sum()
    assert area == pytest.approx(0.5 * np.pi * RADIUS**2, rel=1e-12)
    assert area + gauss_points(mesh, air, 8).dA.sum() == pytest.approx(0.5 * np.pi * mesh.open_radius**2, rel=1e-12)
    border = np.intersect1d(mesh.triangles[sphere], mesh.triangles[air])
    assert np.abs(np.hypot(*mesh.nodes[border].T) / RADIUS - 1).max() < {2: 2e-3, 3: 2e-4, 4: 1e-5}[order]
    assert (sample(mesh, np.flatnonzero(mesh.curved), node_steps(order) / order).dA > 0).all()


def test_distance_that_keeps_areas_is_the_known_one_of_parabolas():
    h = np.linspace(0.05, 0.8, 6)
    assert np.abs(area_keeping_distance(h, 2) - np.cos(h) - 3 * (h - np.sin(h) * np.cos(h)) / (4 * np.sin(h))).max() < 1e-14


@pytest.mark.parametrize(("order", "least"), [(2, 3.3), (3, 4.8), (4, 6.3)])
def test_dipole_moment_of_a_permeable_sphere_converges_with_nearly_twice_the_order(order, least):
    """m = 4 pi R^3 B_0 / mu_0 (mu - 1) / (mu + 2); meshes that are not nested, so that each slope is a little uneven."""
    exact = 4 * np.pi * RADIUS**3 / MU_0 * 9 / 12
    cells, errors = [], []
    for scale in {2: (1, 0.5, 0.25), 3: (2, 1, 0.5), 4: (2, 1.4, 1, 0.7)}[order]:
        mesh = mesh_section(SPHERE, scale=scale, order=order)
        solved = solve_on_mesh(StaticProblem(SPHERE, {}, applied_field=1.0), mesh)
        cells.append(len(mesh.triangles))
        errors.append(abs(solved.dipole_moment() / exact - 1))
    assert -2 * np.polyfit(np.log(cells), np.log(errors), 1)[0] > least


@pytest.mark.parametrize("order", ORDERS)
def test_inductance_of_a_square_coil_falls_with_the_unknowns(order):
    """Reference digits as in the benchmarks; the corners of the coil hold the higher orders back."""
    section = geo.CrossSection([geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=1)])
    solved = solve_on_mesh(StaticProblem(section, {"coil": 1.0}), mesh_section(section, scale=0.25 * (order - 1), order=order))
    assert abs(solved.inductance("coil", "coil") / 2.54906731642e-8 - 1) < {2: 5e-6, 3: 2e-6, 4: 1e-6}[order]
