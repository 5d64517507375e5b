"""A discharge into held metal: circuit closed forms, balance, order in time, events, heat, limits and messages."""
import math

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.field.stepping import STAGE_SHARES
from fieldsolve.shot.shot import spline_integral

COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")


def rig(turns=4, **disc):
    coil = geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=COPPER)
    return geo.CrossSection([coil, geo.disc(**{"radius": 15e-3, "thickness": 2e-3, "material": ALUMINIUM} | disc)])


def bank(**changes):
    return fs.Bank(**{"capacitance": 120e-6, "voltage": 4e3, "resistance": 6e-3, "inductance": 350e-9, "arc_voltage": 80.0} | changes)


def shot_of(section=None, charge=None, **options):
    options = {"end_time": 40e-6, "motion": False, "heating": False, "accuracy": 1e-2} | options
    return fs.solve_shot(section or rig(), charge or bank(), **options)


@pytest.fixture(scope="module")
def warm():
    return shot_of(heating=True)


# ---- circuit alone -----------------------------------------------------------------------------------------------------

def test_series_circuit_against_its_closed_form():
    """i = V / (omega L) exp(-alpha t) sin(omega t)."""
    C, L, R, V = 40e-6, 3.2e-6, 0.0355, 6e3
    alpha, omega = R / (2 * L), math.sqrt(1 / (L * C) - (R / (2 * L)) ** 2)
    record = fs.solve_circuit(fs.Bank(C, V), load_resistance=R, load_inductance=L, end_time=60e-6, accuracy=1e-5)
    exact = V / (omega * L) * np.exp(-alpha * record.times) * np.sin(omega * record.times)
    assert np.abs(record.current - exact).max() < 1e-5 * exact.max()
    peak_time = math.atan(omega / alpha) / omega
    assert record.peak().time == pytest.approx(peak_time, rel=1e-5)
    errors = []
    for accuracy in (1e-2, 1e-3, 1e-4):
        record = fs.solve_circuit(fs.Bank(C, V), load_resistance=R, load_inductance=L, end_time=30e-6, accuracy=accuracy)
        exact = V / (omega * L) * np.exp(-alpha * record.times) * np.sin(omega * record.times)
        errors.append((record.steps, np.abs(record.current - exact).max()))
    order = math.log(errors[0][1] / errors[2][1]) / math.log(errors[2][0] / errors[0][0])
    assert order > 1.9


def test_arc_goes_out_when_the_voltage_left_is_below_its_drop():
    """With a constant drop each half-wave is that of the charge less the drop: V_1 = -(V_0 - V_a) exp(-pi alpha/omega) + V_a."""
    C, L, R, V, V_a = 120e-6, 1e-6, 30e-3, 200.0, 80.0
    record = fs.solve_circuit(fs.Bank(C, V, arc_voltage=V_a), load_resistance=R, load_inductance=L, end_time=200e-6, accuracy=1e-5)
    alpha, omega = R / (2 * L), math.sqrt(1 / (L * C) - (R / (2 * L)) ** 2)
    left = V_a - (V - V_a) * math.exp(-math.pi * alpha / omega)
    assert record.voltage[-1] == pytest.approx(left, abs=0.01) and abs(left) < V_a
    assert record.events[0][0] == pytest.approx(math.pi / omega, rel=1e-5) and "goes out" in record.events[0][1]
    assert np.abs(record.current[record.times > record.events[0][0] * 1.001]).max() < 1e-9 * record.current.max()


@pytest.mark.parametrize("across", ["coil", "capacitor"])
def test_a_crowbar_fires_exactly_when_told(across):
    crowbar = fs.Crowbar(resistance=1e-3, inductance=10e-9, across=across, fires_at=20e-6)
    record = fs.solve_circuit(fs.Bank(120e-6, 2e3, 2e-3, 1e-7), load_resistance=3e-3, load_inductance=1e-6, end_time=40e-6, crowbar=crowbar)
    assert record.events[0] == (pytest.approx(20e-6, rel=1e-12), "crowbar fires")
    assert np.abs(record.times - 20e-6).min() < 1e-15


