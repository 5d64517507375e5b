"""A discharge into held metal: circuit closed forms, balance, order in time, events, heat, limits and messages."""
import itertools
import math
import sys

import numpy as np
import pytest
from scipy.integrate import trapezoid

import fieldsolve as fs
import geometries as geo
from fieldsolve.circuit.equations import Network
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError, SolveError
from fieldsolve.field.adaptivity.refinement import surface_cell_sizes
from fieldsolve.materials.heat_content import heat_content
from fieldsolve.ode import SDIRK2, step
from fieldsolve.shot import history
from fieldsolve.shot.integrator import discharge
from fieldsolve.shot.integrator import field_circuit as coupled_model
from fieldsolve.shot.integrator.discharge import Discharge
from fieldsolve.shot.integrator.heating import Heating
from fieldsolve.shot.result.energy_balance import running_smooth_integral
from geometries.mesher import mesh_section

COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")


def rig(turns=4, **disc):
    coil = geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=COPPER)
    return geo.CrossSection([coil, geo.disc(**{"radius": 15e-3, "thickness": 2e-3, "material": ALUMINIUM} | disc)])


def bank(**changes):
    return fs.Bank(**{"capacitance": 120e-6, "voltage": 4e3, "resistance": 6e-3, "inductance": 350e-9, "arc_voltage": 80.0} | changes)


def shot_of(section=None, charge=None, **options):
    options = {"end_time": 40e-6, "motion": False, "heating": False, "accuracy": 1e-2, "error_bounds": False} | options
    return fs.solve_shot(section or rig(), bank() if charge is None else charge, **options)


@pytest.fixture(scope="module")
def warm():
    return shot_of(rig(turns=2), end_time=30e-6, heating=True)


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
def test_a_crowbar_fires_exactly_at_its_time(across):
    crowbar = fs.Crowbar(resistance=1e-3, inductance=10e-9, across=across, fires_at=20e-6)
    record = fs.solve_circuit(fs.Bank(120e-6, 2e3, 2e-3, 1e-7), load_resistance=3e-3, load_inductance=1e-6, end_time=40e-6, crowbar=crowbar)
    assert record.events[0] == (pytest.approx(20e-6, rel=1e-12), "crowbar fires")
    assert np.abs(record.times - 20e-6).min() < 1e-15


def test_a_crowbar_that_takes_over_within_a_microsecond_is_stepped_through():
    """L i' + R i = v with L / R = 0.3 us, fired at 20 us: its current against the exact one for v straight between the instants."""
    R, L = 20e-3, 6e-9
    shot = shot_of(rig(turns=2), end_time=24e-6, crowbar=fs.Crowbar(R, L, "coil", fires_at=20e-6))
    assert next(event for _, event in shot.events) == "crowbar fires"
    k = int(np.flatnonzero(np.abs(shot.times - 20e-6) < 1e-15)[0])
    times, current, voltage = shot.times[k:], shot.series("current", "crowbar")[k:], shot.series("voltage", "coil")[k:]
    assert (times < 21e-6).sum() >= 4 and not shot.series("current", "crowbar")[:k + 1].any()
    dense = np.linspace(times[0], 21e-6, 20001)
    kernel = np.exp((dense - dense[-1]) * R / L) / L
    exact = trapezoid(kernel * np.interp(dense, times[1:], voltage[1:]), dense)
    assert np.interp(21e-6, times, current) == pytest.approx(exact, rel=0.02, abs=0.002 * np.abs(shot.series("current", "coil")).max())
    assert shot.energy.residual < 2e-3


def test_a_capacitor_that_a_crowbar_shorts_is_stepped_through_by_the_crowbars_own_current():
    """V = V_0 exp(-t/RC) less what the load's current i makes of R, with 280 MA through the crowbar beside 5 kA through the load."""
    capacitance, R = 20e-6, 1e-5
    record = fs.solve_circuit(fs.Bank(capacitance, 3e3, 4e-3, 8e-7), load_resistance=3e-3, load_inductance=1e-6, end_time=10e-6,
                              crowbar=fs.Crowbar(R, 0.0, "capacitor", fires_at=2e-6))
    k, after = int(np.abs(record.times - 2e-6).argmin()), record.times - 2e-6
    fall = np.exp(-after[k:] / (R * capacitance))
    exact = record.voltage[k] * fall - record.current[k] * R * (1 - fall)
    assert (after[k:] < R * capacitance).sum() > 20 and len(record.times) < 1500
    assert np.abs(record.voltage[k:] - exact).max() < 1e-5 * record.voltage[k]


