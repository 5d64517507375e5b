"""Discharges through a reduced model against closed forms, against whole shots on the same mesh, and for what energy allows."""
import math
import pickle
from functools import cache

import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
import geometries as geo
from benchmarks.closed_forms.discharge import SeriesDischarge
from fieldsolve.circuit.equations import CONDUCTING, Network, Switches
from fieldsolve.field.reduced.projection import ReducedField
from fieldsolve.shot.network import bank_places
from fieldsolve.shot.reduced.model import ReducedModel
from fieldsolve.shot.reduced.phase import CircuitAndField
from fieldsolve.shot.reduced.trajectory import discharge

BANK = fs.Bank(capacitance=60e-6, voltage=4e3, resistance=6e-3, inductance=350e-9, arc_voltage=80.0)
LATER = fs.Bank(capacitance=40e-6, voltage=3e3, resistance=4e-3, inductance=200e-9, arc_voltage=60.0, fires_at=7e-6)
END = 32e-6
LEADS = fs.Leads(resistance=1e-3, inductance=50e-9)
CASES = {
    "one bank": (BANK, None, LEADS),
    "crowbar at the bank's zero": (BANK, fs.Crowbar(resistance=5e-3), None),
    "second bank": ((BANK, LATER), None, LEADS),
    "bank without inductance": (fs.Bank(capacitance=60e-6, voltage=4e3, resistance=6e-3, arc_voltage=80.0), None, None),
}
FAST = ("one bank", "crowbar at the bank's zero")       # a second bank stands in tests of its own below
MORE_CASES = {
    "crowbar with inductance": (BANK, fs.Crowbar(resistance=5e-3, inductance=50e-9, fires_at=8e-6), LEADS),
    "crowbar across the capacitor": (BANK, fs.Crowbar(resistance=8e-3, inductance=20e-9, across="capacitor"), None),
    "two banks at once": ((BANK, fs.Bank(capacitance=40e-6, voltage=2e3, inductance=200e-9, arc_voltage=60.0)), None, None),
}


def section() -> geo.CrossSection:
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    disc = geo.disc(radius=15e-3, thickness=2e-3, at=0.5e-3, material=fs.material("aluminium 1100-O"))
    return geo.CrossSection([coil, disc])


@cache
def model() -> ReducedModel:
    return fs.reduce_section(section(), accuracy=3e-2, points={"above": (5e-3, 8e-3)})


@cache
def pair(name: str):
    """A reduced and a whole shot on one mesh."""
    bank, crowbar, leads = (CASES | MORE_CASES)[name]
    run = model().discharge(bank, end_time=END, crowbar=crowbar, leads=leads)
    return run, fs.solve_shot(section(), bank, end_time=END, crowbar=crowbar, leads=leads, motion=False, heating=False, accuracy=8e-4,
                              mesh=model().fine.mesh, error_bounds=False)


# --- closed forms: coils as one inductance ------------------------------------------------------------------------


def one_coil(inductance: float) -> ReducedField:
    """A field of one state without time: a constant inductance in henry."""
    return ReducedField(coils=("coil",), time_constants=np.zeros(1), coupling=np.array([[math.sqrt(inductance / (2 * math.pi))]]),
                        basis=np.zeros((1, 1)), highest_omega=1e6, error_bound=0.0, rates=np.zeros(1))


def lumped(bank, inductance, resistance, end_time, crowbar=None):
    network = Network(bank if isinstance(bank, tuple) else (bank,), (("coil",),), fs.Leads(), crowbar)
    return network, discharge(network, one_coil(inductance), np.array([resistance]), end_time)


