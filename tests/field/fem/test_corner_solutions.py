"""Corners of metal are found, and slopes beside them are as good as elsewhere."""
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks.closed_forms.loops import loop_flux_density
from fieldsolve.field.fem.corner_solutions import corner_slopes, corner_terms, metal_corners
from fieldsolve.field.fem.gradient_recovery import recovered_values, recovery_operators
from fieldsolve.field.fem.mesh_stack import MeshStack
from fieldsolve.field.fem.point_location import locate
from fieldsolve.field.fem.quadrature import sample
from geometries.mesh import AIR, EXTERIOR
from geometries.mesher import mesh_section

COPPER = fs.material("copper")
INNER, OUTER, HEIGHT = 10e-3, 14e-3, 8e-3


def _corners(*parts):
    mesh = mesh_section(geo.CrossSection(list(parts)))
    found = 1e3 * mesh.nodes[metal_corners(mesh).node]
    return sorted((round(float(r), 6), round(float(z), 6)) for r, z in found)


def _places_beside(mesh, corner: complex, outward: complex, reach: float):
    """Points r + i z of air around a right-angled corner, out to a distance, their triangles and places in them."""
    distance, turn = np.meshgrid(reach * np.array([0.05, 0.3, 0.7, 1.0]), np.radians(np.linspace(-130, 130, 14)))
    x = corner + (distance * np.exp(1j * turn)).ravel() * outward
    triangle, place = locate(mesh, x.real, x.imag, (AIR,))
    return x, triangle, place


def test_corners_of_metal_are_found():
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)
    assert _corners(disc) == [(15, -1), (15, 1)]
    assert _corners(geo.washer(hole_radius=4e-3, radius=9e-3, thickness=1e-3, material=COPPER)) == [
        (4, -0.5), (4, 0.5), (9, -0.5), (9, 0.5)]


def test_arcs_have_no_corners():
    assert _corners(geo.sphere(radius=8e-3, material=COPPER)) == []
    assert _corners(geo.solenoid(turns=2, bore_radius=10e-3, wire_diameter=2e-3, pitch=2.5e-3, material=COPPER)) == []


def test_where_two_metals_meet_at_air_is_a_corner():
    aluminium = fs.material("aluminium 1100-O")
    assert _corners(geo.clad_disc(radius=12e-3, layers=[(1e-3, COPPER), (2e-3, aluminium)])) == [(12, -1.5), (12, -0.5), (12, 1.5)]


def test_slopes_of_the_terms_are_those_of_their_values():
    rng, step, frame = np.random.default_rng(2), 1e-5, (np.exp(1j * np.array([[0.7], [-2.0]])), np.array([[3.0], [1.5]]))
    x = rng.uniform(0.1, 1.0, (2, 20)) * np.exp(1j * rng.uniform(-2, 2, (2, 20))) * frame[0]
    for k, direction in enumerate((step, 1j * step)):
        quotient = (corner_terms(x + direction, *frame) - corner_terms(x - direction, *frame)) / (2 * step)
        assert np.abs(quotient - corner_slopes(x, *frame)[k]).max() < 1e-8
    at_corner = np.zeros((2, 1), dtype=complex)
    assert not corner_terms(at_corner, *frame).any() and not corner_slopes(at_corner, *frame).any()


def test_corners_are_those_of_the_metal_as_it_is_now():
    """A face that is drawn out to a tip has a corner there, whether or not the mesh was looked at before it moved."""
    mesh = mesh_section(geo.CrossSection([geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)]))
    before = metal_corners(mesh)
    vertices = np.unique(mesh.triangles[mesh.part_triangles("disc"), :3])
    tip = vertices[np.linalg.norm(mesh.nodes[vertices] - [8e-3, 1e-3], axis=1).argmin()]
    nodes = mesh.nodes.copy()
    nodes[tip, 1] += 1e-3
    moved = replace(mesh, nodes=nodes)
    assert abs(mesh.nodes[tip, 1] - 1e-3) < 1e-9 and moved.topology == mesh.topology
    now, alone = metal_corners(moved), metal_corners(replace(moved, triangles=mesh.triangles.copy()))
    assert tip in now.node and tip not in before.node
    assert np.array_equal(now.node, alone.node) and np.array_equal(now.of_cell, alone.of_cell)