def test_a_crowbar_at_voltage_zero_stops_the_reversal():
    plain, shorted = (fs.solve_circuit(fs.Bank(120e-6, 2e3, 0.0, 1e-8), load_resistance=3e-3, load_inductance=1e-6, end_time=100e-6,
                                       crowbar=crowbar) for crowbar in (None, fs.Crowbar(5e-3, 0.0, "coil")))
    assert plain.voltage.min() < -1.5e3 and shorted.voltage.min() > -400
    late = shorted.times > 60e-6
    assert (shorted.current[late] > 0).all()


# ---- field and circuit ---------------------------------------------------------------------------------------------------

def test_energy_closes(warm):
    assert warm.energy.residual < 1e-3 * 2
    shares = warm.energy.final_energies()
    assert shares["heat in disc"] > 0 and shares["bank arc"] > 0
    finer = shot_of(rig(turns=2), end_time=30e-6, heating=True, accuracy=2e-3)
    assert finer.energy.residual < 0.5 * warm.energy.residual and finer.energy.residual < 1e-3


@pytest.fixture(scope="module")
def halved():
    """Heated shots of 16, 32 and 64 steps on one mesh, up to one time before any event; nothing melts."""
    section, end = rig(turns=2), 12e-6
    mesh = mesh_section(section, part_sizes=surface_cell_sizes(section, 15e3))
    return [fs.solve_shot(section, bank(voltage=6.5e3), end_time=end, motion=False, mesh=mesh, step=end / n, error_bounds=False)
            for n in (16, 32, 64)]


def test_order_two_with_heating(halved):
    """Differences between halved steps fall as their square.

    The hottest cell, at the disc's edge, is left out: its own diffusion takes less than a step, and there the method has order 1.4 to
    1.8 (order reduction in stiff parts, E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, section IV.15, from memory).
    """
    wanted = [("current", "coil"), ("current", "disc"), ("voltage", "bank"), ("mean_temperature", "disc"), ("mean_temperature", "coil")]
    assert [shot.steps for shot in halved] == [16, 32, 64] and halved[0].events == ()
    ends = np.array([[shot.series(*name)[-1] for name in wanted] for shot in halved])
    coarse, fine = np.diff(ends, axis=0)
    assert np.log2(np.abs(coarse / fine)).min() > 1.9
    assert halved[-1].series("mean_temperature", "disc")[-1] > 310            # the heat is not a detail


def power_identity(shot):
    """V I of the coil, the heat, and dW/dt = 2 pi u . K u_t of the field at every instant, in watt."""
    power = shot.series("voltage", "coil") * shot.series("current", "coil")
    heat = shot.series("power", "coil") + shot.series("power", "disc")
    stiffness = shot.field_at(0.0).system.full_stiffness
    return power, heat, np.array([2 * math.pi * u_t @ (stiffness @ u) for u, u_t in ((each.u, each.u_t) for each in shot.instants)])


def test_terminal_power_is_heat_and_change_of_field_energy(warm, halved):
    """At the end of every step V I = heat + dW/dt."""
    for shot in (warm, *halved):
        power, heat, rate = power_identity(shot)
        assert np.abs(power - heat - rate)[1:].max() < 1e-6 * np.abs(power).max()


def test_centred_differences_of_the_stored_energy_are_its_rate_to_second_order(halved):
    """At 6 us, the middle of all three, (W(t + h) - W(t - h)) / 2h + heat - V I falls as h^2."""
    gaps = []
    for shot in halved:
        power, heat, _ = power_identity(shot)
        energy, k, h = shot.energy.stores["field"], shot.steps // 2, shot.times[1]
        gaps.append(abs((energy[k + 1] - energy[k - 1]) / (2 * h) + heat[k] - power[k]))
    assert np.log2(np.array(gaps[:-1]) / gaps[1:]).min() > 1.9 and gaps[-1] < 1e-3 * power.max()


def test_stored_heat_is_the_integral_of_power(warm):
    energy = running_smooth_integral(warm.times, warm.series("power", "disc"))[-1]
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
    k = int(np.abs(warm.times - warm.peak("current", "coil").time).argmin())
    field = warm.field_at(warm.times[k])
    assert field.peak_field("bore") == pytest.approx(warm.series("field", "bore")[k], rel=1e-9)
    assert field.energy() == pytest.approx(warm.energy.stores["field"][k], rel=1e-9)
    assert field.flux_density(0.0, 0.0)[1] == pytest.approx(warm.series("field", "centre")[k], rel=1e-9)
    assert field.current_density(14.9e-3, 0.0) < 0
    with pytest.raises(InputError, match="outside the shot"):
        warm.field_at(1.0)


