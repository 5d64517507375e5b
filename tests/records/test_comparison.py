"""A record against a shot: readings of known waveforms, time zero, uncertainties that add up as they should, verdicts in words."""
import math
import pickle
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

import fieldsolve as fs
import geometries as geo
from fieldsolve.cases.solve import solve_case_shot
from fieldsolve.constants import MU_0
from fieldsolve.errors import InputError
from fieldsolve.records.comparison.alignment import align
from fieldsolve.records.comparison.helix import _segments, helix_excess, model_terms, neumann
from fieldsolve.records.comparison.rows import AGREES, DIFFERS, OPEN, Row
from fieldsolve.records.comparison.sensitivities import solve_sensitivities, uncertain_inputs
from fieldsolve.records.comparison.trace import Trace, block_length, read_trace

F, DECAY, PEAK = 12.5e3, 9e3, 60e3                   # hertz, 1/s, ampere without damping
TABLES = {
    "coil": {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm", "material": "copper"},
    "bank": {"capacitance": "120 uF +- 3 % (k=2)", "voltage": "4 kV +- 1 % (k=1)", "inductance": "350 nH +- 2 %", "resistance": "6 mohm"},
    "run": {"end_time": "100 us", "motion": False, "heating": False, "accuracy": 5e-2},
}


def ringing(times, frequency=F, decay=DECAY, peak=PEAK):
    """i = I exp(-alpha t) sin(omega t) from time 0 on."""
    t = np.clip(times, 0, None)
    return peak * np.exp(-decay * t) * np.sin(2 * np.pi * frequency * t)


@pytest.fixture(scope="module")
def case():
    return fs.read_case(TABLES)


@pytest.fixture(scope="module")
def shot(case):
    return fs.solve_case(case)


@pytest.fixture(scope="module")
def unbounded_shot(case):
    """The same without error bounds."""
    return solve_case_shot(case, error_bounds=False)


@pytest.fixture(scope="module")
def true_current(shot):
    from scipy.interpolate import CubicHermiteSpline
    cubic = CubicHermiteSpline(shot.times, shot.series("current", "coil"), shot.series("current_rate", "coil"))
    return lambda t: np.where(t > 0, cubic(np.clip(t, 0, shot.times[-1])), 0.0)


def record_of(true_current, *, gain=1.0, start=0.0, noise=0.0, seed=1, scale_uncertainty=0.01, until=100e-6):
    times = np.arange(-10e-6, until, 20e-9)
    values = gain * true_current(times - start) + np.random.default_rng(seed).normal(0, noise, len(times))
    channel = fs.Channel(column=1, scale_uncertainty=scale_uncertainty)
    return fs.Record(times=times, values={"current": values}, channels={"current": channel})


def test_readings_of_the_damped_sine_are_those_of_its_formula():
    """Peak at atan(omega/alpha)/omega, zeros at half periods, ratio exp(-alpha T/2) (logarithmic decrement), the integral."""
    times = np.linspace(0, 200e-6, 20001)
    trace, omega = Trace(times, ringing(times)), 2 * np.pi * F
    readings = read_trace(trace, block_length(trace))
    top = math.atan2(omega, DECAY) / omega
    assert readings["time of peak"].value == pytest.approx(top, rel=2e-4)
    assert readings["peak"].value == pytest.approx(PEAK * math.exp(-DECAY * top) * math.sin(omega * top), rel=2e-5)
    assert readings["second peak over first"].value == pytest.approx(math.exp(-DECAY * np.pi / omega), rel=5e-5)
    for number in (1, 2, 3, 4):
        assert readings[f"zero crossing {number}"].value == pytest.approx(number * np.pi / omega, rel=2e-4)
    antiderivative = [PEAK**2 * (math.exp(-2 * DECAY * t) / (4 * DECAY)) * (
        -1 + DECAY * (DECAY * math.cos(2 * omega * t) - omega * math.sin(2 * omega * t)) / (DECAY**2 + omega**2)) for t in (0, 200e-6)]
    assert readings["integral of I^2 dt"].value == pytest.approx(antiderivative[1] - antiderivative[0], rel=1e-6)


def test_the_uncertainty_of_each_reading_is_its_scatter():
    """200 noisy traces: the deviation from the reading without noise is on the average the uncertainty that is reported."""
    times = np.arange(0, 150e-6, 50e-9)
    clean = read_trace(Trace(times, ringing(times)), 1e-6)
    scores = {name: [] for name in clean}
    for seed in range(200):
        noisy = Trace(times, ringing(times) + np.random.default_rng(seed).normal(0, 0.02 * PEAK, len(times)))
        for name, reading in read_trace(noisy, 1e-6).items():
            scores[name].append((reading.value - clean[name].value) / reading.uncertainty)
    for name, score in scores.items():
        assert len(score) == 200, name
        assert 0.75 < np.std(score) < 1.3, name
        assert abs(np.mean(score)) < 0.35, name


@pytest.mark.parametrize(("frequency", "noise"), [
    (11.2e3, 0.0), (12.5e3, 0.01), (11.2e3, 0.05), *(pytest.param(*pair, marks=pytest.mark.slow) for pair in (
        (12.5e3, 0.0), (11.2e3, 0.01), (12.5e3, 0.05)))])
def test_time_zero_is_found_whatever_gain_offset_and_frequency(frequency, noise):
    grid = np.linspace(0, 150e-6, 4001)
    scores = []
    for seed in range(40):
        random = np.random.default_rng(seed)
        times = np.arange(-15e-6, 140e-6, 50e-9) + random.uniform(0, 50e-9)
        values = 0.8 * ringing(times - 3e-6, frequency) + 500 + random.normal(0, noise * PEAK, len(times))
        found = align(Trace(times, values), Trace(grid, ringing(grid)), "x")
        scores.append((found.shift - 3e-6) / found.uncertainty)
        assert found.uncertainty < 15e-9 + 6e-6 * noise
        assert found.offset == pytest.approx(500, abs=5 * found.offset_uncertainty + 1e-6)
    assert np.sqrt(np.mean(np.square(scores))) < 1.4


def test_a_record_of_the_shot_itself_agrees_in_everything(shot, true_current):
    comparison = fs.compare(shot, record_of(true_current, start=2e-6, noise=300.0), inputs="none")
    assert {row.name for row in comparison.rows} >= {
        "peak current of coil", "time of peak current of coil", "second peak over first of current", "zero crossing 1 of current",
        "zero crossing 2 of current", "integral of I^2 dt"}
    assert [row.outcome for row in comparison.rows] == [AGREES] * len(comparison.rows)
    assert comparison.alignment.shift == pytest.approx(2e-6, abs=40e-9)
    assert comparison.residual_rms == pytest.approx(300, rel=0.1)
    assert comparison.row("peak current of coil").computed == pytest.approx(shot.peak("current", "coil"), rel=1e-4)


def test_a_gain_error_is_seen_in_the_amplitudes_and_in_no_time(shot, true_current):
    comparison = fs.compare(shot, record_of(true_current, gain=1.1, noise=100.0), inputs="none")
    outcomes = {row.name: row.outcome for row in comparison.rows}
    assert outcomes.pop("peak current of coil") == outcomes.pop("integral of I^2 dt") == DIFFERS
    assert set(outcomes.values()) == {AGREES}
    peak = comparison.row("peak current of coil")
    assert peak.difference == pytest.approx(-0.1 * peak.computed, rel=0.02)
    assert peak.u_measured == pytest.approx(0.01 * peak.measured, rel=0.05)          # of the scale
    assert comparison.row("integral of I^2 dt").u_measured == pytest.approx(0.02 * 1.21 * comparison.row("integral of I^2 dt").computed,
                                                                           rel=0.05)
    assert peak.u_num == pytest.approx(0.5 * shot.peak("current", "coil").error, rel=0.05)
    ratio = abs(peak.difference) / (2 * math.hypot(peak.u_num, peak.u_measured))
    assert peak.verdict == (f"differs by {ratio:.2g} times what all known uncertainty explains: the model, or an input"
                            " (not known: the inputs' uncertainty)")


def test_the_uncertainty_of_the_inputs_is_that_of_the_circuit(shot, true_current, case):
    """I ~ V, so u(V) of 1 % is 1 % of the peak; times do not know the voltage; t ~ sqrt(C) of a ringing circuit with little damping."""
    comparison = fs.compare(shot, record_of(true_current), case=case)
    peak, crossing = comparison.row("peak current of coil"), comparison.row("zero crossing 2 of current")
    assert set(peak.contributions) == {"bank.capacitance", "bank.voltage", "bank.inductance"}
    assert peak.contributions["bank.voltage"] == pytest.approx(0.01 * peak.computed, rel=1e-3)
    assert crossing.contributions["bank.voltage"] < 1e-5 * crossing.computed
    assert crossing.contributions["bank.capacitance"] == pytest.approx(0.5 * 0.015 * crossing.computed, rel=0.05)
    assert peak.u_input == pytest.approx(math.hypot(*peak.contributions.values()))
    assert peak.u_val == pytest.approx(math.hypot(peak.u_num, peak.u_input, peak.u_measured))
    by_leads = crossing.offsets["helix of coil with its wire led back"]
    inductance = sum(term.inductance for term in comparison.terms)
    by_inductance = crossing.contributions["bank.inductance"] / (0.02 / math.sqrt(3) * 350e-9)          # seconds a henry
    assert by_leads == pytest.approx(by_inductance * inductance, rel=0.05)


def test_without_uncertainties_or_bounds_the_verdict_says_so(unbounded_shot, true_current):
    without = fs.read_case({**TABLES, "bank": {"capacitance": "120 uF", "voltage": "4 kV", "inductance": "350 nH", "resistance": "6 mohm"}})
    comparison = fs.compare(unbounded_shot, record_of(true_current), case=without, inputs="none")
    row = comparison.row("peak current of coil")
    assert row.u_num is None and row.u_input is None
    assert "not known: the numerical error, the inputs' uncertainty" in row.verdict
    assert any("no uncertainty of its inputs" in remark for remark in comparison.remarks)
    assert any("no error bound" in remark for remark in comparison.remarks)


def test_the_numerical_error_is_half_the_bound(true_current, shot):
    refined = shot.refined()
    row = fs.compare(refined, record_of(true_current), inputs="none").row("peak current of coil")
    assert row.u_num == pytest.approx(0.5 * refined.peak("current", "coil").error, rel=0.05)
    assert "numerical error" not in row.verdict


@pytest.mark.parametrize(("u", "outcome", "words"), [
    ({"u_measured": 300.0}, DIFFERS, "differs by 1.7 times what all known uncertainty explains: the model, or an input"),
    ({"u_measured": 600.0}, AGREES, "agrees: 0.83 of what known uncertainty explains"),
    ({"u_measured": 8e3}, AGREES, "a weak test"), ({}, OPEN, "nothing can be said"), ({"u_num": 0.0}, OPEN, "nothing can be said"),
    ({"u_measured": 600.0, "reason": "beyond the model"}, OPEN, "beyond the model"),
    ({"u_measured": 300.0, "offsets": {"helix": -900.0}}, DIFFERS, "with helix it would agree"),
    ({"u_measured": 600.0, "offsets": {"helix": 2000.0}}, AGREES, "with helix it would differ by 2.5 times that"),
])
def test_verdicts(u, outcome, words):
    row = Row(name="peak", unit="A", computed=51e3, measured=50e3, **u)
    assert row.outcome == outcome and words in row.verdict


def test_a_ring_by_neumanns_integral_is_maxwells_formula():
    """Two coaxial circles of radius R at a distance g: M = mu_0 R (2/k - k) K(k) - (2/k) E(k), k^2 = 4 R^2 / (4 R^2 + g^2)."""
    radius, distance, sides = 17e-3, 1.17e-3, 720
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    ring = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(sides + 1)])
    k2 = 4 * radius**2 / (4 * radius**2 + distance**2)
    k = math.sqrt(k2)
    assert neumann(_segments(ring), distance) == pytest.approx(MU_0 * radius * ((2 / k - k) * ellipk(k2) - 2 / k * ellipe(k2)), rel=1e-4)


