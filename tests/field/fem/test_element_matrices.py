"""The product form of the element matrices against the readable weak forms in scikit-fem."""
from dataclasses import replace

import numpy as np
import pytest

from fieldsolve.field.fem import element_matrices, quadrature, weak_forms
from fieldsolve.field.fem.reference_triangle import reference_rule, rule_of_forms, shape_functions, shape_gradients
from fieldsolve.field.system.conductors import local_load
from geometries.mesh import Mesh


def straight_mesh(count=40, seed=1):
    """Separate random triangles, some with corners on the axis."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 1, (count, 3, 2)) * [0.02, 0.05]
    corners[:8, 0, 0] = 0.0
    corners[:4, 1, 0] = 0.0
    (a, c), (b, d) = (corners[:, 1] - corners[:, 0]).T, (corners[:, 2] - corners[:, 0]).T
    corners[a * d < b * c] = corners[a * d < b * c][:, [0, 2, 1]]
    middles = 0.5 * (corners[:, [0, 1, 0]] + corners[:, [1, 2, 2]])
    nodes = np.concatenate([corners, middles], axis=1).reshape(-1, 2)
    none = np.zeros((0, 3), dtype=int)
    return Mesh(nodes, np.arange(6 * count).reshape(count, 6), np.zeros(count, dtype=int), (), np.zeros(count, dtype=bool),
                None, 0.0, none, {}, {}, {})


def curved_mesh():
    """The same of metal, with edges bent by up to 3e-3 of their length, for which the rule of the readable form is good to 1e-9."""
    mesh = straight_mesh(seed=4)
    nodes = mesh.nodes.copy()
    size = np.sqrt(mesh.area)[:, None, None]
    nodes[mesh.triangles[:, 3:]] += 0.003 * size * np.random.default_rng(7).uniform(-1, 1, (len(size), 3, 2))
    return replace(mesh, nodes=nodes, region=np.ones(len(size), dtype=int), curved=np.ones(len(size), dtype=bool))


@pytest.mark.parametrize(("form", "name"), [("curl", "nu"), ("kelvin", "nu"), ("conduction", "sigma")])
def test_matrices_equal_the_readable_form(form, name):
    mesh = straight_mesh()
    value = np.random.default_rng(2).uniform(1, 2, len(mesh.triangles))
    product = {
        "curl": lambda: element_matrices.curl_matrices(mesh.corners, value, np.zeros(len(value), dtype=bool), 2),
        "kelvin": lambda: element_matrices.curl_matrices(mesh.corners, value, np.ones(len(value), dtype=bool), 2),
        "conduction": lambda: element_matrices.conduction_matrices(mesh.corners, value, 2),
    }[form]()
    basis = weak_forms.triangle_basis(mesh, np.arange(len(value)))
    readable = weak_forms.local_matrices(getattr(weak_forms, form), basis, **{name: value})
    scale = np.abs(readable).max(axis=1, keepdims=True)
    assert np.abs((product - readable) / scale).max() < 1e-11


@pytest.mark.parametrize(("form", "name", "product"), [("current", "density", element_matrices.current_vectors),
                                                       ("turn", "sigma", element_matrices.turn_vectors),
                                                       ("axial_curl", "strength", element_matrices.curl_vectors)])
def test_vectors_equal_the_readable_form(form, name, product):
    mesh = straight_mesh()
    value = np.random.default_rng(3).uniform(1, 2, len(mesh.triangles))
    basis = weak_forms.triangle_basis(mesh, np.arange(len(value)))
    readable = weak_forms.local_vectors(getattr(weak_forms, form), basis, **{name: value})
    scale = np.abs(readable).max(axis=1, keepdims=True)
    assert np.abs((product(mesh.corners, value, 2) - readable) / scale).max() < 1e-11


@pytest.mark.parametrize("form", ["curl", "conduction"])
def test_products_on_curved_triangles_equal_the_readable_form(form):
    mesh = curved_mesh()
    value, every = np.random.default_rng(2).uniform(1, 2, len(mesh.triangles)), np.arange(len(mesh.triangles))
    points = quadrature.gauss_points(mesh, every, rule_of_forms(2))
    if form == "curl":
        name, product = "nu", quadrature.curl_products(points, value[:, None])
    else:
        name, product = "sigma", quadrature.conduction_products(mesh, every) * value[:, None]
    readable = weak_forms.local_matrices(getattr(weak_forms, form), weak_forms.triangle_basis(mesh, every), **{name: value})
    scale = np.abs(readable).max(axis=1, keepdims=True)
    assert np.abs((product - readable) / scale).max() < 1e-8


@pytest.mark.parametrize(("form", "name"), [("current", "density"), ("turn", "sigma"), ("axial_curl", "strength")])
def test_vectors_of_curved_triangles_equal_the_readable_form(form, name):
    mesh = curved_mesh()
    value, every = np.random.default_rng(3).uniform(1, 2, len(mesh.triangles)), np.arange(len(mesh.triangles))
    readable = weak_forms.local_vectors(getattr(weak_forms, form), weak_forms.triangle_basis(mesh, every), **{name: value})
    scale = np.abs(readable).max(axis=1, keepdims=True)
    assert np.abs((local_load(mesh, every, form, value) - readable) / scale).max() < 1e-8


def test_shape_functions_are_one_at_their_node_and_sum_to_one():
    nodes = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5]])
    assert np.allclose(shape_functions(nodes), np.eye(6), atol=1e-15)
    points, weights = reference_rule(5)
    assert np.isclose(weights.sum(), 1)
    assert np.allclose(shape_functions(points).sum(axis=1), 1) and np.allclose(shape_gradients(points).sum(axis=2), 0)