def test_the_error_of_a_peak_is_known_and_a_refined_run_tightens_it():
    shot = shot_of(rig(turns=2), end_time=10e-6, accuracy=2e-2, error_bounds=True)
    unbounded = shot_of(rig(turns=2), end_time=10e-6, accuracy=2e-2).peak("current", "coil")
    assert math.isinf(unbounded.error) and math.isinf(unbounded.time_error)
    first, second = shot.peak("current", "coil"), shot.refined().peak("current", "coil")
    assert first == second == unbounded and 0 < second.error <= first.error < 0.02 * first
    assert 0 <= second.time_error <= first.time_error < 0.05 * first.time


def test_second_bank_fires_at_its_time():
    shot = shot_of(rig(turns=2), [bank(), bank(voltage=3e3, fires_at=12e-6)], end_time=20e-6)
    assert (pytest.approx(12e-6, rel=1e-9), "gap of bank 2 closes") in [(t, e) for t, e in shot.events]
    second = shot.series("current", "bank 2")
    assert not second[shot.times < 12e-6].any() and second[-1] != 0
    assert shot.energy.residual < 2e-3


def test_leads_are_in_series_with_the_bank():
    """1 mohm and 40 nH of the leads, or of the bank: the same shot, the energy under another name."""
    outside = shot_of(rig(turns=2), end_time=6e-6, leads=fs.Leads(1e-3, 40e-9))
    inside = shot_of(rig(turns=2), bank(resistance=7e-3, inductance=390e-9), end_time=6e-6)
    assert outside.series("current", "coil")[-1] == pytest.approx(inside.series("current", "coil")[-1], rel=1e-3)
    one, other = outside.energy.final_energies(), inside.energy.final_energies()
    assert one["leads"] + one["bank resistance"] == pytest.approx(other["bank resistance"], rel=2e-3)
    assert one["leads inductance"] / one["bank inductance"] == pytest.approx(40 / 350, rel=1e-9)


def test_leads_from_their_dimensions():
    """Flux between conductors by Ampere's law, resistance from length over section."""
    plates = fs.plate_leads(length=0.5, width=0.1, gap=1e-3, thickness=2e-3, conductivity=5.8e7)
    assert plates.inductance == pytest.approx(MU_0 * 0.5 * 1e-3 / 0.1) and plates.resistance == pytest.approx(1.0 / (5.8e7 * 0.1 * 2e-3))
    a, D = 1e-3, 0.2
    x = np.linspace(a, D - a, 200001)
    between = trapezoid(MU_0 / (2 * math.pi) * (1 / x + 1 / (D - x)), x)              # weber per ampere and metre
    wires = fs.wire_leads(length=2.0, spacing=D, wire_diameter=2 * a, conductivity=5.8e7)
    assert wires.inductance == pytest.approx(2.0 * (between + MU_0 / (4 * math.pi)), rel=1e-3)
    assert wires.resistance == pytest.approx(2 * 2.0 / (5.8e7 * math.pi * a**2))
    with pytest.raises(InputError, match="must exceed wire_diameter"):
        fs.wire_leads(length=1.0, spacing=1e-3, wire_diameter=2e-3, conductivity=5.8e7)
    with pytest.raises(InputError, match="gap = 0 must be a positive number"):
        fs.plate_leads(length=0.5, width=0.1, gap=0, thickness=2e-3, conductivity=5.8e7)


def test_coils_in_parallel_share_the_current():
    wire = {"turns": 3, "wire_diameter": 2e-3, "pitch": 2.4e-3, "material": COPPER}
    coils = [geo.solenoid(bore_radius=15.6e-3, at=z, name=name, **wire) for name, z in (("low", -6e-3), ("high", 6e-3))]
    shot = shot_of(geo.CrossSection(coils), end_time=10e-6, circuit=[["low"], ["high"]])
    assert np.allclose(shot.series("current", "low"), shot.series("current", "high"), rtol=5e-3, atol=1.0)
    assert np.allclose(shot.series("current", "low") + shot.series("current", "high"), shot.series("current", "bank"), atol=1e-6)


