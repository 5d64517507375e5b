"""Time-harmonic fields: power balance, closed forms, two routes to the force, limits, and clear errors."""
import math

import numpy as np
import pytest
from scipy.special import jve

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from geometries.errors import GeometryError

COPPER, BRASS = fs.material("copper"), fs.material("brass C260")


def solenoid(**changes):
    return geo.solenoid(**{"turns": 4, "bore_radius": 15.6e-3, "wire_diameter": 3.0e-3, "pitch": 3.3e-3, "material": COPPER} | changes)


def disc(**changes):
    return geo.disc(**{"radius": 15e-3, "thickness": 2e-3, "material": BRASS} | changes)


@pytest.fixture(scope="module")
def example():
    return fs.solve_harmonic(geo.CrossSection([solenoid(), disc()]), frequency=10e3, currents={"coil": 1000.0}, accuracy=1e-3)


def test_losses_add_up_to_the_power_at_the_terminals(example):
    power = 0.5 * (example.voltage("coil") * np.conj(example.currents["coil"])).real
    assert example.loss("coil") + example.loss("disc") == pytest.approx(power, rel=1e-8)
    assert example.resistance("coil") * 1000.0**2 / 2 == pytest.approx(power, rel=1e-8)


@pytest.mark.parametrize("parts", [
    [solenoid(stranded=True, fill=0.9), disc()],
    [solenoid(), geo.clad_disc(radius=15e-3, layers=[(0.5e-3, COPPER), (1e-3, BRASS), (0.5e-3, COPPER)])],
    [solenoid(), geo.ring_and_core(radius=15e-3, core_radius=9e-3, thickness=2e-3, ring=COPPER, core=BRASS)],
    [solenoid(), geo.tube(inner_radius=14e-3, wall=0.5e-3, length=20e-3, material=BRASS),
     geo.ring(radius=25e-3, wire_diameter=4e-3, material=COPPER)],
])
def test_power_balance_of_other_parts(parts):
    field = fs.solve_harmonic(geo.CrossSection(parts), frequency=3e3, currents={"coil": 100.0 + 50.0j}, accuracy=5e-2)
    power = 0.5 * (field.voltage("coil") * np.conj(field.currents["coil"])).real
    assert sum(field.loss(part.name) for part in parts) == pytest.approx(power, rel=1e-8)
    body = parts[1]
    zones = [field.loss(body.name, zone.name) for zone in body.zones]
    assert sum(zones) == pytest.approx(field.loss(body.name), rel=1e-10) and min(zones) > 0
    currents = [complex(field.net_current(body.name, zone.name)) for zone in body.zones]
    assert sum(currents) == pytest.approx(complex(field.net_current(body.name)))


@pytest.mark.slow                 # over a minute: the driven ring asks for fine cells
def test_a_closed_ring_has_no_voltage_and_a_driven_one_obeys_its_impedance():
    ring = geo.ring(radius=25e-3, wire_diameter=4e-3, material=COPPER)
    section = geo.CrossSection([solenoid(), ring])
    closed = fs.solve_harmonic(section, frequency=5e3, currents={"coil": 100.0}, accuracy=1e-3)
    current = complex(closed.net_current("ring"))
    assert abs(closed.voltage("ring")) < 1e-9 * abs(closed.voltage("coil")) and abs(current) > 10
    again = fs.solve_harmonic(section, frequency=5e3, currents={"coil": 100.0, "ring": current}, accuracy=1e-3)
    assert again.resistance("coil") == pytest.approx(closed.resistance("coil"), rel=1e-3)
    by_voltage = fs.solve_harmonic(section, frequency=5e3, voltages={"coil": complex(closed.voltage("coil"))}, accuracy=1e-3)
    assert complex(by_voltage.currents["coil"]) == pytest.approx(100.0, rel=2e-3)


