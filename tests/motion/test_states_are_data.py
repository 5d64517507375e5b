"""What moves is data: bodies' states pickle, and a copy goes on as the original does."""
import copy
import pickle

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.motion.contract import DeformingMotion, Motion
from fieldsolve.motion.defaults import with_grids
from fieldsolve.motion.movement import build_movement
from geometries.mesher import mesh_section

COPPER = fs.material("copper")
MOTIONS = {"disc": fs.FlowMotion(0.5), "coil": fs.HoopMotion(), "ring": fs.RadialMotion(flow_stress=90e6), "plate": fs.AxialMotion()}


@pytest.fixture(scope="module")
def movement():
    section = geo.CrossSection([
        geo.disc(radius=15e-3, thickness=2e-3, material=COPPER, name="disc"),
        geo.solenoid(turns=2, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER, name="coil"),
        geo.ring(radius=10e-3, wire_diameter=1e-3, material=COPPER, name="ring", at=5e-3),
        geo.disc(radius=5e-3, thickness=1e-3, material=COPPER, name="plate", at=-6e-3),
    ])
    section = with_grids(section, MOTIONS)
    return build_movement(section, mesh_section(section), MOTIONS, 1e-5)


@pytest.mark.parametrize("name", MOTIONS)
def test_a_copied_state_goes_on_as_the_original(movement, name):
    k = [body.name for body in movement.bodies].index(name)
    body, motion, state = movement.bodies[k], movement.motions[k], movement.states[k]
    push = np.full_like(body.initial_positions, -20.0)
    forward = motion.advance(body, state, 0.0, 1e-7, push, push)
    for copied in (pickle.loads(pickle.dumps(state)), copy.deepcopy(state)):
        again = pickle.loads(pickle.dumps(motion)).advance(pickle.loads(pickle.dumps(body)), copied, 0.0, 1e-7, push, push)
        assert np.array_equal(motion.positions(body, again, 1e-7), motion.positions(body, forward, 1e-7))
        assert again.energy == forward.energy
        assert motion.observables(again) == motion.observables(forward)
    assert forward.energy.kinetic > 0
    assert state.energy.kinetic == 0


@pytest.mark.parametrize("motion", [*MOTIONS.values(), fs.PrescribedMotion(lambda time, r, z: (r, z))], ids=lambda m: type(m).__name__)
def test_every_motion_keeps_the_contract(motion):
    assert isinstance(motion, Motion)
    assert isinstance(motion, DeformingMotion) == isinstance(motion, fs.FlowMotion | fs.HoopMotion)


class Swing:
    """A motion of the caller's own: up and down, whatever the field does."""

    mass = 1.0

    def initial_state(self, body):
        return fs.AxialMotion(mass=1.0).initial_state(body)

    def positions(self, body, state, time):
        return body.initial_positions + np.array([0.0, 1e-4 * np.sin(2e5 * time)])

    def advance(self, body, state, time, length, before, after, heat=0.0):
        return state

    def observables(self, state):
        return {"swing": 1.0}


def test_a_motion_of_the_caller_moves_a_body():
    coil = geo.solenoid(turns=2, bore_radius=16e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER, name="coil")
    plate = geo.disc(radius=8e-3, thickness=1e-3, material=COPPER, name="plate")
    shot = fs.solve_shot(geo.CrossSection([coil, plate]), fs.PrescribedCurrents({"coil": ([0.0, 1e-5], [0.0, 1e3])}), end_time=1e-5,
                         motion={"plate": Swing()}, heating=False, accuracy=0.1)
    lowest = shot.series("lowest", "plate")
    assert lowest - lowest[0] == pytest.approx(1e-4 * np.sin(2e5 * shot.times), abs=1e-9)
    assert shot.series("swing", "plate")[-1] == 1.0


@pytest.mark.slow
def test_a_shot_by_the_law_of_zerilli_and_armstrong():
    """A copper disc by both laws: the balance closes, and the softer law (at this strain and rate) lets the disc shrink further."""
    bank = fs.Bank(capacitance=120e-6, voltage=6.5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER, name="coil")
    shots = {}
    for law in ("johnson-cook", "zerilli-armstrong"):
        disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("copper", flow_stress_law=law), name="disc")
        shots[law] = fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=12e-6, motion={"disc": fs.FlowMotion(0.5)}, accuracy=3e-2)
    for shot in shots.values():
        assert float(shot.energy.residual) < 5e-3
        assert shot.series("plastic_strain", "disc")[-1] > 0.01
    cook, armstrong = (float(shot.radius_ratio("disc")) for shot in shots.values())
    assert armstrong < cook < 0.99