def test_weak_bank_leaves_a_live_capacitor_and_says_so():
    shot = shot_of(rig(turns=2), bank(voltage=230.0, arc_voltage=150.0), end_time=80e-6)
    out = next(time for time, event in shot.events if "goes out" in event)
    left = shot.residual_voltages["bank"]
    assert 0 < abs(left) < 150 and f"LIVE at the end of the record: bank at {left:.0f} V" in shot.summary()
    current = np.abs(shot.series("current", "coil"))
    assert current[shot.times > out * 1.001].max() < 1e-12 * current.max()
    late = np.abs(shot.series("current", "disc")[shot.times > out])
    assert 0 < late[-1] < 0.5 * late[0]                                     # eddy currents decay on their own


def stop_after(time):
    def progress(now):
        if now > time:
            raise KeyboardInterrupt
    return progress


def test_ctrl_c_returns_what_was_computed():
    shot = shot_of(rig(turns=2), progress=stop_after(5e-6))
    assert shot.interrupted and "INTERRUPTED" in shot.summary()
    assert shot.times[-2] <= 5e-6 < shot.times[-1]                          # within one step
    assert {len(values) for values in shot.history.values.values()} == {len(shot.times), len(shot.instants)} == {shot.steps + 1}


def test_ctrl_c_at_any_line_of_a_step_leaves_a_whole_record():
    """The signal may come between any two lines: in each of the first 200 that the stepping runs through after its first step."""
    watched = {module.__file__ for module in (discharge, history, step)}
    tracing_before = sys.gettrace()                             # that of a measurement of coverage

    def interrupting(line):
        count = itertools.count()

        def trace(frame, event, argument):
            if event == "line" and next(count) == line:
                raise KeyboardInterrupt                         # which ends the tracing, too
            return trace if frame.f_code.co_filename in watched else None
        return trace
    for line in range(200):
        network = Network((fs.Bank(120e-6, 2e3),), ((),), fs.Leads(3e-3, 1e-6))
        trace = interrupting(line)
        run = Discharge(build=lambda mesh: None, mesh=None, network=network, heating=None, movement=None, accuracy=1e-2, end_time=60e-6,
                        observe=lambda model, value, derivative, heat: {("current", "coil"): value[2]},
                        progress=lambda time, trace=trace: sys.gettrace() is trace or sys.settrace(trace))
        try:
            run.run()
        finally:
            sys.settrace(tracing_before)
        times, currents = run.recorder.times, run.recorder.history.values["current", "coil"]
        assert run.state.interrupted and run.steps + 1 == len(times) == len(currents) >= 2
        assert (np.diff(run.recorder.times) > 0).all()


def test_one_cell_through_melting():
    """A cell heated by constant J: energy in is enthalpy gained, and J^2 t is the action to where it gets, to second order in the step."""
    content = heat_content(COPPER)
    section = geo.CrossSection([geo.disc(radius=1e-2, thickness=1e-3, material=COPPER)])
    mesh = mesh_section(section)
    cold = np.where(mesh.region > 0, COPPER.conductivity, 0.0)
    cell = int(np.flatnonzero(cold)[0])
    target = sum(content.melting_range) / 2 + 300.0                                 # well into the liquid
    J2, time = 1e22, content.action(target) / 1e22
    errors = []
    for steps in (50, 100, 200):
        heating, h, energy = Heating(section, mesh, cold), time / steps, 0.0
        volume, rate, derivative = heating.metal.volume[cell], 0.0, 0.0
        for _ in range(steps):
            new = []
            for share in SDIRK2.c:                                      # as a shot's stages: conductivity extrapolated
                ahead = np.zeros(len(cold))
                ahead[cell] = rate * share * h + 0.5 * derivative * (share * h) ** 2
                new.append((J2 * volume / heating.conductivity_after(ahead)[cell], heating.conductivity_after(ahead)))
            for weight, (power, sigma) in zip(SDIRK2.b, new, strict=True):
                gained = np.zeros(len(cold))
                gained[cell] = weight * h * power
                heating.add(gained, sigma)
                energy += weight * h * power
            derivative, rate = (new[1][0] - rate) / h if rate else 0.0, new[1][0]
        temperature = float(heating.temperature()[cell])
        assert content.enthalpy(temperature) * volume == pytest.approx(energy, rel=1e-6)
        assert heating.action[cell] == pytest.approx(J2 * time, rel=1e-12)
        assert heating.observables(("disc",))["molten_share", "disc"] > 0
        errors.append(abs(temperature - target))
    assert errors[-1] < 2e-3 * target and errors[-1] < errors[0] / 8
    assert heating.temperature()[np.arange(len(cold)) != cell] == pytest.approx(293.15)


