"""Metal that moves: flux kept, work of the field, air made new, order in time, rigid bodies, ends and messages."""
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import PolyCollection

import fieldsolve as fs
import geometries as geo
from benchmarks import levitation, motion, tables
from benchmarks.cases import load
from fieldsolve.circuit.prescribed_currents import waveform
from fieldsolve.errors import InputError
from fieldsolve.field.system.eddy_current import eddy_system
from fieldsolve.motion.contract import Body, MotionEnergy
from fieldsolve.motion.movement import build_movement
from fieldsolve.motion.moving_mesh.flux_transport import build_flux_transport
from fieldsolve.motion.moving_mesh.moving_mesh import build_moving_mesh
from fieldsolve.motion.rigid import GRAVITY, RigidState
from fieldsolve.report.plots.flux_map import plot_field
from geometries.mesh import AIR, EXTERIOR
from geometries.mesher import mesh_section
from tests.field.virtual_work import work_two_ways

MOVING = load("motion.toml")
SLOW = ("coil-past-a-tube", "ring-with-one-freedom", "levitated-plate-static", "flux-compressed-by-a-ring")
COPPER = fs.Material(conductivity=5.8e7, density=8960.0)


def coil(**options):
    return geo.winding(**{"inner_radius": 20e-3, "outer_radius": 24e-3, "height": 6e-3, "turns": 40, "name": "coil", **options})


def plate(at, **options):
    return geo.disc(radius=15e-3, thickness=2e-3, at=at, material=COPPER, name="plate", **options)


@pytest.fixture(scope="module")
def still():
    """A moving mesh of disc and coil, where it stands at first."""
    section = geo.CrossSection([coil(), plate(0.0)])
    return section, build_moving_mesh(mesh_section(section, scale=2.0))


def displaced(moving, section, name, shift):
    nodes = moving.reference_mesh.nodes[:moving.kept_count].copy()
    nodes[np.unique(moving.reference_mesh.triangles[moving.reference_mesh.part_triangles(name)])] += shift
    return moving.deformed(nodes)


# ---- the mesh ----------------------------------------------------------------------------------------------------

def test_air_follows_the_bodies_and_nothing_else_moves(still):
    section, moving = still
    after = displaced(moving, section, "plate", [0.0, 1e-3])
    assert moving.is_well_shaped(after) and (after.area > 0).all()
    assert np.array_equal(after.nodes[np.unique(after.triangles[after.region == EXTERIOR])],
                          moving.reference_mesh.nodes[np.unique(after.triangles[after.region == EXTERIOR])])
    on_axis = moving.reference_mesh.nodes[:, 0] == 0
    assert (after.nodes[on_axis, 0] == 0).all()
    assert after.area[after.region >= AIR].sum() == pytest.approx(moving.reference_mesh.area[after.region >= AIR].sum(), rel=1e-12)


def test_air_far_from_what_moves_stays(still):
    """Where it would follow by a tenth of the displacement and less, and the rest follows as if it did, to about as much."""
    section, all_move = still
    moving = build_moving_mesh(mesh_section(section, scale=2.0), ["plate"])
    near, everywhere = (displaced(each, section, "plate", [0.0, 1e-3]) for each in (moving, all_move))
    shift, full = near.nodes - moving.reference_mesh.nodes, everywhere.nodes - moving.reference_mesh.nodes
    stays = (shift == 0).all(axis=1) & (full != 0).any(axis=1)
    assert stays.sum() > 20 and np.abs(full[stays]).max() < 0.101e-3
    assert np.abs(shift - full).max() < 0.1e-3 and (shift[:, 1] > 0.1e-3).sum() > 100 and moving.is_well_shaped(near)


def test_poor_air_is_found_and_made_new_around_nodes_that_stay(still):
    section, moving = still
    poor = displaced(moving, section, "plate", [0.0, 8e-3])
    assert not moving.is_well_shaped(poor)
    fresh = moving.remeshed(displaced(moving, section, "plate", [0.0, 2e-3]))
    before = displaced(moving, section, "plate", [0.0, 2e-3])
    assert np.array_equal(fresh.reference_mesh.nodes[:fresh.kept_count], before.nodes[:moving.kept_count])
    solid = before.region != AIR
    assert np.array_equal(fresh.reference_mesh.triangles[:solid.sum()], before.triangles[solid])
    assert (fresh.reference_mesh.area > 0).all()
    assert fresh.reference_mesh.area[fresh.reference_mesh.region == AIR].sum() == pytest.approx(
        before.area[before.region == AIR].sum(), rel=1e-12
    )


