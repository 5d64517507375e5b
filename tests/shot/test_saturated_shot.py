"""Shots whose metal follows magnetization curves: invariants, limits that are straight, and the loss of magnetism on heating."""
import math

import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.field.quantities.force import force_by_stress
from fieldsolve.field.system.eddy_current import eddy_system
from fieldsolve.materials.curie import remaining_magnetization
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.motion.moving_mesh.flux_transport import build_flux_transport
from fieldsolve.motion.moving_mesh.moving_mesh import build_moving_mesh
from fieldsolve.shot.integrator.demagnetization import Demagnetization
from fieldsolve.shot.integrator.heating import Heating
from geometries.mesher import mesh_section
from tests.field.virtual_work import work_two_ways

HEATS = {"density": 8900.0, "heat_capacity": 450.0, "temperature_coefficient": 0.006}


def coil():
    return geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))


def shot_of(metal, end_time=8e-6, accuracy=2e-2, thickness=1e-3, at=0.0, **options):
    section = geo.CrossSection([coil(), geo.disc(radius=15e-3, thickness=thickness, at=at, material=metal)])
    bank = fs.Bank(capacitance=60e-6, voltage=5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
    return fs.solve_shot(section, bank, end_time=end_time, accuracy=accuracy, **{"motion": False, "error_bounds": False, **options})


def unexplained(shot):
    return float(np.abs(shot.energy.unexplained).max()) / shot.energy.scale


@pytest.fixture(scope="module")
def steel():
    return shot_of(fs.material("steel 1010"), at=2e-3)


# ---- held metal ----------------------------------------------------------------------------------------------------

def test_a_steel_disc_closes_its_energy_and_says_what_is_left_out(steel):
    assert unexplained(steel) < 5e-3
    assert "magnetization without hysteresis" in " ".join(steel.summary().split())


def test_peak_field_of_the_bore_is_not_that_at_an_edge_of_steel(steel):
    """There it has no bound; on the finer mesh it would be larger, but the peak read off the rest of the bore's border stays."""
    finer = shot_of(fs.material("steel 1010"), at=2e-3, accuracy=5e-3)
    assert steel.peak("field", "bore") == pytest.approx(finer.history.peak("field", "bore")[0], rel=5e-3)
    assert "at whose edges B has no bound" in " ".join(steel.summary().split())


def test_force_on_steel_by_virtual_work_is_that_of_the_stress_around_it(steel):
    k = int(np.abs(steel.times - 6e-6).argmin())
    field, disc = steel.field_at(float(steel.times[k])), steel.section.part("disc")
    _, around = force_by_stress(steel.section, field.mesh, field.solution.total, disc)
    assert field.axial_force("disc").value == pytest.approx(around, rel=5e-3)
    assert steel.series("axial_force", "disc")[k] == pytest.approx(field.axial_force("disc").value, rel=5e-3)


def test_a_curve_that_does_not_bend_is_a_permeability():
    straight = shot_of(fs.Material(conductivity=5e6, relative_permeability=30.0), step=0.4e-6, heating=False, end_time=4e-6)
    bent = shot_of(fs.Material(conductivity=5e6, bh_curve=fs.Frohlich(saturation=1e6, initial_permeability=30.0)), step=0.4e-6,
                   heating=False, end_time=4e-6, mesh=straight.instants[0].mesh)
    for quantity, place in (("current", "coil"), ("current", "disc"), ("axial_force", "coil")):
        assert bent.series(quantity, place) == pytest.approx(straight.series(quantity, place), rel=1e-4, abs=1e-3)
    assert bent.series("energy", "field") == pytest.approx(straight.series("energy", "field"), rel=1e-4)
    assert bent.series("radial_force", "disc") == pytest.approx(straight.series("radial_force", "disc"), rel=1e-3)


@pytest.mark.slow
def test_steps_through_saturation_are_of_second_order():
    metal = fs.Material(conductivity=5e6, bh_curve=fs.Frohlich(saturation=2.0, initial_permeability=100.0))
    runs = [shot_of(metal, step=step, heating=False, end_time=4e-6) for step in (0.4e-6, 0.2e-6, 0.1e-6)]
    coarse, middle, fine = (run.series("current", "disc")[-1] for run in runs)
    assert math.log2(abs((coarse - middle) / (middle - fine))) > 1.7


def test_a_body_at_rest_in_a_steady_field_stays_so():
    metal = fs.Material(conductivity=5e6, bh_curve=fs.Frohlich(saturation=2.0, initial_permeability=100.0))
    section = geo.CrossSection([geo.sphere(radius=10e-3, material=metal, name="ball")])
    run = fs.solve_shot(section, fs.PrescribedCurrents({}, applied_field=1.0), end_time=1e-3, motion=False, heating=False, accuracy=1e-2)
    _, B_z = run.field_at(1e-3).flux_density(0.0, 0.0)
    H = metal.bh_curve.field_strength(B_z)
    assert (B_z + 2 * MU_0 * H) / 3 == pytest.approx(1.0, rel=2e-3)           # a sphere: H + (B - mu_0 H)/(3 mu_0) = H_0
    assert np.abs(run.series("current", "ball")).max() < 1.0


# ---- force ---------------------------------------------------------------------------------------------------------

def test_force_on_saturated_metal_is_the_change_of_the_fields_energy():
    """Along a random displacement of all nodes, as in `test_motion`, with metal half way to its Curie temperature."""
    section = geo.CrossSection([coil(), geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("nickel"))])
    moving = build_moving_mesh(mesh_section(section))
    mesh, transport = moving.reference_mesh, build_flux_transport(moving.reference_mesh)
    system = eddy_system(section, mesh).with_magnetization_fraction(np.full(len(mesh.triangles), 0.7))
    change, work = work_two_ways(system, transport, step=1e-5)
    assert change == pytest.approx(work, rel=1e-4)