# ---- what is no number --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("part", "entry"), [("field", 0), ("circuit", -3)])
def test_a_state_that_is_no_number_is_named_with_its_step(monkeypatch, part, entry):
    original, calls = discharge.solve_stage, itertools.count()

    def solve_stage(*stage, **changes):
        model, derivative = original(*stage, **changes)
        if next(calls) == 21:                                               # the last one of a step
            derivative[entry] = math.nan
        return model, derivative
    monkeypatch.setattr(discharge, "solve_stage", solve_stage)
    with pytest.raises(SolveError, match=rf"in the step after .* s: the {part} is not a number") as caught:
        shot_of(rig(turns=2), heating=True)
    kept = caught.value.partial
    assert kept.interrupted and kept.steps > 3 and np.isfinite(kept.series("current", "coil")).all()
    assert f"after {kept.times[-1]:.6g} s" in str(caught.value)


def test_heat_that_is_no_number_is_named(monkeypatch):
    original, calls = coupled_model.triangle_heat_rates, itertools.count()
    monkeypatch.setattr(coupled_model, "triangle_heat_rates", lambda *stage: original(*stage) * (math.nan if next(calls) == 12 else 1.0))
    with pytest.raises(SolveError, match="the heat is not a number") as caught:
        shot_of(rig(turns=2), heating=True)
    assert np.isfinite(caught.value.partial.series("temperature", "disc")).all()


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


def waveform_that_fails(failure):
    coil = geo.winding(inner_radius=10e-3, outer_radius=14e-3, height=6e-3, turns=20)
    return fs.solve_transient(geo.CrossSection([coil]), times=[0.4, 1.0], currents={"coil": lambda t: 1.0 if t < 0.5 else failure()})


def test_a_waveform_that_becomes_no_number_is_named_with_its_time():
    with pytest.raises(SolveError, match=r"not a number after the step to .* s: a material or waveform") as caught:
        waveform_that_fails(lambda: math.nan)
    kept = caught.value.partial
    assert kept.interrupted and kept.times.tolist() == [0.4] and np.isfinite(kept.field_at(0.4).flux_density(0.0, 0.0)[1])


def test_ctrl_c_keeps_the_instants_of_a_driven_field():
    def stop():
        raise KeyboardInterrupt
    kept = waveform_that_fails(stop)
    assert kept.interrupted and kept.times.tolist() == [0.4] and kept.steps > 0


BAD = [
    (lambda: bank(capacitance=0.0), "capacitance = 0.0 must be a positive number"),
    (lambda: bank(voltage=-5.0), "voltage = -5.0 must be a positive number"),
    (lambda: bank(voltage=math.nan), "voltage = nan must be"),
    (lambda: shot_of(charge=bank(rated_voltage=3e3)), "above rated_voltage = 3000 V: charge less"),
    (lambda: bank(voltage=50.0), "does not exceed arc_voltage = 80 V"),
    (lambda: shot_of(end_time=0.0), "end_time = 0 s"),
    (lambda: shot_of(geo.CrossSection([geo.disc(radius=1e-2, thickness=1e-3, material=COPPER)])), "no coil is in the circuit"),
    (lambda: shot_of(circuit=[["disc"]]), "only coils of wire can be in a circuit"),
    (lambda: shot_of(circuit=[["coil"], []]), "each branch needs a coil"),
    (lambda: shot_of(circuit=[["coil", "coil"]]), "may stand in it once"),
    (lambda: shot_of(geo.CrossSection([geo.winding(inner_radius=1e-2, outer_radius=2e-2, height=1e-2, turns=9)])), "needs fill="),
    (lambda: shot_of(end_time=math.nan), "end_time = nan s: give a positive"),
    (lambda: shot_of(charge=[]), "a list of them"),
    (lambda: bank(capacitance=math.inf), "capacitance = inf must be a positive number"),
    (lambda: bank(resistance=-1e-3), "resistance = -0.001 must be a number, zero or more"),
    (lambda: bank(fires_at=math.nan), "fires_at = nan"),
    (lambda: fs.solve_circuit(fs.Bank(1e-6, 1e3), load_resistance=1.0, load_inductance=0.0, end_time=1e-6), "give some inductance"),
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