def test_a_rectangle_by_neumanns_integral_is_grovers_formula():
    """F. W. Grover, Inductance Calculations (1946), chapter 8: rectangle of round wire, internal inductance in it."""
    a, b, wire = 0.5, 0.3, 1e-3
    corners = np.array([[0, 0, 0], [a, 0, 0], [a, b, 0], [0, b, 0], [0, 0, 0]])
    points = np.vstack([corners[0], *(corners[k] + (corners[k + 1] - corners[k]) * np.linspace(0, 1, 101)[1:, None] for k in range(4))])
    diagonal = math.hypot(a, b)
    known = MU_0 / np.pi * (a * math.log(2 * a / wire) + b * math.log(2 * b / wire) + 2 * diagonal - a * math.asinh(a / b)
                            - b * math.asinh(b / a) - 1.75 * (a + b))
    assert neumann(_segments(points), wire * math.exp(-0.25)) == pytest.approx(known, rel=2e-3)


def test_the_helix_of_a_coil_exceeds_its_circles_and_falls_with_the_pitch():
    def coil(pitch, turns=8):
        return geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=0.5e-3, pitch=pitch)
    wide, narrow = helix_excess(coil(3.3e-3)), helix_excess(coil(0.6e-3))
    assert 0 < narrow < wide < 30e-9
    spiral = helix_excess(geo.spiral(turns=5, inner_radius=10e-3, wire_diameter=2e-3, pitch=2.5e-3))
    assert 0 < spiral < 30e-9
    assert model_terms((geo.winding(inner_radius=0.02, outer_radius=0.03, height=0.01, turns=10, fill=0.7),), fs.Leads()) == ()
    leads = model_terms((), fs.Leads(length=0.6, spacing=3.2e-3, width=60e-3))
    assert [term.inductance for term in leads] == [pytest.approx(MU_0 * 0.6 * 3.2 / 60)]
    assert model_terms((), fs.Leads(length=0.6, spacing=3.2e-3, width=60e-3, inductance=40e-9)) == ()