@pytest.mark.parametrize("resistance", [0.0, 0.05, 0.39, 2 * math.sqrt(2e-6 / 50e-6), 2.0])
def test_a_lumped_discharge_is_its_closed_form_to_rounding(resistance):
    exact = SeriesDischarge(capacitance=50e-6, voltage=5e3, inductance=2e-6, resistance=resistance)
    network, run = lumped(fs.Bank(capacitance=50e-6, voltage=5e3, resistance=0.25 * resistance, inductance=0.5e-6), 1.5e-6,
                          0.75 * resistance, 60e-6)
    times = np.linspace(0, 60e-6, 200)
    current = run.at(times)[0][:, network.branch_current_index(0)]
    expected = np.array([exact.current(t) for t in times])
    assert np.abs(current - expected).max() < (1e-9 if abs(resistance - 0.4) > 1e-6 else 1e-6) * np.abs(expected).max()


def test_an_arc_takes_twice_its_voltage_off_the_bank_in_each_half_wave():
    """Without resistance the bank's voltage after n half-waves is (-1)^n (V - 2 n V_arc), and the arc goes out below V_arc."""
    bank = fs.Bank(capacitance=50e-6, voltage=1000.0, inductance=2e-6, arc_voltage=130.0)
    network, run = lumped(bank, 1e-6, 0.0, 1e-3)
    half_wave = math.pi * math.sqrt(3e-6 * 50e-6)
    times = [time for time, _ in run.events]
    assert times == pytest.approx([half_wave * n for n in range(1, 5)], rel=1e-9)
    assert run.events[-1][1] == "arc of the bank goes out"
    voltage = run.at(np.array([*times, 1e-3]))[0][:, network.bank_voltage_index(0)]
    assert voltage == pytest.approx([-740, 480, -220, -40, -40], abs=1e-6)


def test_a_crowbar_without_resistance_keeps_the_current_of_a_coil_without_resistance():
    bank = fs.Bank(capacitance=50e-6, voltage=1000.0, inductance=2e-6)
    network, run = lumped(bank, 1e-6, 0.0, 100e-6, fs.Crowbar(resistance=0.0))
    after = run.at(np.array([50e-6, 100e-6]))[0][:, network.branch_current_index(0)]
    assert after == pytest.approx(1000 * math.sqrt(50e-6 / 3e-6), rel=1e-9)


# --- whole shots on the same mesh ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name if name in FAST else pytest.param(name, marks=pytest.mark.slow) for name in CASES | MORE_CASES])
def test_currents_and_voltages_are_those_of_the_whole_shot(name):
    run, shot = pair(name)
    assert [event for _, event in run.events] == [event for _, event in shot.events]
    assert np.array([t for t, _ in run.events]) == pytest.approx([t for t, _ in shot.events], abs=2e-8)
    places = ["coil", "disc", *(place for place in bank_places(run.network))]
    for place in places:
        inner = np.isin(shot.times, [t for t, _ in shot.events], invert=True)
        times, expected = shot.times[inner], shot.series("current", place)[inner]
        found = np.interp(times, run.times, run.series("current", place))
        assert np.abs(found - expected).max() < 2e-3 * np.abs(expected).max()
    assert run.series("voltage", "coil").max() == pytest.approx(shot.series("voltage", "coil").max(), rel=2e-3)


@pytest.mark.parametrize("name", [*FAST, pytest.param("second bank", marks=pytest.mark.slow)])
def test_peaks_are_those_of_the_whole_shot(name):
    run, shot = pair(name)
    for quantity, place, share in (("current", "coil", 3e-4), ("current", "disc", 3e-4), ("radial_force", "disc", 5e-4),
                                   ("axial_force", "disc", 1e-3), ("radial_force", "coil", 5e-4), ("power", "disc", 1e-3),
                                   ("power", "coil", 1e-3), ("field", "bore", 5e-4), ("field", "gap", 5e-4), ("loop_voltage", "disc", 1e-3),
                                   ("rim_pressure", "disc", 1e-3), ("energy", "field", 5e-4), ("flux", "coil", 5e-4)):
        assert run.peak(quantity, place) == pytest.approx(shot.peak(quantity, place), rel=share)