def test_the_mesh_stays_while_bodies_move_by_next_to_nothing_and_then_takes_them_to_their_place():
    section = geo.CrossSection([coil(), plate(0.0)])
    fall = fs.PrescribedMotion(lambda t, r, z: (r, z + 1e-3 * t))           # 1 mm/s: a millionth of the thickness in 2 us
    movement = build_movement(section, mesh_section(section, scale=2.0), {"plate": fall}, end_time=1e-5)
    nodes, first = movement.bodies[0].nodes, movement.current_mesh
    movement.start((np.zeros((len(nodes), 2)),))
    followed = []
    for _ in range(3):
        movement.predict(0.8e-6, (1.0,))
        followed.append(movement.moves_mesh(0.8e-6))
        movement.accept(0.8e-6, (np.zeros((len(nodes), 2)),), energy=1.0)
    assert followed == [False, False, True]
    shift = movement.current_mesh.nodes[nodes] - first.nodes[nodes]
    assert shift == pytest.approx(np.tile([0.0, 2.4e-9], (len(nodes), 1)), rel=1e-10, abs=1e-19)


# ---- flux and force ------------------------------------------------------------------------------------------------

def test_uniform_contraction_keeps_the_flux_on_the_axis_too(still):
    _, moving = still
    mesh, transport = moving.reference_mesh, build_flux_transport(moving.reference_mesh)
    after = mesh.nodes * [0.8, 1.5]
    share = transport.flux_ratio(mesh.nodes, after)
    assert len(transport.on_axis) > 3
    assert share[transport.metal] == pytest.approx(0.8**-2, rel=1e-12)
    assert (np.delete(share, transport.metal) == 1).all()


def test_force_is_the_change_of_the_fields_energy(still):
    """Along a random displacement of all nodes, u moved along and r^2 u kept in metal; the central difference is off as its square."""
    section, moving = still
    mesh, transport = moving.reference_mesh, build_flux_transport(moving.reference_mesh)
    change, work = work_two_ways(eddy_system(section, mesh), transport)
    assert change == pytest.approx(work, rel=1e-6)


def test_forces_are_gathered_as_the_nodes_are_moved(still):
    _, moving = still
    rng = np.random.default_rng(6)
    forces, shift = rng.normal(size=(moving.reference_mesh.size, 2)), 1e-6 * rng.normal(size=(moving.kept_count, 2))
    shift[moving.reference_mesh.nodes[:moving.kept_count, 0] == 0, 0] = 0
    displacement = moving.deformed(moving.reference_mesh.nodes[:moving.kept_count] + shift).nodes - moving.reference_mesh.nodes
    assert (forces * displacement).sum() == pytest.approx((moving.gather_forces(forces) * shift).sum(), rel=1e-8)


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow if name in SLOW else ()) for name in MOVING])
def test_cases(name):
    found = list(motion.checks([name]))
    assert {check.quantity for check in found} == set(MOVING[name].quantities)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


@pytest.mark.slow
def test_the_plate_flies_as_measured():
    found = list(levitation.checks())
    assert len(found) > 8 and all(check.passed for check in found), "\n".join(map(tables.line, found))


def test_order_two_in_time_with_motion():
    """Differences of radius, speed and current between halved steps fall as their square, before the current's first zero."""
    solenoid = geo.solenoid(turns=3, bore_radius=27e-3, wire_diameter=3e-3, pitch=3.5e-3, material=COPPER, name="coil")
    ring = geo.tube(inner_radius=24.5e-3, wall=1e-3, length=6e-3, material=COPPER, name="ring")
    section, bank = geo.CrossSection([solenoid, ring]), fs.Bank(60e-6, 6e3, resistance=5e-3, inductance=300e-9)
    mesh = mesh_section(section, scale=2.0)
    shots = [fs.solve_shot(section, bank, end_time=12e-6, motion={"ring": fs.RadialMotion(flow_stress=50e6)}, heating=False, step=step,
                           mesh=mesh, error_bounds=False) for step in (1e-6, 0.5e-6, 0.25e-6)]
    assert all(not shot.events and shot.remesh_count == 0 for shot in shots)
    ends = np.array([[shot.series(*key)[-1] for key in (("radius", "ring"), ("speed", "ring"), ("current", "coil"), ("current", "ring"))]
                     for shot in shots])
    coarse, fine = np.diff(ends, axis=0)
    assert np.log2(np.abs(coarse / fine)).min() > 1.8
    residuals = [float(shot.energy.residual) for shot in shots]
    assert residuals[2] < 0.002 and residuals[0] / residuals[2] > 6
    assert ends[2, 0] < 24.8e-3                                         # the ring has moved


# ---- bodies ------------------------------------------------------------------------------------------------------