def test_what_was_measured_after_a_held_shot_is_no_test_of_its_shape():
    tables = {**TABLES, "disc": {"shape": "disc", "radius": "15 mm", "thickness": "2 mm", "material": "copper"},
              "run": TABLES["run"] | {"end_time": "30 us"}}
    shot = solve_case_shot(fs.read_case(tables), error_bounds=False)
    record = fs.Record(times=shot.times, values={"current": shot.series("current", "coil")})
    comparison = fs.compare(shot, record, {"radius of disc": (12.9e-3, 0.1e-3), "mass of disc": 12.6e-3}, inputs="none")
    assert comparison.row("radius of disc").outcome == OPEN and "held still" in comparison.row("radius of disc").verdict
    mass = comparison.row("mass of disc")
    assert mass.computed == pytest.approx(np.pi * 15e-3**2 * 2e-3 * fs.material("copper").density, rel=1e-6)
    assert mass.u_measured is None
    for name, given in (("radius of disk", (1.0, 0.1)), ("radius of disc", (1.0, -0.1)), ("radius of disc", "1 mm"),
                        ("radius of disc", (math.nan, 0.1))):
        with pytest.raises(InputError, match=name):
            fs.compare(shot, record, {name: given}, inputs="none")


def test_voltage_and_field_probe_are_compared_too(shot, true_current):
    record = record_of(true_current, start=2e-6)
    times = record.times - 2e-6
    straight = 5e-3                                      # what lines between the 63 instants of the shot take off a peak
    voltage = np.interp(times, shot.times, shot.series("voltage", "bank"), left=4e3)
    field = np.interp(times, shot.times, shot.series("field", "centre"), left=0.0)
    record = fs.Record(times=record.times, values=record.values | {"voltage": voltage, "probe": np.gradient(field, times)},
                       channels={"probe": fs.Channel(column=3, role="field_rate", scale_uncertainty=0.02)})
    comparison = fs.compare(shot, record, inputs="none")
    rows = {row.name: row for row in comparison.rows}
    assert rows["charge voltage of bank in the record"].measured == pytest.approx(4e3)
    assert rows["largest reverse voltage of bank"].measured == pytest.approx(-shot.series("voltage", "bank").min(), rel=straight)
    centre = rows["peak axial field at centre"]
    assert centre.measured == pytest.approx(shot.peak("field", "centre"), rel=straight)
    assert centre.u_measured == pytest.approx(0.02 * centre.measured, rel=0.05) and centre.outcome == AGREES
    placed = fs.Record(times=record.times, values=record.values,
                       channels={"probe": fs.Channel(column=3, role="field_rate", place=(0.0, 0.0))})
    row = fs.compare(shot, placed, inputs="none").row("peak axial field at r = 0 mm, z = 0 mm")
    assert row.computed == pytest.approx(centre.computed, rel=5e-3)