def test_the_field_at_a_named_point_is_that_of_the_whole_shot():
    run, shot = pair("one bank")
    time = float(run.peak("current", "coil").time)
    B_r, B_z = shot.field_at(time).flux_density(5e-3, 8e-3)
    k = int(np.abs(run.times - time).argmin())
    assert run.series("field", "above")[k] == pytest.approx(float(B_z), rel=2e-3)
    assert run.series("radial_field", "above")[k] == pytest.approx(float(B_r), rel=2e-3)


@pytest.mark.slow
def test_coils_in_series_and_in_parallel_beside_a_closed_ring():
    copper = fs.material("copper")
    parts = [geo.solenoid(turns=2, bore_radius=15e-3, wire_diameter=3e-3, pitch=3.3e-3, at=z, material=copper, name=name)
             for name, z in (("low", -8e-3), ("high", 8e-3))]
    ring = geo.ring(radius=12e-3, wire_diameter=2e-3, material=copper)
    for circuit in ([["low", "high"]], [["low"], ["high"]]):
        pairs = geo.CrossSection([*parts, ring])
        reduced = fs.reduce_section(pairs, accuracy=5e-2, circuit=circuit)
        run = reduced.discharge(BANK, end_time=20e-6)
        shot = fs.solve_shot(pairs, BANK, end_time=20e-6, circuit=circuit, motion=False, heating=False, accuracy=5e-4,
                             mesh=reduced.fine.mesh, error_bounds=False)
        for place in ("low", "high", "ring"):
            assert run.peak("current", place) == pytest.approx(shot.peak("current", place), rel=5e-4)
            assert abs(run.peak("axial_force", place) - shot.peak("axial_force", place)) < 3e-3 * abs(shot.peak("radial_force", place))


# --- energy -------------------------------------------------------------------------------------------------------


def test_random_passive_terminations_never_make_energy():
    """Banks without an arc are passive: C v^2 / 2, L i^2 / 2 and the field's energy together only fall, and no mode grows."""
    random = np.random.default_rng(5)
    for _ in range(20):
        banks = tuple(fs.Bank(capacitance=10 ** random.uniform(-6, -3), voltage=random.uniform(10, 1e4), resistance=random.uniform(0, 0.05),
                              inductance=random.choice([0.0, 10 ** random.uniform(-8, -6)])) for _ in range(random.integers(1, 4)))
        leads = fs.Leads(resistance=random.uniform(0, 0.01), inductance=random.choice([0.0, 1e-7]))
        network = Network(banks, model().branches, leads, None)
        fine = model().fine
        system = CircuitAndField(network, fine.field, fine.resistance)
        equations = system.equations(Switches((CONDUCTING,) * len(banks), (1.0,) * len(banks)))
        assert equations.growth_rates.real.max() < 1e-9 * system.rate
        run = discharge(network, fine.field, fine.resistance, 10 / system.rate)
        x = run.at(np.linspace(0, 10 / system.rate, 400))[0]
        stored = math.pi * (x[:, network.size:] ** 2).sum(axis=1) + 0.5 * leads.inductance * x[:, network.branch_current_index(0)] ** 2
        for k, bank in enumerate(banks):
            stored += 0.5 * bank.capacitance * x[:, network.bank_voltage_index(k)] ** 2
            stored += 0.5 * bank.inductance * x[:, network.bank_current_index(k)] ** 2
        assert stored[0] == pytest.approx(sum(bank.energy for bank in banks))
        assert np.diff(stored).max() < 1e-9 * stored[0]


def test_impedances_have_a_positive_resistance_that_grows_with_frequency():
    resistance = [model().impedance(f)[0, 0].real for f in (0.0, *np.geomspace(10, 1e9, 40))]
    assert resistance[0] > 0
    assert (np.diff(resistance) >= -1e-12).all()