def test_force_by_two_routes():
    parts = [solenoid(), disc(at=2e-3, material=COPPER)]
    field = fs.solve_harmonic(geo.CrossSection(parts), frequency=10e3, currents={"coil": 1000.0}, accuracy=1e-4)
    radial, axial = field.radial_force("disc"), field.axial_force("disc")
    assert radial < 0 and axial > 0
    assert field.radial_force("disc", route="stress") == pytest.approx(radial, rel=5e-4)
    assert field.axial_force("disc", route="stress") == pytest.approx(axial, rel=5e-4)
    assert field.axial_force("coil") == pytest.approx(-axial, rel=5e-4)
    assert field.radial_force("coil", route="stress") == pytest.approx(field.radial_force("coil"), rel=5e-4)


def solid_sphere(frequency, radius=0.02, sigma=5.8e7):
    """Normalised moment and loss at one tesla of a solid sphere (L. D. Landau, E. M. Lifshitz, section 59)."""
    omega = 2 * math.pi * frequency
    x = radius * np.sqrt(-1j * omega * MU_0 * sigma)
    x = x if x.imag > 0 else -x
    cotangent = 1j * (np.exp(2j * x) + 1) / (np.exp(2j * x) - 1)
    moment = -0.5 * (1 - 3 / x**2 + 3 * cotangent / x)
    return moment, 0.5 * omega * 4 * math.pi * radius**3 / MU_0 * abs(moment.imag)


def long_cylinder(frequency, radius=0.005, sigma=5.8e7):
    """Effective permeability 2 J1(x) / (x J0(x)) of a long cylinder (F. Foerster)."""
    x = radius * np.sqrt(-2j * math.pi * frequency * MU_0 * sigma)
    return 2 * jve(1, x) / (x * jve(0, x))


def test_solid_sphere_loss_to_1e_5():
    sphere = geo.sphere(radius=0.02, material=fs.Material(conductivity=5.8e7))
    field = fs.solve_harmonic(geo.CrossSection([sphere]), 1000.0, applied_field=1.0, accuracy=3e-5)
    moment, loss = solid_sphere(1000.0)
    assert field.loss("sphere") == pytest.approx(loss, rel=1e-5)
    assert abs(field.dipole_moment() / (4 * math.pi * 0.02**3 / MU_0) - moment) < 1e-5 * abs(moment)


FREQUENCIES = [10.0, 300.0, 10e3, *(pytest.param(frequency, marks=pytest.mark.slow) for frequency in (100e3, 1e6, 10e6))]


@pytest.mark.parametrize("frequency", FREQUENCIES)
def test_sphere_and_cylinder_stay_within_their_error_bounds(frequency):
    sphere = geo.sphere(radius=0.02, material=fs.Material(conductivity=5.8e7))
    field = fs.solve_harmonic(geo.CrossSection([sphere]), frequency, applied_field=1.0, accuracy=1e-3)
    moment, loss = solid_sphere(frequency)
    assert abs(field.loss("sphere") - loss) <= field.loss("sphere").error <= 1e-3 * loss
    measured = field.dipole_moment()
    assert abs(measured - moment * 4 * math.pi * 0.02**3 / MU_0) <= measured.error <= 1e-3 * abs(measured)

    rod = geo.cylinder(radius=0.005, length=0.001, material=fs.Material(conductivity=5.8e7))
    field = fs.solve_harmonic(geo.AxialStrip([rod]), frequency, face_field=1 / MU_0, accuracy=1e-3)
    exact = long_cylinder(frequency)
    assert abs(field.mean_flux_density("cylinder") - exact) <= field.mean_flux_density("cylinder").error
    heat = -math.pi * frequency / MU_0 * math.pi * 0.005**2 * 0.001 * exact.imag
    assert abs(field.loss("cylinder") - heat) <= field.loss("cylinder").error <= 1.01e-3 * heat


def test_slab_between_two_faces():
    """A shell of large radius with equal H on both faces is a slab: mean B / B_0 = tanh(x)/x, x = (1 + j) h / (2 delta)."""
    wall, radius = 1e-3, 2.0
    delta = fs.skin_depth(frequency=20e3, conductivity=5.8e7)
    shell = geo.tube(inner_radius=radius, wall=wall, length=wall / 2, material=fs.Material(conductivity=5.8e7))
    strip = geo.AxialStrip([shell], inner_radius=radius)
    field = fs.solve_harmonic(strip, 20e3, face_field=(1 / MU_0, 1 / MU_0), accuracy=1e-4)
    x = (1 + 1j) * wall / (2 * delta)
    assert abs(field.mean_flux_density("tube") - np.tanh(x) / x) < 1e-3        # curvature: wall / radius = 5e-4


