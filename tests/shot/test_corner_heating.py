"""The hottest surface of metal: heat at the corners of cells against closed forms, and a shot's against a finer run."""
import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.special import jv

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.harmonic.solution import solve_at_frequency
from fieldsolve.field.quantities.induced_currents import triangle_heat_rates
from fieldsolve.field.system.eddy_current import eddy_system
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.materials.thermal import ROOM_TEMPERATURE
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.result.error_model import UNRESOLVED_SHARE
from geometries.mesher import mesh_section

RADIUS, SIGMA, FREQUENCY, FACE_FIELD = 5e-3, 5.8e7, 20e3, 1e6
OMEGA = 2 * math.pi * FREQUENCY
CONSTANT = fs.Material(conductivity=SIGMA, density=8900.0, heat_capacity=385.0, temperature_coefficient=0.0)
COPPER = fs.material("copper")


def stage(system, u_t):
    """A stage of metal without coils in which the field changes at a rate u_t (n,)."""
    model = SimpleNamespace(system=system, currents_by_name=lambda x: {})
    return SimpleNamespace(model=model, value=np.zeros(len(u_t)), derivative=u_t, heat_rate=triangle_heat_rates(system, u_t, {}))


def skin_of_a_cylinder(cell: float) -> tuple[float, float]:
    """(relative error at the hottest corner, that of the hottest cell) of a period's heat at a long cylinder's surface.

    H = H_0 J_0(k r) / J_0(k a) with k^2 = -j omega mu_0 sigma, and E = -(dH/dr) / sigma: the heat is that of the quadrature phases.
    """
    rod = geo.cylinder(radius=RADIUS, length=cell, material=CONSTANT)
    section = geo.AxialStrip([rod])
    mesh = mesh_section(section, part_sizes={"cylinder": cell})
    system = eddy_system(section, mesh)
    u_t = 1j * OMEGA * solve_at_frequency(HarmonicProblem(section, {}, {}, face_fields={"outer": FACE_FIELD}), system, OMEGA).solution.total
    heating, period = Heating(section, mesh, system.sigma), 1 / FREQUENCY
    heating.add_current((stage(system, u_t.real), stage(system, u_t.imag)), (0.5, 0.5), period)
    k = np.sqrt(-1j * OMEGA * MU_0 * SIGMA)
    field = k * FACE_FIELD / SIGMA * jv(1, k * RADIUS) / jv(0, k * RADIUS)
    heat = 0.5 * SIGMA * abs(field) ** 2 * period
    rise = heating.observables(("cylinder",))["temperature", "cylinder"] - ROOM_TEMPERATURE
    return abs(rise * 8900.0 * 385.0 / heat - 1), abs(heating.enthalpy.max() / heat - 1)


def test_the_surface_under_a_skin_is_right_and_converges_as_the_field_does():
    """Cells of 1.6, 0.8 and 0.4 skin depths: the error at a corner falls with about their third power, that of means with the first."""
    delta = fs.skin_depth(frequency=FREQUENCY, conductivity=SIGMA)
    errors, means = np.transpose([skin_of_a_cylinder(share * delta) for share in (1.6, 0.8, 0.4)])
    assert errors[0] < 5e-3 and errors[1] < 1e-3
    assert np.log2(errors[0] / errors[2]) / 2 > 2.5
    assert means.min() > 0.05 and np.log2(means[0] / means[2]) / 2 == pytest.approx(1.0, abs=0.15)


def test_a_constant_field_heats_through_melting_as_the_integral_of_resistivity_tells():
    """E^2 t = integral of rho dh; to second order in the step.  The action is the integral of sigma dh."""
    section = geo.CrossSection([geo.tube(inner_radius=8e-3, wall=1e-3, length=1e-3, material=COPPER)])
    mesh, content = mesh_section(section), heat_content(COPPER)
    system, goal = eddy_system(section, mesh), sum(content.melting_range) / 2 + 300.0
    h = np.linspace(0.0, float(content.enthalpy(goal)), 200_001)
    time, field = 1e-5, math.sqrt(trapezoid(1 / content.conductivity_of(h), h) / 1e-5)
    u_t = np.divide(-field, mesh.nodes[:, 0], out=np.zeros(mesh.size), where=mesh.nodes[:, 0] > 0)
    action, errors = content.action(goal) / content.action(content.melting_range[0]), []
    for steps in (80, 160, 320):
        heating = Heating(section, mesh, system.sigma)
        for _ in range(steps):
            heating.corners.add_current((stage(system, u_t),), (1.0,), time / steps)
        errors.append((abs(heating.corners.hottest("tube") / goal - 1), abs(heating.corners.action_share("tube") / action - 1)))
    assert (np.array(errors[-1]) < 2e-3).all() and (np.array(errors[0]) / errors[-1] > 8).all()


def test_heat_known_by_cell_reaches_the_corners_between():
    section = geo.CrossSection([geo.disc(radius=1e-2, thickness=1e-3, material=CONSTANT)])
    mesh = mesh_section(section)
    heating = Heating(section, mesh, np.where(mesh.region > 0, SIGMA, 0.0))
    heating.add(heating.metal.volume * 8900.0 * 385.0 * 50.0)                              # 50 K everywhere
    assert heating.corners.hottest("disc") == pytest.approx(ROOM_TEMPERATURE + 50.0)
    heating.add(-heating.metal.volume * 8900.0 * 385.0 * 50.0)
    assert heating.corners.hottest("disc") == pytest.approx(ROOM_TEMPERATURE)


def test_strands_have_no_corners_of_their_own():
    coil = geo.winding(inner_radius=1e-2, outer_radius=2e-2, height=1e-2, turns=9, fill=0.6, material=COPPER)
    section = geo.CrossSection([coil])
    mesh = mesh_section(section)
    heating = Heating(section, mesh, np.where(mesh.region > 0, SIGMA, 0.0), 0.6)
    heating.add(heating.metal.volume * 1e8)
    assert not heating.corners.zones and heating.observables((coil.name,))["temperature", coil.name] > ROOM_TEMPERATURE + 10


@pytest.mark.slow
@pytest.mark.parametrize("motion", [False, {"disc": fs.AxialMotion()}])
def test_the_hottest_surface_of_a_shot_is_within_its_bound_and_2_percent(motion):
    coil = geo.solenoid(turns=2, bore_radius=15.6e-3, wire_section=(2.4e-3, 2.4e-3), pitch=3.2e-3, material=COPPER)     # sharp edges
    disc = geo.disc(radius=14.5e-3, thickness=2e-3, at=1e-3, material=fs.material("aluminium 1100-O"))
    bank = fs.Bank(capacitance=60e-6, voltage=5e3, resistance=6e-3, inductance=350e-9)
    shot, finer = (fs.solve_shot(geo.CrossSection([coil, disc]), bank, end_time=6e-6, motion=motion, accuracy=accuracy, error_bounds=bounds)
                   for accuracy, bounds in ((3e-3, True), (6e-4, False)))
    for part in ("coil", "disc"):
        coarse, fine = shot.peak("temperature", part), finer.peak("temperature", part)
        rise = fine.value - ROOM_TEMPERATURE
        assert rise > 15 and abs(coarse.value - fine.value) < min(coarse.error, 0.02 * rise)
        missed = {run: run.series("temperature", part)[-1] - run.series("cell_temperature", part)[-1] for run in (shot, finer)}
        assert missed[finer] > 2 * abs(fine.value - coarse.value)                               # by the mean of the hottest cell
        assert min(coarse.error, shot.series_error("temperature", part)[-1]) >= UNRESOLVED_SHARE * missed[shot]
