"""The best design: against brute force over closed forms, what binds, the frontier, the band, and the response behind it."""
import itertools
import math

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.studies import sweeps
from fieldsolve.errors import InputError
from fieldsolve.sweeps.design.response import fit_response
from fieldsolve.sweeps.run import FAILED, Outcome
from tests.sweeps.small_runs import SHOT

VARY = {"coil.turns": (3, 12), "bank.voltage": ("4 kV", "8 kV"), "bank.capacitance": ("40 uF", "200 uF")}
GRID = list(itertools.product(range(3, 13), np.linspace(4e3, 8e3, 9), np.linspace(40e-6, 200e-6, 9)))       # 810 points


def ringing(turns, voltage, capacitance):
    """A lossless bank of 300 nH into a coil of 25 nH a turn squared, with a field of 0.12 mT per ampere-turn, by closed forms."""
    inductance = 300e-9 + 25e-9 * turns**2
    current = voltage * math.sqrt(capacitance / inductance)
    return {"field in bore": 1.2e-4 * turns * current, "current of coil": current, "energy of bank": 0.5 * capacitance * voltage**2,
            "heat": (turns * current) ** 2 * math.sqrt(inductance * capacitance) * 1e-6, "turn voltage": voltage / turns}


@pytest.fixture
def ringing_coil(monkeypatch):
    """Runs by the closed forms; returns the points that were computed."""
    computed = []

    def compute(run):
        bank = run.case.banks[0]
        computed.append((run.case.section.part("coil").turns, bank.voltage, bank.capacitance))
        return Outcome(status="done", results={name: (value, 0.0, "") for name, value in ringing(*computed[-1]).items()})
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", compute)
    return computed


def search(goal="field in bore", **keywords):
    return fs.design(SHOT, VARY, **{"largest": goal, "against": None, "workers": 1, "first_pass": False, **keywords})


@pytest.mark.parametrize(("require", "binding"), [
    pytest.param({"heat": ("at most", 1.0), "turn voltage": ("at most", 800)}, {"heat"}, marks=pytest.mark.slow),
    ({"current of coil": ("at most", 50e3), "energy of bank": ("at most", 2e3)}, {"energy of bank"}),
    pytest.param({"current of coil": ("at most", 30e3), "turn voltage": ("at most", 700)}, {"current of coil"}, marks=pytest.mark.slow),
])
@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_it_finds_the_best_of_brute_force_with_a_twentieth_of_the_runs(require, binding, seed, ringing_coil):
    def is_met(values):
        return all(values[name] <= limit for name, (_, limit) in require.items())
    brute = max(values["field in bore"] for values in (ringing(*point) for point in GRID) if is_met(values))
    found = search(require=require, seed=seed)
    assert is_met(found.best)
    assert found.best["field in bore"] > 0.98 * brute
    assert len(found.rows) <= len(GRID) // 20 and len(ringing_coil) <= len(found.rows) + 1
    assert binding <= {*found.binding}


def test_the_smallest_is_found_too(ringing_coil):
    found = search(largest=None, smallest="energy of bank", require={"field in bore": ("at least", 25.0)})
    brute = min(values["energy of bank"] for values in (ringing(*point) for point in GRID) if values["field in bore"] >= 25.0)
    assert found.best["energy of bank"] < 1.02 * brute and found.binding == ("field in bore",)


def test_the_same_seed_finds_the_same(ringing_coil):
    first, second = (search(require={"heat": ("at most", 1.0)}, runs=16) for _ in range(2))
    assert first.rows == second.rows and first.best == second.best


def test_the_frontier_holds_no_point_that_another_beats(ringing_coil):
    found = search(against="energy of bank", require={"heat": ("at most", 1.0)})
    pairs = [(row["energy of bank"], row["field in bore"]) for row in found.frontier]
    assert len(pairs) >= 5 and pairs == sorted(pairs) and [field for _, field in pairs] == sorted(field for _, field in pairs)
    met = [row for row in found.rows if row["heat"] <= 1.0]
    assert not any(row["energy of bank"] < energy and row["field in bore"] > field for row in met for energy, field in pairs)
    brute = [ringing(*point) for point in GRID]
    for energy, field in pairs[1::2]:
        best = max(values["field in bore"] for values in brute if values["energy of bank"] <= energy and values["heat"] <= 1.0)
        assert field > 0.85 * best


@pytest.mark.parametrize("runs", [16, pytest.param(19, marks=pytest.mark.slow)])
def test_search_and_frontier_together_take_no_more_runs_than_allowed(runs, ringing_coil):
    assert len(search(against="energy of bank", runs=runs).rows) <= runs


def test_a_goal_far_from_every_name_lists_results_alone(ringing_coil):
    with pytest.raises(InputError, match=r"known are .*energy of bank") as refused:
        search("zzzz")
    assert not any(name in str(refused.value) for name in ("error of", "margin of", "status"))


def test_where_nothing_fulfils_the_limits_it_says_which_bind(ringing_coil):
    found = search(require={"heat": ("at most", 1e-3), "current of coil": ("at most", 1e9)}, runs=20)
    assert found.best is None and found.binding == ("heat",) and found.nearest is not None
    assert "NOTHING fulfils the limits" in found.summary() and "none of" in found.summary()