@pytest.mark.slow
def test_layers_of_one_metal_are_a_plain_disc():
    layered = geo.clad_disc(radius=15e-3, layers=[(0.5e-3, COPPER), (1e-3, COPPER), (0.5e-3, COPPER)])
    plain, clad = (fs.solve_harmonic(geo.CrossSection([body]), 50.0, applied_field=1.0, accuracy=1e-6)
                   for body in (disc(material=COPPER), layered))
    assert clad.loss("disc") == pytest.approx(plain.loss("disc"), rel=1e-8)
    assert abs(clad.net_current("disc") / plain.net_current("disc") - 1) < 1e-8
    assert abs(clad.dipole_moment() / plain.dipole_moment() - 1) < 1e-8


@pytest.mark.slow
def test_a_washer_tends_to_the_disc():
    losses = []
    for hole in (6e-3, 3e-3, 0.5e-3):
        washer = geo.washer(radius=15e-3, thickness=2e-3, hole_radius=hole, material=BRASS)
        losses.append(fs.solve_harmonic(geo.CrossSection([washer]), 5e3, applied_field=0.01, accuracy=1e-4).loss("washer"))
    whole = fs.solve_harmonic(geo.CrossSection([disc()]), 5e3, applied_field=0.01, accuracy=1e-4).loss("disc")
    gaps = [abs(loss / whole - 1) for loss in losses]
    assert gaps[0] > gaps[1] > gaps[2] and gaps[2] < 1e-4


def test_change_against_the_coil_alone_is_the_difference_of_two_solves():
    coil = geo.winding(inner_radius=10e-3, outer_radius=14e-3, height=6e-3, turns=20, fill=0.7, material=COPPER)
    plate = geo.plate(radius=40e-3, thickness=3e-3, at=-6e-3, material=BRASS)
    loaded = fs.solve_harmonic(geo.CrossSection([coil, plate]), 2e3, currents={"coil": 1.0}, accuracy=1e-4)
    empty = fs.solve_harmonic(geo.CrossSection([coil]), 2e3, currents={"coil": 1.0}, accuracy=1e-4)
    assert loaded.inductance_change("coil") == pytest.approx(loaded.inductance("coil") - empty.inductance("coil"), rel=1e-3)
    assert loaded.resistance_change("coil") == pytest.approx(loaded.resistance("coil") - empty.resistance("coil"), rel=1e-3)
    assert loaded.inductance_change("coil") < 0 < loaded.resistance_change("coil")


def test_low_frequency_is_the_static_field(example):
    still = fs.solve_static(geo.CrossSection([solenoid()]), currents={"coil": 1.0}, accuracy=1e-3)
    slow = fs.solve_harmonic(geo.CrossSection([solenoid()]), 0.1, currents={"coil": 1.0}, accuracy=1e-3)
    assert slow.inductance("coil") == pytest.approx(still.inductance("coil"), rel=1e-4)
    assert slow.peak_field("bore") == pytest.approx(still.peak_field("bore"), rel=1e-3)
    assert example.inductance("coil") < still.inductance("coil")


def test_current_density_adds_up_to_the_net_current(example):
    r, z = np.linspace(0, 15e-3, 121), np.linspace(-1e-3, 1e-3, 81)
    r, z = 0.5 * (r[1:] + r[:-1]), 0.5 * (z[1:] + z[:-1])
    R, Z = np.meshgrid(r, z)
    total = example.current_density(R, Z).sum() * 15e-3 / 120 * 2e-3 / 80
    assert abs(total / example.net_current("disc") - 1) < 2e-3
    assert not example.current_density([0.0151, 0.03], [0.0, 0.0]).any()


