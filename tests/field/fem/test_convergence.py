"""Orders of convergence and exactness of the elements on a domain that touches the axis."""
import numpy as np
import pytest
from skfem import MeshTri

import geometries as geo
from fieldsolve.constants import MU_0, NU_0
from fieldsolve.field.fem.assembly import vector
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.linear_algebra.solvers import factorize
from fieldsolve.field.linear_algebra.symmetric import multiply_symmetric
from fieldsolve.field.system.magnetostatic import face_load, stiffness
from geometries.mesh import Mesh
from geometries.mesher import mesh_section


def six_node_mesh(corners, cells, radius):
    """Mesh of straight six-node triangles from corner points (n, 2) and cells (m, 3)."""
    a, b, c = corners[cells[:, 0]], corners[cells[:, 1]], corners[cells[:, 2]]
    turned = (b - a)[:, 0] * (c - a)[:, 1] < (b - a)[:, 1] * (c - a)[:, 0]
    cells[turned] = cells[turned][:, [0, 2, 1]]
    edges = np.sort(cells[:, [[0, 1], [1, 2], [0, 2]]], axis=2).reshape(-1, 2)
    unique, inverse = np.unique(edges, axis=0, return_inverse=True)
    middles = 0.5 * (corners[unique[:, 0]] + corners[unique[:, 1]])
    nodes = np.concatenate([corners, middles])
    triangles = np.concatenate([cells, len(corners) + inverse.reshape(-1, 3)], axis=1)
    face = triangles[:, [[0, 1, 3], [1, 2, 4], [0, 2, 5]]].reshape(-1, 3)
    outer = face[np.all(np.abs(nodes[face][:, :, 0] - radius) < 1e-12, axis=1)]
    count, none = len(triangles), np.zeros((0, 3), dtype=int)
    return Mesh(nodes, triangles, np.zeros(count, dtype=int), (), np.zeros(count, dtype=bool), None, 0.0, none,
                {"outer": outer, "inner": none}, {}, {})


def errors_of_a_smooth_field(refinements):
    """Weighted L2 errors of u and B for u = cos(2r) cos(z + 1/2) on [0, 1] x [0, 1], boundary values given but on the axis."""
    plain = MeshTri.init_tensor(np.linspace(0, 1, 3), np.linspace(0, 1, 3)).refined(refinements)
    mesh = six_node_mesh(plain.p.T.copy(), plain.t.T.astype(int).copy(), 1.0)
    r, z = mesh.nodes.T
    exact = np.cos(2 * r) * np.cos(z + 0.5)
    points = gauss_points(mesh, np.arange(len(mesh.triangles)))
    R, Z = points.r, points.z
    U, U_r, U_z = (np.cos(2 * R) * np.cos(Z + 0.5), -2 * np.sin(2 * R) * np.cos(Z + 0.5), -np.cos(2 * R) * np.sin(Z + 0.5))
    density = NU_0 * (R * U - 3 * U_r + 4 * R * U)           # J = -nu (r u_zz + 3 u_r + r u_rr)
    load = vector(mesh, np.arange(len(mesh.triangles)), np.einsum("mq,mqa->ma", density * R**2 * points.dA, points.value))
    matrix = stiffness(mesh, np.full(len(mesh.triangles), NU_0))
    fixed = (r > 1 - 1e-12) | (z < 1e-12) | (z > 1 - 1e-12)
    free = np.flatnonzero(~fixed)
    lifted = np.where(fixed, exact, 0.0)
    u = lifted.copy()
    u[free] = factorize(matrix[free][:, free].tocsc()).solve((load - multiply_symmetric(matrix, lifted))[free])
    value, _, _ = points.interpolate(u)
    B_r, B_z = points.flux_density(u)
    gap = (B_r + R * U_z) ** 2 + (B_z - 2 * U - R * U_r) ** 2
    return np.sqrt((R**3 * (value - U) ** 2 * points.dA).sum()), np.sqrt((R * gap * points.dA).sum())


def test_order_three_for_u_and_two_for_B():
    errors = np.array([errors_of_a_smooth_field(k) for k in (1, 2, 3, 4)])
    slopes = np.log2(errors[:-1] / errors[1:])
    assert np.abs(slopes[-2:, 0] - 3.0).max() < 0.1
    assert np.abs(slopes[-2:, 1] - 2.0).max() < 0.1


@pytest.mark.parametrize("cells", [6, 20, 70])
def test_uniform_field_is_exact_on_distorted_cells(cells):
    plain = MeshTri.init_tensor(np.linspace(0, 0.02, cells + 1), np.linspace(0, 0.02, cells + 1))
    corners = plain.p.T.copy()
    inside = (corners > 1e-9).all(axis=1) & (corners < 0.02 - 1e-9).all(axis=1)
    corners[inside] += np.random.default_rng(5).uniform(-0.2, 0.2, (inside.sum(), 2)) * 0.02 / cells
    mesh = six_node_mesh(corners, plain.t.T.astype(int).copy(), 0.02)
    field = 3e5
    u = factorize(stiffness(mesh, np.full(len(mesh.triangles), NU_0))).solve(face_load(mesh, "outer", field))
    B_r, B_z = gauss_points(mesh, np.arange(len(mesh.triangles))).flux_density(u)
    exact = MU_0 * field
    assert mesh.size < 20_100
    assert np.abs(B_z / exact - 1).max() < 1e-11 and np.abs(B_r).max() < 1e-11 * exact
    assert np.abs(u / (0.5 * exact) - 1).max() < 1e-11


def test_inductance_converges_with_order_four():
    """Twice the degree of the elements, on the square Brooks coil (reference digits as in the benchmarks)."""
    from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
    section = geo.CrossSection([geo.winding(inner_radius=0.01, outer_radius=0.02, height=0.01, turns=1)])
    errors = []
    for scale in (0.5, 0.25, 0.125):
        mesh = mesh_section(section, scale=scale)
        solved = solve_on_mesh(StaticProblem(section, {"coil": 1.0}), mesh)
        errors.append((mesh.size, abs(solved.inductance("coil", "coil") / 2.54906731642e-8 - 1)))
    (n, coarse), _, (N, fine) = errors
    assert np.log(coarse / fine) / np.log(np.sqrt(N / n)) > 3.5
