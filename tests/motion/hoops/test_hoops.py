"""Turns that stretch: exact motions, the balance of energy, the film between neighbours, formers and bursts."""
import math
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.integrate import quad

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import InputError, SolveError
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.constitutive.temperature import temperature_from_enthalpy
from fieldsolve.motion.hoops.contact import gaps
from fieldsolve.motion.hoops.explicit_step import advance_hoops
from fieldsolve.motion.hoops.former import Former
from fieldsolve.motion.hoops.hoops import (
    INSULATION_FILM,
    build_hoops,
    forces_on_hoops,
    half_widths,
    hoop_energy,
    hoops_at_rest,
    move_points,
)
from tests.motion.sample_metal import mechanical, plastic

COIL = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3)
SPIRAL = geo.spiral(turns=5, inner_radius=10e-3, wire_section=(2e-3, 4e-3), pitch=2.3e-3)
RING = geo.ring(radius=20e-3, wire_diameter=3e-3, name="coil")
COPPER = heat_content(fs.material("copper"))


def driven(hoops, force, until, step=0.25e-6, heating=0.0, state=None, each=lambda state: None):
    """State at `until` s and the work of a force that is a function of (time, state)."""
    state, work = state or hoops_at_rest(hoops), 0.0
    while state.time < until * (1 - 1e-9):
        done = advance_hoops(hoops, state, (force(state.time, state), force(state.time + step, state)), heating, step)
        state, work = done.state, work + done.work
        each(state)
    return state, work


def pulse(hoops, peak, axial=0.0, length=40e-6):
    """Force over time and place: outwards on every turn, and towards the coil's middle in proportion to the distance from it."""
    z = hoops.positions[:, 1] / max(np.abs(hoops.positions[:, 1]).max(), 1e-9)
    shape = np.stack([np.full(len(z), peak), -axial * z], axis=1)
    return lambda time, _: shape * math.sin(math.pi * time / length) ** 2 * (time < length)


def smallest_room(hoops, state):
    """Smallest gap over the film it must keep."""
    gap, *_ = gaps(hoops.pairs, state.positions, half_widths(hoops, state.positions), hoops.is_round)
    return (gap / hoops.film).min()


def test_masses_and_films_of_a_coil():
    hoops = build_hoops([COIL], [mechanical()], [None])
    middle = 15.6e-3 + 1.5e-3
    assert hoops.mass == pytest.approx(np.full(8, 8960 * 2 * math.pi * middle * math.pi * 1.5e-3**2), rel=1e-12)
    assert hoops.positions[:, 0] == pytest.approx(np.full(8, middle))
    assert hoops.film == pytest.approx(np.full(28, INSULATION_FILM * 3e-3))
    loose = geo.winding(inner_radius=10e-3, outer_radius=12e-3, height=5e-3, turns=20, fill=0.6)
    assert build_hoops([loose], [mechanical()], [None]).mass == pytest.approx([8960 * 0.6 * math.pi * (12e-3**2 - 10e-3**2) * 5e-3])


def test_wires_closer_than_the_film_keep_what_they_have():
    tight = geo.solenoid(turns=2, bore_radius=15e-3, wire_diameter=3e-3, pitch=3.01e-3)
    assert build_hoops([tight], [mechanical()], [None]).film == pytest.approx([0.01e-3], rel=1e-6)


def test_an_elastic_hoop_breathes_as_a_thin_ring():
    """omega = sqrt(E/density)/r; A. E. H. Love, Mathematical Theory of Elasticity (1927), 293."""
    hoops = build_hoops([RING], [plastic(1e15)], [None])
    omega = math.sqrt(117e9 / 8960) / 20e-3
    state = replace(hoops_at_rest(hoops), velocities=np.array([[1.0, 0.0]]))
    state, _ = driven(hoops, lambda *_: np.zeros((1, 2)), 2 * math.pi / omega * 3, step=2 * math.pi / omega / 40, state=state)
    assert abs(state.positions[0, 0] - 20e-3) < 1e-2 / omega
    assert state.velocities[0, 0] == pytest.approx(1.0, rel=1e-3)


def test_a_rigid_plastic_ring_under_a_constant_force():
    """m v^2/2 = F (r - r_0) - Y V ln(r/r_0), and the time from it by quadrature; a hundred times as stiff as copper, for what is elastic
    gives way for some microseconds before it flows."""
    flow_stress, force = 200e6, 60e3
    hoops = build_hoops([RING], [plastic(flow_stress, youngs_modulus=117e11)], [None])
    mass, volume = hoops.mass[0], hoops.volume[0]

    def speed(r):
        return math.sqrt(2 / mass * (force * (r - 20e-3) - flow_stress * volume * math.log(r / 20e-3)))

    reached = 27e-3
    time = quad(lambda root: 2 * root / speed(20e-3 + root**2), 0, math.sqrt(reached - 20e-3))[0]
    state, _ = driven(hoops, lambda *_: np.array([[force, 0.0]]), time, step=time / 50)
    assert state.positions[0, 0] == pytest.approx(reached, rel=1e-3)
    assert state.velocities[0, 0] == pytest.approx(speed(state.positions[0, 0]), rel=1e-5)