def test_a_crowbar_at_voltage_zero_stops_the_reversal():
    plain, shorted = (fs.solve_circuit(fs.Bank(120e-6, 2e3, 0.0, 1e-8), load_resistance=3e-3, load_inductance=1e-6, end_time=100e-6,
                                       crowbar=crowbar) for crowbar in (None, fs.Crowbar(5e-3, 0.0, "coil")))
    assert plain.voltage.min() < -1.5e3 and shorted.voltage.min() > -400
    late = shorted.times > 60e-6
    assert (shorted.current[late] > 0).all()


# ---- field and circuit ---------------------------------------------------------------------------------------------------

def test_energy_closes(warm):
    assert warm.energy.residual < 1e-3 * 2
    shares = warm.energy.at_end()
    assert shares["heat in disc"] > 0 and shares["bank arc"] > 0
    finer = shot_of(heating=True, accuracy=2e-3)
    assert finer.energy.residual < 0.5 * warm.energy.residual and finer.energy.residual < 1e-3


def test_order_two_with_heating():
    """Coil current at a fixed time, on one mesh, over three accuracies that quarter: differences fall as the square of the step."""
    ends = []
    for accuracy in (4e-3, 1e-3, 2.5e-4):
        shot = fs.solve_shot(rig(turns=2), bank(), end_time=12e-6, motion=False, heating=True, accuracy=accuracy, mesh_accuracy=1e-2)
        ends.append((shot.steps, shot.series("current", "coil")[-1], shot.series("mean_temperature", "disc")[-1]))
    for column in (1, 2):
        coarse, fine = ends[0][column] - ends[1][column], ends[1][column] - ends[2][column]
        order = math.log(abs(coarse / fine)) / math.log(ends[1][0] / ends[0][0])
        assert order > 1.8


def test_terminal_power_is_heat_and_change_of_field_energy(warm):
    """At the end of every step V I = heat + dW/dt, dW/dt = 2 pi u . K u_t."""
    voltage, current = warm.series("voltage", "coil"), warm.series("current", "coil")
    heat = warm.series("power", "coil") + warm.series("power", "disc")
    rate = np.array([2 * math.pi * u_t @ (warm.system.whole_stiffness @ u) for u, u_t, _ in warm.fields])
    gap = voltage * current - heat - rate
    assert np.abs(gap[1:]).max() < 1e-6 * np.abs(voltage * current).max()


def test_stored_heat_is_the_integral_of_power(warm):
    energy = spline_integral(warm.times, warm.series("power", "disc"))[-1]
    temperature = warm.series("mean_temperature", "disc")
    assert temperature[0] == pytest.approx(293.15) and (np.diff(temperature) > 0).all()
    mass = math.pi * 0.015**2 * 0.002 * ALUMINIUM.density
    assert energy / (mass * 904) == pytest.approx(temperature[-1] - 293.15, rel=0.1)        # c rises a little


def test_peaks_have_times_and_signs(warm):
    coil, disc = warm.peak("current", "coil"), warm.peak("current", "disc")
    assert coil > 0 > disc and 5e-6 < coil.time < 30e-6 and coil.unit == "A"
    assert abs(disc) > coil                                                                 # the disc carries several times as much
    assert warm.peak("field", "gap") > warm.peak("field", "centre")
    assert warm.series("radial_force", "disc").min() < 0
    assert warm.radius_ratio("disc") == 1 and warm.burst_time("coil") is None


