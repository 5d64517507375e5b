"""Meshes refined without the mesher: nested in every triangle, or cut where sizes are wanted."""
import itertools
import time

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks import statics
from benchmarks.closed_forms.loops import mutual_inductance
from benchmarks.timing import mesh_of_size, section
from fieldsolve.field.adaptivity import refinement
from fieldsolve.field.fem.quadrature import gauss_points
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from geometries.mesh import EXTERIOR
from geometries.mesh_refinement import refine_locally, refine_uniformly
from geometries.mesher import mesh_section
from geometries.node_layout import ORDERS, edge_nodes
from geometries.triangle_edges import edges_of, smallest_angles

COPPER = fs.material("copper")
ROUND = geo.CrossSection([geo.solenoid(turns=3, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER),
                          geo.sphere(radius=8e-3, material=COPPER), geo.loop(radius=30e-3, name="loop"),
                          geo.sheet(radius=25e-3, length=20e-3, turns=5, name="sheet")])
THIN = geo.CrossSection([geo.disc(radius=15e-3, thickness=0.2e-3, material=COPPER)])


def region_areas(mesh):
    area = gauss_points(mesh, np.arange(len(mesh.triangles)), 8).dA.sum(axis=1)
    return np.bincount(mesh.region + 1, weights=area)


def is_conforming(mesh):
    """Every edge has one triangle or two, and neighbours share all its nodes."""
    edges = np.sort(mesh.triangles[:, edge_nodes(mesh.order)].reshape(-1, mesh.order + 1), axis=1)
    ends = np.sort(mesh.triangles[:, edge_nodes(mesh.order)[:, :2]].reshape(-1, 2), axis=1)
    _, count = np.unique(ends, axis=0, return_counts=True)
    return count.max() == 2 and len(np.unique(edges, axis=0)) == len(count)


def wanted_at_nodes(mesh, share):
    """Sizes that are a share of the cells' own, by place (q, 2) in units of the open radius; any size where that is 1."""
    size = np.full(mesh.size, np.inf)
    factor = share(mesh.corners.mean(axis=1) / mesh.open_radius)
    np.minimum.at(size, mesh.triangles[:, :3], np.where(factor < 1, factor * mesh.cell_size, np.inf)[:, None])
    return size


@pytest.mark.parametrize("order", ORDERS)
def test_nested_mesh_has_each_triangle_in_four_and_the_same_outlines(order):
    mesh = mesh_section(ROUND, order=order)
    fine = refine_uniformly(ROUND, mesh)
    assert fine.order == order and len(fine.triangles) == 4 * len(mesh.triangles) and is_conforming(fine)
    assert region_areas(fine) == pytest.approx(region_areas(mesh), rel=1e-9)
    assert len(fine.arc_edges) == 2 * len(mesh.arc_edges) and len(fine.sheet_edges["sheet"]) == 2 * len(mesh.sheet_edges["sheet"])
    assert fine.nodes[fine.filament_node["loop"]] == pytest.approx([30e-3, 0.0])
    corners, of_fine = (np.round(np.unique(m.nodes[m.triangles[:, :3]].reshape(-1, 2), axis=0), 12) for m in (mesh, fine))
    assert set(map(tuple, corners)) <= set(map(tuple, of_fine))
    sphere, = fine.zone_triangles("sphere")
    air = np.setdiff1d(np.arange(len(fine.triangles)), np.flatnonzero(fine.region))
    border = np.intersect1d(fine.triangles[sphere], fine.triangles[air])
    off = np.abs(np.hypot(*fine.nodes[border].T) / 8e-3 - 1).max()
    assert off < {2: 1e-4, 3: 1e-5, 4: 1e-7}[order]


def test_mapped_cells_stay_mapped_when_all_are_cut():
    mesh = mesh_section(THIN, order=4)
    fine = refine_uniformly(THIN, mesh)
    (before,), (after,) = mesh.mapped.values(), fine.mapped.values()
    assert after.shape == (2 * before.shape[0], 2 * before.shape[1])
    assert (fine.region[after] == 1).all() and is_conforming(fine)
    heights = np.ptp(fine.corners[after], axis=2)[..., 1]
    assert np.allclose(heights, heights[0]) and (np.diff(fine.corners[after].mean(axis=2)[..., 1], axis=1) > 0).all()


def test_mapped_cells_are_not_cut_where_sizes_are_wanted():
    mesh = mesh_section(THIN, order=4)
    assert refine_locally(THIN, mesh, wanted_at_nodes(mesh, lambda place: np.full(len(place), 0.4))) is None
    far = refine_locally(THIN, mesh, wanted_at_nodes(mesh, lambda place: np.where(place[:, 1] > 0.5, 0.4, 1.0)))
    (before,), (after,) = mesh.mapped.values(), far.mapped.values()
    assert far.size > 1.1 * mesh.size and np.allclose(far.corners[after], mesh.corners[before])