def test_a_rate_is_integrated_and_a_gap_is_not_filled_in(shot, true_current):
    record = record_of(true_current)
    rate = np.gradient(record.channel("current"), record.times)
    by_rate = fs.compare(shot, fs.Record(times=record.times, values={"current_rate": rate}), inputs="none")
    assert by_rate.row("peak current of coil").measured == pytest.approx(shot.peak("current", "coil"), rel=2e-3)
    clipped = np.where(np.abs(record.channel("current")) > 0.9 * np.abs(record.channel("current")).max(), np.nan, record.channel("current"))
    comparison = fs.compare(shot, fs.Record(times=record.times, values={"current": clipped}), inputs="none")
    names = {row.name for row in comparison.rows}
    assert "peak current of coil" not in names and "integral of I^2 dt" not in names and "zero crossing 1 of current" in names
    assert any(remark.startswith("peak: the shot shows it, the record does not") for remark in comparison.remarks)


def test_what_cannot_be_compared_is_refused(shot, true_current):
    record = record_of(true_current)
    with pytest.raises(InputError, match="sign opposite"):
        fs.compare(shot, record_of(true_current, gain=-1.0))
    with pytest.raises(InputError, match="has no current"):
        fs.compare(shot, fs.Record(times=record.times, values={"light": record.channel("current")}))
    with pytest.raises(InputError, match="no current is seen"):
        fs.compare(shot, fs.Record(times=record.times, values={"current": np.zeros(len(record.times))}))
    with pytest.raises(InputError, match="inputs = 'some'"):
        fs.compare(shot, record, inputs="some")


