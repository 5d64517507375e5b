"""Points on a mesh: found where they are, the same whatever was looked up before, and on an edge in the triangle tried first."""
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import geometries as geo
from fieldsolve.field.fem.mesh_stack import MeshStack
from fieldsolve.field.fem.point_location import locate, locate_in_each
from fieldsolve.field.fem.reference_triangle import shape_functions
from geometries.mesh import AIR, EXTERIOR
from geometries.mesher import mesh_section


@pytest.fixture(scope="module")
def mesh():
    return mesh_section(geo.CrossSection([geo.winding(inner_radius=16e-3, outer_radius=20e-3, height=20e-3, turns=8)]))


@pytest.fixture(scope="module")
def points(mesh):
    rng = np.random.default_rng(5)
    return rng.uniform(0.0, 20e-3, 200), rng.uniform(-15e-3, 15e-3, 200)


@pytest.mark.parametrize("count", [1, 3, 200])
def test_the_place_in_the_triangle_is_the_point(mesh, points, count):
    r, z = (coordinate[:count] for coordinate in points)
    triangle, place = locate(mesh, r, z)
    found = np.einsum("qa,qai->iq", shape_functions(place), mesh.nodes[mesh.triangles[triangle]])
    assert (triangle >= 0).all() and place.min() >= -1e-9 and np.abs(found - (r, z)).max() < 1e-12
    assert not (mesh.region[triangle] == EXTERIOR).any()


def test_it_does_not_matter_what_was_looked_up_before(mesh, points):
    """Corners are in several triangles; after as many other points they are found in the same ones as at first."""
    corners = mesh.nodes[np.unique(mesh.triangles[mesh.region == AIR, :3])[:200]].T
    first = locate(mesh, *corners, (AIR,))[0]
    moved = replace(mesh, nodes=mesh.nodes * (1 + 1e-3))
    for other in (points, (points[0][::-1], points[1][::-1])):
        locate(mesh, *other, (AIR,)), locate(moved, *other, (AIR,))
        assert np.array_equal(locate(mesh, *corners, (AIR,))[0], first)


def test_a_corner_is_found_in_the_triangle_tried_first(mesh):
    corner = mesh.triangles[mesh.region == AIR][7, 0]
    around = np.flatnonzero((mesh.triangles[:, :3] == corner).any(axis=1) & (mesh.region == AIR))
    at = mesh.nodes[[corner]].T
    assert len(around) > 2
    for wanted in around:
        assert locate(mesh, *at, (AIR,), first=np.array([wanted]))[0] == wanted


def test_a_wrong_triangle_tried_first_changes_nothing(mesh, points):
    triangle, place = locate(mesh, *points)
    for first in (np.full(200, -1), np.roll(triangle, 1)):
        again = locate(mesh, *points, first=first)
        assert np.array_equal(again[0], triangle) and np.allclose(again[1], place, atol=1e-12)


@pytest.mark.parametrize("regions", [None, (AIR,)])
@pytest.mark.parametrize("share", [1e-4, 0.02, 0.2])
def test_on_meshes_of_one_topology_points_are_found_as_on_each_of_them(mesh, points, share, regions):
    """Among them corners, middles of edges, points outside, and another number of points on one of the meshes."""
    rng, size = np.random.default_rng(7), np.sqrt(mesh.area.min())
    meshes = [mesh, *(replace(mesh, nodes=mesh.nodes + share * size * rng.uniform(-1, 1, mesh.nodes.shape)) for _ in range(3))]
    places = [np.concatenate([np.column_stack(points), moved.nodes[::7], [[0.0, 0.0], [0.01, 5.0]]]) for moved in meshes]
    places[2] = places[2][:-20]
    together = locate_in_each(MeshStack(tuple(meshes)), places, regions)
    for k, (moved, at, (triangle, place)) in enumerate(zip(meshes, places, together, strict=True)):
        alone, there = locate(moved, *at.T, regions)
        assert np.array_equal(triangle, np.where(alone < 0, -1, alone + k * len(mesh.triangles)))
        assert np.abs(place - there)[alone >= 0].max() < 1e-12 and (alone[-1] < 0) == (k != 2) and (alone >= 0).sum() > 200


def test_outside_there_is_no_triangle(mesh):
    assert locate(mesh, np.array([10.0, 0.01]), np.array([0.0, 0.0]), (AIR,))[0][0] == -1