def test_a_list_of_frequencies_gives_what_each_alone_gives():
    section = geo.CrossSection([solenoid(turns=2), disc()])
    sweep = fs.solve_harmonic(section, [1e3, 10e3], currents={"coil": 1.0}, accuracy=1e-2)
    assert len(sweep) == 2 and list(sweep.frequencies) == [1e3, 10e3]
    for field in sweep:
        alone = fs.solve_harmonic(section, field.frequency, currents={"coil": 1.0}, accuracy=1e-2)
        for name in ("resistance", "inductance"):
            a, b = getattr(field, name)("coil"), getattr(alone, name)("coil")
            assert abs(a - b) <= a.error + b.error


def test_superlu_gives_the_same(monkeypatch):
    section = geo.CrossSection([solenoid(turns=2), disc()])
    first = fs.solve_harmonic(section, 10e3, currents={"coil": 1.0}, accuracy=1e-1)
    monkeypatch.setitem(__import__("sys").modules, "cvxopt", None)
    other = fs.solve_harmonic(section, 10e3, currents={"coil": 1.0}, accuracy=1e-1)
    assert "SuperLU" in other.solver
    assert other.loss("disc") == pytest.approx(first.loss("disc"), rel=1e-8)


BAD = [
    (lambda s: fs.solve_harmonic(s, 0.0, {"coil": 1.0}), InputError, "frequency = 0 Hz.*positive"),
    (lambda s: fs.solve_harmonic(s, -50.0, {"coil": 1.0}), InputError, "frequency = -50 Hz.*positive"),
    (lambda s: fs.solve_harmonic(s, [], {"coil": 1.0}), InputError, "the list is empty"),
    (lambda s: fs.solve_harmonic(s, 50.0), InputError, "nothing drives the field: give currents= or voltages="),
    (lambda s: fs.solve_harmonic(s, 50.0, {"coil": 1.0}, voltages={"coil": 1.0}), InputError, "both a current and a voltage"),
    (lambda s: fs.solve_harmonic(s, 50.0, {"disc": 1.0}), InputError, "disc is a disc, not a coil"),
    (lambda s: fs.solve_harmonic(geo.CrossSection([solenoid(material=None)]), 50.0, {"coil": 1.0}), InputError, "coil.*give it one"),
    (lambda s: fs.solve_harmonic(geo.CrossSection([solenoid(stranded=True)]), 50.0, {"coil": 1.0}).resistance("coil"),
     InputError, "needs fill="),
    (lambda s: geo.CrossSection([solenoid(), disc(radius=16e-3)]), GeometryError, "disc.*16 mm.*coil"),
    (lambda s: geo.washer(radius=15e-3, thickness=2e-3, hole_radius=0.0), GeometryError, "hole_radius.*disc"),
    (lambda s: geo.clad_disc(radius=15e-3, thickness=2e-3, layers=[(1e-3, COPPER), (0.5e-3, BRASS)]), GeometryError, "add"),
]


@pytest.mark.parametrize(("call", "error", "message"), BAD)
def test_bad_input_says_what_and_what_to_do(call, error, message):
    with pytest.raises(error, match=message):
        call(geo.CrossSection([solenoid(), disc()]))


def test_the_force_on_permeable_metal_needs_no_route_and_becomes_half_of_that_at_rest():
    """The time mean of a slow sine of peak I is half the steady force at I."""
    disc = geo.disc(radius=15e-3, thickness=2e-3, at=8e-3, material=fs.Material(conductivity=1e6, relative_permeability=50.0))
    section = geo.CrossSection([geo.winding(inner_radius=10e-3, outer_radius=14e-3, height=8e-3, turns=20), disc])
    slow = fs.solve_harmonic(section, 1e-2, {"coil": 100.0}, accuracy=1e-2)
    steady = fs.solve_static(section, {"coil": 100.0}, accuracy=1e-2)
    assert slow.axial_force("disc") == slow.axial_force("disc", route="stress") < 0
    assert slow.axial_force("disc") == pytest.approx(0.5 * steady.axial_force("disc").value, rel=1e-2)
    with pytest.raises(InputError, match="J x B leaves out"):
        slow.axial_force("disc", route="J x B")