# --- data, errors, refusals ---------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_finer_model_lies_within_the_error_bounds():
    run = pair("second bank")[0]
    finer = fs.reduce_section(section(), accuracy=1e-3).discharge((BANK, LATER), end_time=END, leads=LEADS)
    for quantity, place in (("current", "coil"), ("current", "disc"), ("field", "bore"), ("radial_force", "disc"), ("power", "disc")):
        assert abs(run.peak(quantity, place) - finer.peak(quantity, place)) < run.peak(quantity, place).error
        assert finer.peak(quantity, place).error < run.peak(quantity, place).error
    assert finer.peak("current", "coil").error < 1e-3 * finer.peak("current", "coil")


def test_model_and_result_pickle():
    run = pair("one bank")[0]
    copied, copied_model = pickle.loads(pickle.dumps(run)), pickle.loads(pickle.dumps(model()))
    assert copied.peak("current", "disc") == run.peak("current", "disc")
    assert copied.peak("current", "disc").error == run.peak("current", "disc").error
    assert copied_model.discharge(BANK, end_time=END, leads=LEADS).peak("field", "bore") == run.peak("field", "bore")


def test_what_is_left_out_is_estimated_as_a_whole_shot_has_it():
    run = pair("one bank")[0]
    heated = fs.solve_shot(section(), BANK, end_time=END, leads=LEADS, motion=False, accuracy=3e-2, mesh=model().fine.mesh,
                           error_bounds=False)
    disc = next(each for each in run.left_out if each.part == "disc")
    assert disc.temperature_rise == pytest.approx(heated.series("mean_temperature", "disc")[-1] - 293.15, rel=0.1)
    assert disc.speed == pytest.approx(np.abs(run.impulse("disc")) / (2700 * math.pi * 15e-3**2 * 2e-3), rel=0.05)
    assert "disc" in str(disc)


@pytest.mark.parametrize(("change", "message"), [
    ({"motion": True}, "holds metal still and cold"),
    ({"heating": True}, "heating = True"),
])
def test_motion_and_heating_are_refused(change, message):
    with pytest.raises(fs.errors.InputError, match=message):
        fs.reduce_section(section(), **change)
    with pytest.raises(fs.errors.InputError, match=message):
        model().discharge(BANK, end_time=1e-5, **change)


def test_sections_that_are_not_linear_are_refused():
    coil = section().parts[0]
    for metal, message in ((fs.material("iron"), "B-H curve"), (fs.Material(conductivity=1e6, remanence=1.0), "permanent magnet")):
        with pytest.raises(fs.errors.InputError, match=message):
            fs.reduce_section(geo.CrossSection([coil, geo.disc(radius=10e-3, thickness=2e-3, material=metal)]))
    with pytest.raises(fs.errors.InputError, match="CrossSection"):
        fs.reduce_section(geo.AxialStrip([geo.cylinder(radius=5e-3, length=1e-3, material=fs.material("copper"))]))


def test_banks_out_of_range_are_refused_with_the_remedy():
    with pytest.raises(fs.errors.InputError, match=r"rings at .* Hz .* frequency="):
        model().discharge(fs.Bank(capacitance=1e-6, voltage=1e3), end_time=1e-5)
    ideal = fs.Bank(capacitance=60e-6, voltage=1e3)
    with pytest.raises(fs.errors.InputError, match="bank 1 and bank 2: without resistance and inductance they short each other"):
        model().discharge((ideal, ideal), end_time=1e-5)
    with pytest.raises(fs.errors.InputError, match="prescribed currents"):
        model().discharge(fs.PrescribedCurrents({"coil": math.sin}), end_time=1e-5)