def test_field_at_answers_what_a_static_field_answers(warm):
    field = warm.field_at(warm.peak("current", "coil").time)
    k = int(np.abs(warm.times - field.time).argmin())
    assert field.peak_field("bore") == pytest.approx(warm.series("field", "bore")[k], rel=5e-3)
    assert field.energy() == pytest.approx(warm.energy.stores["field"][k], rel=1e-9)
    assert field.flux_density(0.0, 0.0)[1] == pytest.approx(warm.series("field", "centre")[k], rel=1e-9)
    assert field.current_density(14.9e-3, 0.0) < 0
    with pytest.raises(InputError, match="outside the shot"):
        warm.field_at(1.0)


def test_error_of_a_peak_is_worked_out_when_read():
    shot = shot_of(rig(turns=2), end_time=10e-6, accuracy=2e-2)
    peak = shot.peak("current", "coil")
    assert 0 < peak.error < 0.02 * peak


def test_second_bank_fires_at_its_time():
    shot = shot_of(rig(turns=2), [bank(), bank(voltage=3e3, fires_at=12e-6)], end_time=20e-6)
    assert (pytest.approx(12e-6, rel=1e-9), "gap of bank 2 closes") in [(t, e) for t, e in shot.events]
    second = shot.series("current", "bank 2")
    assert not second[shot.times < 12e-6].any() and second[-1] != 0
    assert shot.energy.residual < 2e-3


def test_coils_in_parallel_share_the_current():
    wire = {"turns": 3, "wire_diameter": 2e-3, "pitch": 2.4e-3, "material": COPPER}
    coils = [geo.solenoid(bore_radius=15.6e-3, at=z, name=name, **wire) for name, z in (("low", -6e-3), ("high", 6e-3))]
    shot = shot_of(geo.CrossSection(coils), end_time=10e-6, circuit=[["low"], ["high"]])
    assert np.allclose(shot.series("current", "low"), shot.series("current", "high"), rtol=5e-3, atol=1.0)
    assert np.allclose(shot.series("current", "low") + shot.series("current", "high"), shot.series("current", "bank"), atol=1e-6)


def test_weak_bank_leaves_a_live_capacitor_and_says_so():
    shot = shot_of(rig(turns=2), bank(voltage=230.0, arc_voltage=150.0), end_time=80e-6)
    assert any("goes out" in event for _, event in shot.events)
    assert "LIVE" in shot.summary() and abs(shot.residual_voltages["bank"]) > 50
    assert not shot.series("current", "coil")[-3:].any()


def test_ctrl_c_returns_what_was_computed():
    def stop(time):
        if time > 5e-6:
            raise KeyboardInterrupt
    shot = shot_of(rig(turns=2), progress=stop)
    assert shot.interrupted and 5e-6 < shot.times[-1] < 20e-6 and "INTERRUPTED" in shot.summary()


def test_one_cell_through_melting():
    """Energy in equals enthalpy gained."""
    from fieldsolve.materials.heat_content import heat_content
    content = heat_content(COPPER)
    enthalpy, power, step = 0.0, 1e15, 1e-7
    for _ in range(100):
        enthalpy += sum(share * step * power for share in STAGE_SHARES)
    assert content.enthalpy(content.temperature(enthalpy)) == pytest.approx(100 * step * power, rel=1e-6)
    assert 0 < content.molten_share(enthalpy) <= 1


# ---- driven ---------------------------------------------------------------------------------------------------------------

def test_cylinder_in_a_stepped_field():
    """B / B_0 at the centre of a long cylinder, first terms of its Bessel series (H. S. Carslaw, J. C. Jaeger)."""
    from scipy.special import j1, jn_zeros
    radius, sigma = 0.005, 5.8e7
    tau = MU_0 * sigma * radius**2
    rod = geo.cylinder(radius=radius, length=0.001, material=fs.Material(conductivity=sigma))
    shares = [0.05, 0.2, 0.8]
    record = fs.solve_transient(geo.AxialStrip([rod]), times=[share * tau for share in shares], face_field=1 / MU_0)
    zeros = jn_zeros(0, 40)
    for share in shares:
        exact = 1 - 2 * np.sum(np.exp(-zeros**2 * share) / (zeros * j1(zeros)))
        assert record.field_at(share * tau).flux_density(0.0, 0.0)[1] == pytest.approx(exact, abs=2e-4)