def test_limits_that_exclude_each_other_are_named(ringing_coil):
    found = search(require={"field in bore": ("at least", 60.0), "energy of bank": ("at most", 700.0)}, runs=20)
    assert found.best is None and found.never_met == () and {*found.binding} & {"field in bore", "energy of bank"}
    assert "never all together" in " ".join(found.summary().split())


def test_the_band_is_that_of_the_closed_form(ringing_coil):
    case = {**SHOT, "bank": {**SHOT["bank"], "capacitance": "120 uF +- 3 %", "voltage": "1 kV +- 10 V"}}
    found = fs.design(case, VARY, largest="field in bore", against=None, workers=1, first_pass=False,
                      require={"heat": ("at most", 1.0)}, runs=20)
    band = found.band["field in bore"]
    relative = math.hypot(0.5 * 0.03, 0.01) / math.sqrt(3)
    assert band.uncertainty == pytest.approx(relative * found.best["field in bore"], rel=1e-2)
    assert "with the uncertainties of the case" in " ".join(found.summary().split()) and "reaches BEYOND the limit" in found.summary()


def test_a_key_follows_another_and_parts_that_cannot_be_cost_no_run(ringing_coil):
    found = fs.design(SHOT, {"coil.wire_diameter": ("1 mm", "4 mm"), "bank.voltage": ("4 kV", "8 kV")}, largest="field in bore",
                      against=None, workers=1, first_pass=False, follow={"coil.pitch": ("coil.wire_diameter", 1.1)}, runs=12)
    pitches, wires = ([float(row[key].split()[0]) for row in found.rows] for key in ("coil.pitch", "coil.wire_diameter"))
    assert pitches == pytest.approx([1.1 * wire for wire in wires])
    ringing_coil.clear()
    free = fs.design(SHOT, {"coil.wire_diameter": ("1 mm", "6 mm"), "bank.voltage": ("4 kV", "8 kV")}, largest="field in bore",
                     against=None, workers=1, first_pass=False, runs=12)                      # the pitch stays at 3.3 mm
    assert {row["status"] for row in free.rows} == {"done"}


def test_runs_that_fail_are_kept_away_from(monkeypatch):
    def compute(run):
        voltage = run.case.banks[0].voltage
        if voltage > 6e3:
            return Outcome(status=FAILED, reason="the mesher gave up")
        return Outcome(status="done", results={"field in bore": (voltage, 0.0, "T")})
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", compute)
    found = fs.design(SHOT, {"bank.voltage": ("4 kV", "8 kV")}, largest="field in bore", against=None, workers=1, runs=24,
                      first_pass=False)
    assert found.best["field in bore"] > 0.98 * 6e3
    assert sum(row["status"] == FAILED for row in found.rows) < 0.6 * len(found.rows)          # it closes in on where runs begin to fail


@pytest.mark.parametrize(("keywords", "message"), [
    ({"largest": None}, "give one goal"), ({"smallest": "heat"}, "give one goal"),
    ({"goal": "feld in bore"}, "did you mean 'field in bore'"),
    ({"runs": 5}, "need 16 at least"), ({"limits": ["reversal"]}, "is no check of the card"), ({"require": {"heat": 3}}, "at most"),
    ({"require": {"hat": ("at most", 3)}}, "did you mean 'heat'"), ({"follow": {"coil.pitch": ("coil.at", 2)}}, "give a key of vary"),
])
def test_what_is_no_design_is_refused(keywords, message, ringing_coil):
    with pytest.raises((InputError, TypeError), match=message):
        search(**keywords)


@pytest.mark.slow
def test_it_finds_the_best_of_a_grid_of_shots_with_a_tenth_of_them(tmp_path):
    grid, *searches = sweeps.designs(tmp_path / "store")
    assert grid[1] == 441 and len(searches) == 2
    for found in searches:
        assert found[1] <= 44 and float(found[3]) > 0.98 * float(grid[3])


def test_a_response_goes_through_its_points_and_knows_where_it_knows_little():
    x = np.random.default_rng(1).random((20, 2))
    y = np.sin(3 * x[:, 0]) + x[:, 1] ** 2
    response = fit_response(x, y)
    mean, deviation = response.at(x)
    assert np.abs(mean - y).max() < 1e-3 and deviation.max() < 1e-2
    new = np.random.default_rng(2).random((200, 2))
    mean, deviation = response.at(new)
    error = mean - np.sin(3 * new[:, 0]) - new[:, 1] ** 2
    assert np.abs(error).max() < 0.1 and np.mean(np.abs(error) < 3 * deviation) > 0.9


def test_a_linear_response_is_exact_anywhere():
    x = np.random.default_rng(1).random((8, 2))
    mean, _ = fit_response(x, 2.0 + x @ [3.0, -1.0]).at(np.array([[0.0, 0.0], [1.0, 1.0]]))
    assert mean == pytest.approx([2.0, 4.0], abs=1e-6)