@pytest.mark.parametrize("order", [pytest.param(order, marks=pytest.mark.slow) if order == 3 else order for order in ORDERS])
def test_cells_are_cut_where_sizes_are_wanted(order):
    mesh = mesh_section(ROUND, order=order)
    size = wanted_at_nodes(mesh, lambda place: np.clip(0.2 + 2 * (place[:, 0] - 0.3), 0.2, 1.0))
    fine = refine_locally(ROUND, mesh, size)
    assert fine.order == order and is_conforming(fine) and region_areas(fine) == pytest.approx(region_areas(mesh), rel=1e-9)

    def cell_in(m, low, high):
        r = m.corners[:, :, 0].mean(axis=1) / m.open_radius
        return np.median(m.cell_size[(r > low) & (r < high) & (m.region != EXTERIOR)])
    assert cell_in(fine, 0.0, 0.3) < 0.4 * cell_in(mesh, 0.0, 0.3)
    assert cell_in(fine, 0.75, 1.0) == pytest.approx(cell_in(mesh, 0.75, 1.0), rel=0.25)
    assert smallest_angles(fine.triangles[:, :3], fine.nodes).min() > 25


def test_edges_that_are_too_long_by_little_are_cut_where_no_others_are():
    """A mesh of which nothing was cut would tell nothing of the errors of the one before: here of two loops, in closed form."""
    field = statics.loop_pair(0.25, 0.20, 0.10, accuracy=1e-4 / 3)
    mutual, exact = field.mutual_inductance("lower", "upper"), mutual_inductance(0.25, 0.20, 0.10)
    assert all(step.unknowns > before.unknowns for before, step in itertools.pairwise(field.convergence))
    assert abs(mutual.value - exact) < mutual.error < 1e-4 * exact


def test_a_mesh_that_cuts_would_leave_as_it_is_is_made_anew(monkeypatch):
    monkeypatch.setattr(refinement, "refine_locally", lambda section, mesh, size: mesh)
    coil = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=1)])
    field = fs.solve_static(coil, {"coil": 1.0}, accuracy=1e-6, goals="inductance")
    assert all(step.unknowns > before.unknowns for before, step in itertools.pairwise(field.convergence))


def test_nodes_slide_on_outlines_but_ends_of_sheets_and_corners_stay():
    touching = geo.CrossSection([geo.sheet(radius=25e-3, length=10e-3, turns=5, name="one"),
                                 geo.sheet(radius=25e-3, length=10e-3, turns=5, at=10e-3, name="other"),
                                 geo.sphere(radius=8e-3, material=COPPER)])
    mesh = mesh_section(touching)
    fine = refine_locally(touching, mesh, wanted_at_nodes(mesh, lambda place: np.clip(place[:, 0] + 0.1, 0.2, 1.0)))
    for name, low, high in (("one", -5e-3, 5e-3), ("other", 5e-3, 15e-3)):
        nodes = fine.nodes[fine.sheet_edges[name]]
        assert (nodes[..., 0] == 25e-3).all() and (nodes[..., 1].min(), nodes[..., 1].max()) == pytest.approx((low, high), abs=1e-15)
        assert np.abs(np.diff(nodes[:, :2, 1])).sum() == pytest.approx(high - low)
    assert region_areas(fine) == pytest.approx(region_areas(mesh), rel=1e-9)
    ends = fine.nodes[fine.arc_edges[:, :2]]
    assert np.hypot(ends[..., 0], ends[..., 1] - fine.centre) == pytest.approx(np.full(ends.shape[:2], fine.open_radius), rel=1e-12)


def test_inner_edges_have_two_triangles_and_borders_one():
    edges = edges_of(np.array([[0, 1, 2], [1, 3, 2]]), 4)
    single = edges.sides[:, 0] == edges.sides[:, 1]
    assert edges.ends[~single].tolist() == [[1, 2]] and single.sum() == 4


@pytest.mark.slow
def test_a_million_unknowns_in_two_seconds_as_good_as_the_mesher_s():
    """From 188 000 unknowns to 934 000; processor time, the best of three; angles and inductance beside those of a mesh made anew."""
    rig, mesh, anew = section(), mesh_of_size(200_500), mesh_of_size(1_000_000)
    size, seconds = wanted_at_nodes(mesh, lambda place: np.full(len(place), 0.418)), []
    for _ in range(3):
        start = time.process_time()
        fine = refine_locally(rig, mesh, size)
        seconds.append(time.process_time() - start)
    assert mesh.size < 200_000 and fine.size > 926_000 and min(seconds) < 2.0
    by_cuts, by_mesher = (smallest_angles(m.triangles[:, :3], m.nodes) for m in (fine, anew))
    assert anew.size == pytest.approx(fine.size, rel=0.01)
    assert by_cuts.min() >= by_mesher.min() and np.quantile(by_cuts, 1e-3) >= np.quantile(by_mesher, 1e-3)
    exact, of_mesher, of_cuts = (solve_on_mesh(StaticProblem(rig, {"coil": 1.0}), m).inductance("coil", "coil")
                                 for m in (mesh_section(rig, scale=0.25, order=4), anew, fine))
    assert abs(of_cuts / exact - 1) < 2 * abs(of_mesher / exact - 1) + 1e-10


def test_meshes_of_order_4_are_cut_instead_of_made_anew(monkeypatch):
    made = []
    monkeypatch.setattr(refinement, "mesh_section", lambda *given, **named: made.append(1) or mesh_section(*given, **named))
    coil = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=20e-3, height=10e-3, turns=1)])
    field = fs.solve_static(coil, {"coil": 1.0}, accuracy=1e-6, goals="inductance")
    assert field.meshes > len(made) and field.mesh.order == 4
    made.clear()
    coarse = fs.solve_static(coil, {"coil": 1.0}, accuracy=1e-2, goals="inductance")
    assert coarse.meshes == len(made) and coarse.mesh.order == 2