def test_slow_current_gives_the_static_field():
    coil = geo.winding(inner_radius=10e-3, outer_radius=14e-3, height=6e-3, turns=20)
    record = fs.solve_transient(geo.CrossSection([coil]), times=[0.5, 1.0], currents={"coil": lambda t: 10 * t})
    still = fs.solve_static(geo.CrossSection([coil]), {"coil": 10.0})
    assert record.field_at(1.0).flux_density(0.0, 0.0)[1] == pytest.approx(still.flux_density(0.0, 0.0)[1], rel=1e-3)


BAD = [
    (lambda: bank(capacitance=0.0), "capacitance = 0.0 must be a positive number"),
    (lambda: bank(voltage=-5.0), "voltage = -5.0 must be a positive number"),
    (lambda: bank(voltage=math.nan), "voltage = nan must be"),
    (lambda: bank(rated_voltage=3e3), "above rated_voltage = 3000 V: charge less"),
    (lambda: bank(voltage=50.0), "does not exceed arc_voltage = 80 V"),
    (lambda: shot_of(end_time=0.0), "end_time = 0 s"),
    (lambda: shot_of(motion=True), "pass motion=False"),
    (lambda: shot_of(geo.CrossSection([geo.disc(radius=1e-2, thickness=1e-3, material=COPPER)])), "no coil is in the circuit"),
    (lambda: shot_of(circuit=[["disc"]]), "only coils of wire can be in a circuit"),
    (lambda: fs.Crowbar(1e-3, across="gap"), "choose 'coil' or 'capacitor'"),
    (lambda: fs.Crowbar(0.0, 0.0, "capacitor"), "carries no finite current"),
    (lambda: fs.solve_transient(rig(), times=[1e-6], currents={"coil": ([0, 1e-6, 1e-6], [0, 1, 2])}), "must be finite numbers that rise"),
    (lambda: fs.solve_transient(rig(), times=[1e-6], currents={"coil": ([0, 1e-6], [0, math.nan])}), "finite values"),
    (lambda: fs.solve_transient(rig(), times=[2e-6, 1e-6], currents={"coil": lambda t: t}), "times must be finite numbers that rise"),
]


@pytest.mark.parametrize(("call", "message"), BAD)
def test_bad_input_says_what_and_what_to_do(call, message):
    with pytest.raises(InputError, match=message):
        call()


@pytest.mark.slow
def test_energy_closes_on_random_rigs():
    """Default settings, 20 valid rigs drawn at random."""
    rng = np.random.default_rng(20261125)
    metals = ["copper", "aluminium 1100-O", "aluminium 6061-T6", "brass C260", "cupronickel 75/25", "stainless 304", "silver"]
    for _ in range(20):
        wire, turns = rng.uniform(1.5e-3, 3.5e-3), int(rng.integers(3, 11))
        bore = rng.uniform(10e-3, 20e-3)
        coil = geo.solenoid(turns=turns, bore_radius=bore, wire_diameter=wire, pitch=wire * rng.uniform(1.05, 1.4), material=COPPER)
        metal = fs.material(rng.choice(metals))
        disc = geo.disc(radius=bore - rng.uniform(0.4e-3, 2e-3), thickness=rng.uniform(1e-3, 3e-3), material=metal)
        charge = fs.Bank(capacitance=rng.uniform(40e-6, 200e-6), voltage=rng.uniform(3e3, 8e3), resistance=rng.uniform(2e-3, 10e-3),
                         inductance=rng.uniform(100e-9, 500e-9), arc_voltage=rng.uniform(0, 150))
        shot = fs.solve_shot(geo.CrossSection([coil, disc]), charge, end_time=rng.uniform(30e-6, 100e-6), motion=False)
        assert shot.energy.residual < 1e-3