def body_of(mass=0.1, volume=1e-6, radius=20e-3):
    corners = np.array([radius, 0.0]) + 1e-3 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    part = geo.tube(inner_radius=radius - 1e-3, wall=2e-3, length=2e-3, name="body", material=fs.material("copper"))
    return Body(name="body", nodes=np.arange(4), initial_positions=corners, mass=mass, volume=volume, radius=radius, height=0.0,
                perfectly_conducting=False, edge_ends=np.stack([corners, corners], axis=1), part=part, materials=(part.zones[0].material,),
                triangles=corners[[[0, 1, 2], [0, 2, 3]]], triangle_indices=np.arange(2))


def test_a_body_without_force_falls_freely_and_rests_on_its_support():
    body, none = body_of(), np.zeros((4, 2))
    fallen = fs.AxialMotion(gravity=True).advance(body, RigidState(0.0, 0.0), 0.0, 0.1, none, none)
    assert fallen.coordinate == pytest.approx(-0.5 * GRAVITY * 0.01, rel=1e-12) and fallen.speed == pytest.approx(-GRAVITY * 0.1, rel=1e-12)
    assert fallen.energy.kinetic + fallen.energy.potential == pytest.approx(0, abs=1e-12)
    held = fs.AxialMotion(gravity=True, supported=True).advance(body, RigidState(0.0, 0.0), 0.0, 0.1, none, none)
    assert (held.coordinate, held.speed) == (0.0, 0.0)


def test_a_ring_flows_only_above_its_strength_and_comes_to_rest():
    motion_of_ring, body = fs.RadialMotion(flow_stress=1e8), body_of()
    push = np.zeros((4, 2))
    push[:, 0] = -0.24 * 1e8 * body.volume / body.radius                # 0.96 of its strength
    start = motion_of_ring.initial_state(body)
    assert motion_of_ring.advance(body, start, 0.0, 1e-3, push, push) == start
    fast = replace(start, speed=-5.0, energy=MotionEnergy(kinetic=0.5 * body.mass * 25))
    none = np.zeros((4, 2))
    rest = motion_of_ring.advance(body, fast, 0.0, 1e-3, none, none)
    assert rest.speed == 0 and rest.energy.dissipated == pytest.approx(fast.energy.kinetic, rel=0.02)


def test_a_plate_thrown_at_the_coil_ends_the_run_with_names_place_and_time():
    section = geo.CrossSection([coil(inner_radius=5e-3), plate(8e-3)])
    shot = fs.solve_shot(section, fs.PrescribedCurrents({"coil": lambda time: 1.0}), end_time=1e-3, heating=False, accuracy=0.1,
                         motion={"plate": fs.AxialMotion(speed=-10.0)}, error_bounds=False)
    assert len(shot.events) == 1 and "plate comes within" in shot.events[0][1] and "the run ends" in shot.events[0][1]
    assert (
        shot.times[-1] == pytest.approx(4e-4, rel=0.05)
        and shot.events[0][0] == shot.times[-1]
        and shot.stop_reason
        and not shot.interrupted
    )
    assert shot.series("height", "plate")[-1] == pytest.approx(4e-3, abs=2e-4)
    assert "the run ends" in shot.summary() and shot.field_at(shot.times[-1]).net_current("plate") != 0
    drawn = np.concatenate([path.vertices for mark in plot_field(shot.field_at(shot.times[-1])).collections
                            if isinstance(mark, PolyCollection) for path in mark.get_paths()])
    assert drawn[drawn[:, 0] < 4.9, 1].max() == pytest.approx(1e3 * shot.series("height", "plate")[-1] + 1.0, abs=1e-2)   # where it is now


def test_a_body_that_is_turned_inside_out_is_named_and_what_was_computed_is_kept():
    section = geo.CrossSection([coil(), plate(0.0)])
    kept = fs.solve_shot(section, fs.PrescribedCurrents({"coil": lambda time: 1.0}), end_time=1e-3, heating=False, accuracy=0.1,
                         motion={"plate": fs.PrescribedMotion(lambda time, r, z: (r, z * (1 - 2e3 * time)))}, error_bounds=False)
    time, event = kept.events[-1]
    assert re.search(r"plate is folded at r = .* mm, z = .* mm, .*: the run ends", event) and kept.stop_reason in event
    assert 1e-4 < time == kept.times[-1] < 5e-4


def test_a_triangle_squeezed_flat_is_spent_before_it_is_turned_inside_out(still):
    _, moving = still
    inside = moving.reference_mesh.part_triangles("plate")[3]
    flat = moving.reference_mesh.nodes[:moving.kept_count].copy()
    a, b, c = moving.reference_mesh.triangles[inside, :3]
    middle = 0.5 * (flat[a] + flat[b])
    flat[c] = middle + 5e-4 * (flat[c] - middle)
    assert inside in moving.degenerate_triangles(moving.deformed(flat)) and not len(moving.degenerate_triangles(moving.reference_mesh))
    reference = moving.deformed(flat)                # as after new air, made round the flat triangle: the start is what counts
    assert inside in replace(moving, reference_mesh=reference).degenerate_triangles(reference)