def test_no_peak_is_read_beyond_the_kink_where_a_crowbar_fires():
    """The crowbar shorts a rising current: it is largest at that instant, in both, and a parabola across it would lie above."""
    crowbar = fs.Crowbar(resistance=0.0, fires_at=4e-6)
    run = model().discharge(BANK, end_time=10e-6, crowbar=crowbar)
    shot = fs.solve_shot(section(), BANK, end_time=10e-6, crowbar=crowbar, motion=False, heating=False, accuracy=3e-3,
                         mesh=model().fine.mesh, error_bounds=False)
    for quantity, place in (("current", "coil"), ("field", "bore"), ("radial_force", "disc")):
        for found in (run, shot):
            assert abs(found.peak(quantity, place)) == pytest.approx(np.abs(found.series(quantity, place)).max(), rel=1e-4)
        assert run.peak(quantity, place) == pytest.approx(shot.peak(quantity, place), rel=2e-3)


# --- circuits side by side ----------------------------------------------------------------------------------------


@cache
def two_coils() -> ReducedModel:
    copper = fs.material("copper")
    coils = [geo.solenoid(turns=2, bore_radius=15e-3, wire_diameter=3e-3, pitch=3.3e-3, at=z, material=copper, name=name)
             for name, z in (("low", -6e-3), ("high", 6e-3))]
    return fs.reduce_section(geo.CrossSection([*coils, geo.disc(radius=14e-3, thickness=2e-3, material=copper)]), accuracy=5e-2)


@pytest.mark.slow
def test_two_coils_on_banks_alike_carry_the_current_of_the_two_in_series_on_twice_the_bank():
    """C, V, R, L, V_arc each against C/2, 2 V, 2 R, 2 L, 2 V_arc."""
    twice = fs.Bank(capacitance=BANK.capacitance / 2, voltage=2 * BANK.voltage, resistance=2 * BANK.resistance,
                    inductance=2 * BANK.inductance, arc_voltage=2 * BANK.arc_voltage)
    series = two_coils().discharge(twice, end_time=END)
    apart = two_coils().discharge({"low": BANK, "high": BANK}, end_time=END)
    assert apart.bank_places == ("bank of low", "bank of high")
    for place in ("low", "high", "disc"):
        assert apart.peak("current", place) == pytest.approx(series.peak("current", place), rel=1e-3)
    assert apart.series("voltage", "bank of low")[-1] == pytest.approx(series.series("voltage", "bank")[-1] / 2, rel=1e-3)


def test_a_coil_that_fires_later_on_a_bank_of_its_own_stays_without_current_and_energy_is_kept():
    later = fs.Bank(capacitance=40e-6, voltage=3e3, inductance=200e-9, fires_at=6e-6)
    run = two_coils().discharge({"low": fs.Bank(capacitance=60e-6, voltage=4e3, inductance=300e-9), "high": later}, end_time=END)
    before = run.times <= 6e-6
    assert np.abs(run.series("current", "high")[before]).max() == 0
    assert np.abs(run.series("voltage", "high")[before]).max() > 100             # induced by the other
    assert np.abs(run.series("current", "high")).max() > 1e4
    stored = run.series("energy", "field")
    for name, bank in zip(run.bank_places, run.network.banks, strict=True):
        stored = stored + 0.5 * bank.capacitance * run.series("voltage", name) ** 2
        stored = stored + 0.5 * bank.inductance * run.series("current", name) ** 2
    heat = trapezoid(sum(run.series("power", part) for part in ("low", "high", "disc")), run.times)
    assert stored[-1] + heat == pytest.approx(stored[0], rel=1e-3)


def test_banks_by_coil_must_name_each_coil_once():
    for banks in ({"low": BANK}, {"low": BANK, "middle": BANK}, {("low", "high"): BANK, "high": BANK}, {}):
        with pytest.raises(fs.errors.InputError, match="name each coil once: low, high"):
            two_coils().discharge(banks, end_time=END)
    with pytest.raises(fs.errors.InputError, match="crowbar"):
        two_coils().discharge({"low": BANK, "high": BANK}, end_time=END, crowbar=fs.Crowbar(resistance=1e-3))