@pytest.mark.parametrize("coil", [COIL, SPIRAL], ids=["solenoid", "spiral"])
@pytest.mark.parametrize("axial", [0.0, 30e3])
def test_the_balance_of_energy_closes_and_the_film_stays(coil, axial):
    hoops = build_hoops([coil], [mechanical()], [COPPER])
    rooms = []
    state, work = driven(hoops, pulse(hoops, 100e3, axial), 60e-6, heating=1e5, each=lambda now: rooms.append(smallest_room(hoops, now)))
    energy = hoop_energy(hoops, state)
    assert state.plastic_work.sum() > 100.0
    assert energy.total == pytest.approx(work, rel=2e-4)
    assert min(rooms) > 1.0
    if coil is COIL and axial:
        assert min(rooms) < 1.01
        assert state.contact_loss + state.former_loss > 0
        assert state.positions[:, 1] == pytest.approx(-state.positions[::-1, 1], abs=1e-9)


def test_heat_is_that_of_current_and_plastic_work():
    hoops = build_hoops([COIL], [mechanical()], [COPPER])
    state, _ = driven(hoops, pulse(hoops, 100e3), 40e-6, heating=np.full(8, 1e6))
    assert state.enthalpy * hoops.volume == pytest.approx(1e6 * 40e-6 + 0.9 * state.plastic_work, rel=1e-9)
    assert (temperature_from_enthalpy(hoops.heat_contents, state.enthalpy) > 300).all()


def test_turns_pressed_together_move_as_one_and_do_not_bounce():
    """Three turns, the outer two thrown at the middle one: their energy is lost, but for what drives squeezed turns outwards."""
    coil = geo.solenoid(turns=3, bore_radius=15e-3, wire_diameter=3e-3, pitch=3.3e-3)
    hoops = build_hoops([coil], [plastic(1e15)], [None])
    state = replace(hoops_at_rest(hoops), velocities=np.array([[0.0, 30.0], [0.0, 0.0], [0.0, -30.0]]))
    state, _ = driven(hoops, lambda *_: np.zeros((3, 2)), 20e-6, state=state)
    assert np.abs(state.velocities[:, 1]).max() < 0.3
    assert state.contact_loss + state.former_loss == pytest.approx(0.5 * hoops.mass[0] * 2 * 30**2, rel=0.02)
    assert 1.0 <= smallest_room(hoops, state) < 1.01


def test_one_turn_thrown_at_the_next_takes_it_along():
    coil = geo.solenoid(turns=2, bore_radius=15e-3, wire_diameter=3e-3, pitch=3.3e-3)
    hoops = build_hoops([coil], [plastic(1e15)], [None])
    state = replace(hoops_at_rest(hoops), velocities=np.array([[0.0, 40.0], [0.0, 0.0]]))
    state, _ = driven(hoops, lambda *_: np.zeros((2, 2)), 20e-6, state=state)
    assert state.velocities[:, 1] == pytest.approx([20.0, 20.0], rel=3e-3)
    assert state.velocities[:, 1].sum() == pytest.approx(40.0, rel=1e-12)


def test_more_contacts_than_freedoms():
    """A close pack of three layers pressed from all sides stays apart."""
    coil = geo.solenoid(turns=12, layers=3, bore_radius=15e-3, wire_diameter=2e-3, pitch=2.1e-3, layer_pitch=2.1e-3)
    hoops = build_hoops([coil], [mechanical()], [None])
    inwards = hoops.positions - hoops.positions.mean(axis=0)
    rooms = []
    driven(hoops, lambda *_: -3e7 * inwards, 30e-6, each=lambda state: rooms.append(smallest_room(hoops, state)))
    assert 1.0 < min(rooms) < 1.01


def test_points_of_a_turn_and_their_forces():
    """Points ride with the shrinking section; what their forces do as work is what the turn's force does."""
    hoops = build_hoops([COIL, RING.named("other")], [mechanical()] * 2, [None] * 2)
    random = np.random.default_rng(4)
    turn = np.arange(9).repeat(5)
    points = hoops.positions[turn] + random.uniform(-1e-3, 1e-3, (45, 2))
    loads, now = random.normal(size=(45, 2)), hoops.positions * 1.2 + random.uniform(-1e-3, 1e-3, (9, 2))
    assert move_points(hoops, hoops.positions, turn, points) == pytest.approx(points)
    move = 1e-8 * random.normal(size=(9, 2))
    moved = move_points(hoops, now + move, turn, points) - move_points(hoops, now - move, turn, points)
    assert (forces_on_hoops(hoops, now, turn, points, loads) * 2 * move).sum() == pytest.approx((loads * moved).sum(), rel=1e-6)