def test_what_stands_beside_a_shot_cut_short_is_said(shot, unbounded_shot, true_current, case):
    record = record_of(true_current)
    remarks = fs.compare(replace(unbounded_shot, stop_reason="by hand", case=None), record).remarks
    assert any("the computed values have no error bound" in remark for remark in remarks)
    assert any(remark.startswith("the shot ended early, at 100 us") for remark in remarks)
    assert any("the shot came from no case file" in remark for remark in remarks)
    assert not any("ended early" in remark for remark in fs.compare(shot, record, inputs="none").remarks)


def test_differences_by_known_uncertainty_alone_agree_in_95_percent(unbounded_shot, true_current):
    """40 records with noise, a scale off by its own uncertainty and a time zero of their own.

    The current is that of the shot itself, free of numerical error, so the shot is one without a bound of it.
    """
    outcomes = []
    for seed in range(40):
        random = np.random.default_rng(1000 + seed)
        record = record_of(true_current, gain=random.normal(1, 0.01), start=random.uniform(0, 4e-6), noise=400.0, seed=seed)
        outcomes += [row.outcome for row in fs.compare(unbounded_shot, record, inputs="none").rows]
    assert len(outcomes) >= 200
    assert 0.90 <= outcomes.count(AGREES) / len(outcomes) <= 0.99


def test_a_case_of_another_shot_is_refused(shot, true_current, case):
    record = record_of(true_current)
    for key, value in (("bank.voltage", "4.2 kV"), ("coil.turns", 5)):
        with pytest.raises(InputError, match="is not the case of this shot"):
            fs.compare(shot, record, case=case.with_values({key: value}))
    fs.compare(shot, record, case=case.with_values({"bank.capacitance": "120 uF"}), inputs="none")      # known exactly: the same shot


def test_the_trigger_voltage_is_held_against_the_charge(shot, true_current):
    row = fs.compare(shot, record_of(true_current), {"charge voltage of bank": (3.9e3, 20.0)}, inputs="none").row("charge voltage of bank")
    assert (row.computed, row.outcome) == (4e3, DIFFERS)


def test_a_comparison_is_data_and_its_facts_are_plain(shot, true_current):
    comparison = fs.compare(shot, record_of(true_current), inputs="none")
    import json
    again = pickle.loads(pickle.dumps(comparison))
    assert again.facts() == comparison.facts() and again.report() == comparison.report()
    assert json.loads(json.dumps(comparison.facts(), allow_nan=False)) == comparison.facts()
    assert comparison.plot()[0].get_ylabel() == "current of coil [kA]"


def test_only_inputs_of_the_shot_are_changed():
    case = fs.read_case({**TABLES, "leads": {"length": "0.6 m +- 1 cm", "resistance": "1 mohm +- 10 %"},
                         "site": {"temperature": "20 degC +- 1 K"},
                         "coil": TABLES["coil"] | {"bore_radius": "15.6 mm +- 0.02 mm", "current": "1 kA +- 1 %"}})
    assert set(uncertain_inputs(case)) == {"bank.capacitance", "bank.voltage", "bank.inductance", "leads.resistance", "coil.bore_radius"}


def test_changed_shots_are_computed_without_error_bounds():
    """Their differences from the base are all that is read."""
    case = fs.read_case({**TABLES, "bank": TABLES["bank"] | {"capacitance": "120 uF", "inductance": "350 nH"},
                         "run": TABLES["run"] | {"end_time": "2 us", "accuracy": 3e-3}})
    compared = solve_case_shot(case, error_bounds=False)
    found = solve_sensitivities(case, compared, held=True, term=10e-9)
    (changed,) = found.changed
    assert changed.key == "bank.voltage" and found.base is not compared
    assert all(shot.comparisons == () for shot in (found.base, changed.shot, found.with_term))