def test_slopes_on_many_meshes_at_once_are_those_on_each():
    """Of which one has a corner more: at points all over air and metal, those beside corners among them."""
    mesh = mesh_section(geo.CrossSection([geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)]))
    tip = np.unique(mesh.triangles[mesh.part_triangles("disc"), :3])[40]
    nodes = mesh.nodes.copy()
    nodes[tip] += 3e-4
    meshes = (mesh, replace(mesh, nodes=nodes), replace(mesh, nodes=0.9 * mesh.nodes))
    cells = np.flatnonzero(mesh.region != EXTERIOR)
    place, count = np.tile([0.2, 0.3, 0.5], (len(cells), 1)), len(mesh.triangles)
    fields, points = [], []
    for k, each in enumerate(meshes):
        fields.append(np.sin(200 * each.nodes[:, 0] + k) * np.cos(150 * each.nodes[:, 1]))
        r, z = sample(each, cells, place[:, None]).r[:, 0], sample(each, cells, place[:, None]).z[:, 0]
        points.append((cells + k * count, place, r, z))
    in_a_row = (np.concatenate(of_all) for of_all in zip(*points, strict=True))
    together = recovered_values(MeshStack(meshes), np.concatenate(fields), *in_a_row)
    alone = [recovered_values(each, u, cells, place, r, z) for each, u, (_, _, r, z) in zip(meshes, fields, points, strict=True)]
    assert np.abs(together - np.concatenate(alone, axis=1)).max() < 1e-9 * np.abs(together).max()


@pytest.mark.parametrize("side", [1, -1])
def test_the_terms_of_a_corner_are_recovered(side):
    """What the fit has of zeta^n log s, s its size, is a solution but for the second order of s over the radius."""
    mesh = mesh_section(geo.CrossSection([geo.disc(radius=15e-3, thickness=2e-3, material=COPPER)]))
    corner, outward, size, weights = 15e-3 + 1e-3j * side, np.array([np.exp(0.25j * side * np.pi)]), 1e-3, [1.0, -0.4, 0.3, 0.2]
    nodes = np.maximum(mesh.nodes, [1e-3, -np.inf])
    u = 3.0 + corner_terms((nodes @ [1, 1j] - corner) / size, outward, np.array([15.0])) @ weights
    x, triangle, place = _places_beside(mesh, corner, outward[0], 0.1e-3)
    assert (metal_corners(mesh).of_cell[triangle] >= 0).all()
    slopes = recovered_values(mesh, u, triangle, place, x.real, x.imag)[1:]
    exact = corner_slopes((x - corner) / size, outward, np.array([15.0])) @ weights / size
    assert np.abs(slopes - exact).max() < 1e-3 * np.abs(exact).max()
    by_matrices = np.array([matrix @ u for matrix in recovery_operators(mesh, triangle, place, x.real, x.imag)[1:]])
    assert np.abs(by_matrices - slopes).max() < 1e-9 * np.abs(exact).max()


def _exact_field(current_density: float, r: float, z: float, nodes: int = 30) -> np.ndarray:
    """B of the rectangle INNER..OUTER x HEIGHT of uniform current density at a point of it, by triangles with that point as apex."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    s, w = 0.5 * (x + 1), 0.5 * w
    apex = np.array([r, z])
    vertices = np.array([(INNER, -0.5), (OUTER, -0.5), (OUTER, 0.5), (INNER, 0.5)]) * [1, HEIGHT]
    total = np.zeros(2)
    for a, b in zip(vertices, np.roll(vertices, -1, axis=0), strict=True):
        edge = a + s[:, None] * (b - a) - apex
        area = abs(np.linalg.det(np.stack([a - apex, b - apex])))
        source = apex + s[:, None, None]**2 * edge                    # graded to the apex, where the field of a loop is singular
        weight = area * (2 * s**3 * w)[:, None] * w
        if area > 0:
            total += [(weight * component).sum() for component in
                      loop_flux_density(source[..., 0], current_density, r, z - source[..., 1])]
    return total


def test_the_field_beside_the_corner_of_a_winding_is_the_exact_one():
    """Within 0.4 mm of its corner, where polynomials alone are off by 3.7 %."""
    winding = geo.winding(inner_radius=INNER, outer_radius=OUTER, height=HEIGHT, turns=1)
    field = fs.solve_static(geo.CrossSection([winding]), currents={"coil": 1e4}, accuracy=1e-2)
    density = 1e4 / ((OUTER - INNER) * HEIGHT)
    depth = np.array([0.0, 0.02, 0.06, 0.12, 0.2, 0.4]) * 1e-3
    exact = np.array([_exact_field(density, INNER, 0.5 * HEIGHT - d) for d in depth]).T
    found = np.array(field.solution.flux_density(np.full_like(depth, INNER), 0.5 * HEIGHT - depth, (AIR,)))
    assert np.linalg.norm(found - exact, axis=0).max() < 3e-3 * np.linalg.norm(exact, axis=0).max()