# ---- driven coils --------------------------------------------------------------------------------------------------

def test_given_currents_are_kept_and_their_energy_closes_at_second_order():
    section = geo.CrossSection([geo.solenoid(turns=3, bore_radius=20e-3, wire_diameter=3e-3, pitch=3.5e-3, material=COPPER, name="coil"),
                                plate(0.0)])
    omega = 2 * math.pi * 20e3
    drive, mesh = fs.PrescribedCurrents({"coil": lambda time: 1e3 * math.sin(omega * time)}), mesh_section(section, scale=2.0)
    shots = [fs.solve_shot(section, drive, end_time=50e-6, motion=False, heating=False, step=step, mesh=mesh, error_bounds=False)
             for step in (1e-6, 0.5e-6)]
    for shot in shots:
        assert shot.series("current", "coil") == pytest.approx(1e3 * np.sin(omega * shot.times), abs=1.0)
    assert shots[1].energy.residual < 2e-3 and shots[0].energy.residual / shots[1].energy.residual > 3


def test_a_table_of_currents_ends_steps_on_its_corners():
    section = geo.CrossSection([coil(), plate(0.0)])
    drive = fs.PrescribedCurrents({"coil": ([0, 2e-5, 5e-5], [0, 100.0, 100.0])})
    shot = fs.solve_shot(section, drive, end_time=5e-5, motion=False, heating=False, accuracy=3e-2, error_bounds=False)
    assert np.abs(shot.times - 2e-5).min() < 1e-15
    assert shot.series("current", "coil") == pytest.approx(np.interp(shot.times, [0, 2e-5], [0, 100.0]), abs=1e-6)
    assert waveform("coil", ([0, 1], [2, 4]))(0.5) == 3


# ---- messages ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("motions", "message"), [
    ({"plat": fs.AxialMotion()}, "plat"),
    ({"plate": "up"}, "expected fs.AxialMotion"),
    ({"plate": fs.PrescribedMotion(lambda time, r, z: (r, z + 1e-3))}, "at time 0 it is 0.001 m away"),
    ({"plate": fs.PrescribedMotion(lambda time, r, z: (r, z + (math.nan if time else 0)))}, "is not a number"),
])
def test_bad_motions_say_what_and_what_to_do(motions, message):
    section = geo.CrossSection([coil(), plate(0.0)])
    with pytest.raises((InputError, fs.errors.GeometryError, fs.errors.SolveError), match=message):
        fs.solve_shot(
            section, fs.PrescribedCurrents({"coil": lambda time: 1.0}), end_time=1e-4, motion=motions, accuracy=0.1, heating=False
        )


@pytest.mark.parametrize(("metal", "message"), [
    (fs.Material(conductivity=1e7), "has no density: give mass="),
    (fs.Material(conductivity=1e7, density=7800.0, remanence=1.2), "is a magnet"),
])
def test_metal_that_cannot_move_is_refused(metal, message):
    section = geo.CrossSection([coil(), geo.disc(radius=15e-3, thickness=2e-3, material=metal, name="plate")])
    drive = fs.PrescribedCurrents({"coil": lambda time: 1.0})
    with pytest.raises(InputError, match=message):
        fs.solve_shot(section, drive, end_time=1e-4, motion={"plate": fs.AxialMotion()}, heating=False)


@pytest.mark.parametrize(("make", "message"), [
    (lambda: fs.RadialMotion(flow_stress=-1.0), "flow_stress = -1 Pa"),
    (lambda: fs.AxialMotion(mass=-1.0), "mass = -1 kg: give a positive number"),
    (lambda: fs.RadialMotion(flow_stress=1.0, mass=0.0), "mass = 0 kg: give a positive number"),
    (lambda: fs.PrescribedCurrents({}), "nothing drives the field"),
    (lambda: fs.PrescribedCurrents({"coil": 5.0}), "give a function of time or"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 0], [1, 2])}), "must be finite numbers that rise"),
    (lambda: fs.PrescribedCurrents({"coil": ([0, 1], [1, math.nan])}), "as many finite values"),
    (lambda: fs.PrescribedCurrents({}, applied_field=math.nan), "applied_field = nan: give a finite number of tesla"),
])
def test_bad_descriptions_are_refused(make, message):
    with pytest.raises(InputError, match=message):
        make()