# ---- Curie temperature ---------------------------------------------------------------------------------------------

def test_magnetization_left_obeys_the_molecular_field():
    """m = tanh(m T_c/T), and near T_c its root sqrt(3 (1 - T/T_c)): Kittel, Introduction to Solid State Physics."""
    T, at_room = np.linspace(294, 1042, 400), 0.99
    for _ in range(200):
        at_room = math.tanh(at_room * 1043 / 293.15)
    m = remaining_magnetization(1043.0, T) * at_room
    assert m == pytest.approx(np.tanh(m * 1043 / T), abs=1e-6)
    assert remaining_magnetization(1043.0, 1043 * (1 - 1e-4)) * at_room == pytest.approx(math.sqrt(3e-4), rel=1e-3)
    assert remaining_magnetization(1043.0, np.array([293.15, 1043.0, 3000.0])).tolist() == [1.0, 0.0, 0.0]


@pytest.mark.slow
def test_metal_is_as_air_beyond_its_curie_temperature_and_its_energy_closes():
    """So low a Curie temperature that the disc passes it early: from then on its currents are those of a metal without magnetism."""
    heated = {"conductivity": 5e6, **HEATS}
    lost = shot_of(fs.Material(**heated, bh_curve=fs.Frohlich(saturation=2.0, initial_permeability=100.0), curie=294.0),
                   thickness=0.2e-3, end_time=12e-6)
    never = shot_of(fs.Material(**heated), thickness=0.2e-3, end_time=12e-6)
    k = len(lost.times) - 1
    assert np.median(lost.metal.remaining_magnetization(k)[lost.instants[k].mesh.part_triangles("disc")]) == 0
    assert lost.series("current", "disc")[-1] == pytest.approx(never.series("current", "disc")[-1], rel=5e-3)
    assert unexplained(lost) < 5e-3
    assert lost.energy.sinks["heat of disc to the field, its magnetism lost"][-1] < 0


def test_what_the_heat_gives_is_what_the_field_gains_at_kept_flux():
    """All magnetism lost at a field that stays: the energy of that field without it less that with it."""
    section = geo.CrossSection([geo.disc(radius=15e-3, thickness=2e-3, material=fs.material("nickel"))])
    mesh = mesh_section(section)
    system = eddy_system(section, mesh)
    heating, total = Heating(section, mesh, system.sigma), np.random.default_rng(7).normal(size=mesh.size)
    magnetism = Demagnetization(system, heating)
    assert not magnetism.accept(system, total).any()                        # nothing is hot yet
    metal = system.sigma > 0
    heating.enthalpy = np.where(metal, heat_content(fs.material("nickel")).enthalpy(700.0), 0.0)
    given = magnetism.accept(system, total)
    without = system.with_magnetization_fraction(np.zeros(len(mesh.triangles)))
    assert given.sum() == pytest.approx(without.energy(total, 0.0) - system.energy(total, 0.0), rel=1e-9)
    assert magnetism.observables() == {("magnetism_energy", "disc"): pytest.approx(given.sum())}


@pytest.mark.parametrize(("curie", "message"), [(293.0, "curie = 293 K: must be above"), (math.nan, "expected a finite number")])
def test_a_curie_temperature_that_cannot_be_is_refused(curie, message):
    with pytest.raises(InputError, match=message):
        fs.Material(conductivity=5e6, bh_curve=fs.Frohlich(saturation=2.0, initial_permeability=100.0), curie=curie)


def test_a_sheet_knows_its_curie_temperature_and_a_straight_metal_none():
    assert (fs.material("nickel").curie, fs.material("nickel", relative_permeability=50.0).curie) == (629.0, None)


# ---- metal that moves ----------------------------------------------------------------------------------------------

@pytest.mark.slow
def test_a_steel_disc_that_flies_closes_its_energy():
    steel = fs.material("steel 1010")
    run = shot_of(steel, at=4e-3, motion={"disc": fs.AxialMotion()}, end_time=12e-6)
    assert unexplained(run) < 5e-3
    assert run.series("kinetic_energy", "disc")[-1] > 1e-4
    mass = steel.density * math.pi * 15e-3**2 * 1e-3
    push = trapezoid(run.series("axial_force", "disc"), run.times)
    assert run.series("kinetic_energy", "disc")[-1] == pytest.approx(push**2 / (2 * mass), rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "hotter_than"), [("steel 1010", 600.0), ("nickel", 629.0)])
@pytest.mark.parametrize("motion", [False, {"disc": fs.FlowMotion()}])
def test_magnetic_discs_in_the_contract_rig_close_their_energy(name, hotter_than, motion):
    windings = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, material=fs.material(name))
    bank = fs.Bank(capacitance=120e-6, voltage=6.5e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
    run = fs.solve_shot(geo.CrossSection([windings, disc]), bank, end_time=60e-6, motion=motion)
    assert unexplained(run) < 1e-3
    assert run.series("temperature", "disc")[-1] > hotter_than