def test_a_former_adds_mass_and_strength():
    former = Former(mass=0.080, stiffness=4e6, strength=1e9)
    bare, cast = build_hoops([COIL], [mechanical()], [None]), build_hoops([COIL], [mechanical()], [None], {"coil": former})
    assert cast.mass == pytest.approx(bare.mass + 0.010)
    (free, _), (held, work) = (driven(hoops, pulse(hoops, 100e3), 60e-6) for hoops in (bare, cast))
    assert held.positions[0, 0] - 17.1e-3 < 0.7 * (free.positions[0, 0] - 17.1e-3)
    assert hoop_energy(cast, held).total == pytest.approx(work, rel=2e-4)


def test_a_former_that_breaks_lets_its_energy_go():
    former = Former(mass=0.0, stiffness=4e6, strength=0.02 * 4e6)
    hoops = build_hoops([COIL], [mechanical()], [None], {"coil": former})
    state, work = driven(hoops, pulse(hoops, 200e3), 60e-6)
    assert not state.former_holds.any()
    assert state.former_loss == pytest.approx(8 * math.pi * 17.1e-3 * 4e6 / 8 * 0.02**2, rel=0.1)
    assert hoop_energy(hoops, state).total == pytest.approx(work, rel=1e-3)


@pytest.mark.parametrize("change", [{"mass": -1.0}, {"stiffness": 0.0}, {"strength": math.nan}])
def test_a_former_that_cannot_be_is_refused(change):
    with pytest.raises(InputError, match=f"former: {next(iter(change))}"):
        Former(**{"mass": 0.1, "stiffness": 1e6, "strength": 1e5} | change)


def test_a_former_without_its_coil_is_refused():
    with pytest.raises(InputError, match=r"former of cool.*coil"):
        build_hoops([COIL], [mechanical()], [None], {"cool": Former(0.1, 1e6, 1e5)})


def test_a_coil_without_section_is_refused():
    with pytest.raises(InputError, match="no section"):
        build_hoops([geo.loop(radius=10e-3, name="coil")], [mechanical()], [None])


def test_a_burst_is_when_and_how_the_first_turn_breaks():
    """Turns thrown apart at once and free of stress to speak of: strain 0.3 and 0.5 at known times, energy and speed exactly those."""
    hoops = build_hoops([COIL, RING.named("other").moved(40e-3)], [plastic(1.0, ductility=(0.3, 0.5))] * 2, [None] * 2)
    speeds = np.append(np.linspace(100, 170, 8), 50.0)
    state = replace(hoops_at_rest(hoops), velocities=np.stack([speeds, np.zeros(9)], axis=1))
    zero = np.zeros((9, 2))
    state, _ = driven(hoops, lambda *_: zero, 60e-6, step=1e-6, state=state)
    earliest, latest = state.bursts["coil"]
    assert earliest.time == pytest.approx(17.1e-3 * (math.exp(0.3) - 1) / speeds[7], rel=1e-4)
    assert latest is None or latest.time > 60e-6 * 0.9
    assert earliest.turn == "coil, turn 8"
    assert earliest.mass == pytest.approx(hoops.mass[:8].sum())
    assert earliest.speed == pytest.approx(speeds[7], rel=1e-5)
    assert earliest.kinetic_energy == pytest.approx((hoops.mass[:8] * speeds[:8] ** 2).sum() / 2, rel=1e-5)
    assert state.bursts["other"] == (None, None)
    state, _ = driven(hoops, lambda *_: zero, 100e-6, step=1e-6, state=state)
    assert state.bursts["coil"][0] == earliest
    assert state.bursts["coil"][1].time == pytest.approx(17.1e-3 * (math.exp(0.5) - 1) / speeds[7], rel=1e-4)


def test_an_interval_can_be_tried_again():
    hoops = build_hoops([COIL], [mechanical()], [COPPER])
    force = pulse(hoops, 100e3, 30e3)
    start, _ = driven(hoops, force, 15e-6)
    kept = {field.name: np.copy(getattr(start, field.name)) for field in fields(start) if field.name != "bursts"}
    ends = force(15e-6, None), force(16e-6, None)
    first, second = (advance_hoops(hoops, start, ends, 0.0, 1e-6).state for _ in range(2))
    assert all(np.array_equal(getattr(start, name), value) for name, value in kept.items())
    assert start.bursts == {"coil": (None, None)}
    assert np.array_equal(first.positions, second.positions)


def test_what_cannot_be_advanced_is_refused():
    hoops = build_hoops([COIL], [mechanical()], [None])
    zero, rest = np.zeros((8, 2)), hoops_at_rest(hoops)
    with pytest.raises(SolveError, match="not finite"):
        advance_hoops(hoops, rest, (zero, zero * np.nan), 0.0, 1e-6)
    with pytest.raises(InputError, match="duration"):
        advance_hoops(hoops, rest, (zero, zero), 0.0, 0.0)
    with pytest.raises(SolveError, match=r"coil, turn \d: has shrunk onto the axis at t = .* us"):
        driven(hoops, lambda *_: np.tile([-3e6, 0.0], (8, 1)), 100e-6)
