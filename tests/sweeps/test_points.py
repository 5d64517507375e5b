"""Points of a sweep: grids, zipped lists, lists, samples, and what is refused before anything is computed."""
import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.sweeps.points import plan_points, spaced_values


def points(over, **keywords):
    return list(plan_points(over, **keywords).points())


def test_a_grid_has_every_choice_with_every_other_the_last_fastest():
    assert points({"coil.turns": [6, 8], "bank.voltage": ["4 kV", "5 kV"]}) == [
        {"coil.turns": 6, "bank.voltage": "4 kV"}, {"coil.turns": 6, "bank.voltage": "5 kV"},
        {"coil.turns": 8, "bank.voltage": "4 kV"}, {"coil.turns": 8, "bank.voltage": "5 kV"}]


def test_zipped_values_go_together():
    assert points({("coil.turns", "coil.pitch"): [(6, "3.3 mm"), (8, "3.6 mm")], "bank.voltage": ["4 kV"]}) == [
        {"coil.turns": 6, "coil.pitch": "3.3 mm", "bank.voltage": "4 kV"},
        {"coil.turns": 8, "coil.pitch": "3.6 mm", "bank.voltage": "4 kV"}]


def test_a_list_of_points_stays_as_it_is():
    given = [{"bank.voltage": "4 kV"}, {"bank.voltage": "5 kV", "coil.turns": 8}]
    assert points(given) == given


def test_values_of_numpy_become_those_of_python():
    assert [type(point["bank.voltage"]) for point in points({"bank.voltage": np.linspace(4e3, 5e3, 2)})] == [float, float]


@pytest.mark.parametrize("method", ["sobol", "halton", "latin hypercube", "random"])
def test_samples_lie_between_the_ends_and_repeat_with_the_seed(method):
    def drawn(seed):
        return points(fs.Samples(between={"bank.voltage": ("4 kV", "6 kV"), "coil.turns": (6, 9)}, count=32, method=method, seed=seed))
    first = drawn(1)
    volts = [float(point["bank.voltage"].removesuffix(" kV")) for point in first]
    assert len(first) == 32 and 4 <= min(volts) < max(volts) <= 6
    assert {point["coil.turns"] for point in first} == {6, 7, 8, 9}
    assert drawn(1) == first != drawn(2)


def test_sobol_fills_every_quarter_of_every_key():
    shares = [(float(point["bank.voltage"]) - 4e3) / 2e3 for point in points(fs.Samples(between={"bank.voltage": (4e3, 6000.5)}, count=16))]
    assert set(np.floor(4 * np.array(shares))) == {0, 1, 2, 3}


def test_spaced_whole_numbers_stay_whole():
    assert spaced_values("coil.turns", 6, 12, 4) == [6, 8, 10, 12]


@pytest.mark.parametrize(("over", "message"), [
    ({}, "over is empty"), ([], "over is empty"), ({"bank.voltage": []}, r"bank.voltage = \[\]: the list is empty"),
    ([{}], "over is empty"),
    ({"bank.voltage": "5 kV"}, "give a list of values"), ({("coil.turns", "coil.pitch"): [6, 8]}, "2 values at a time"),
    ({"bank.voltage": ["5 kV"], ("bank.voltage", "coil.turns"): [("5 kV", 6)]}, "stands twice"), ("bank.voltage", "give values by key"),
    ({f"coil.k{k}": range(1000) for k in range(3)}, "1,000,000,000 runs: more than 100,000"), ([5], "a point of a list"),
    ({5: [1]}, "expected a dotted key"),
])
def test_what_is_no_plan_is_refused(over, message):
    with pytest.raises(InputError, match=message):
        plan_points(over)


def test_many_runs_are_taken_where_they_are_meant():
    assert plan_points({f"coil.k{k}": range(1000) for k in range(3)}, allow_many=True).count == 10**9


@pytest.mark.parametrize(("keywords", "message"), [
    ({"method": "grid"}, "known are|did you mean"), ({"count": 0}, "1 or more"), ({"between": {}}, "between is empty"),
    ({"between": {"bank.voltage": ("6 kV", "4 kV")}}, "below the second"), ({"between": {"bank.voltage": ("400 V", "4 kV")}}, "same unit"),
    ({"between": {"bank.voltage": "4 kV"}}, "two ends"), ({"between": {"coil.material": ("copper", "silver")}}, "give a number"),
])
def test_samples_that_cannot_be_are_refused(keywords, message):
    with pytest.raises(InputError, match=message):
        fs.Samples(**{"between": {"bank.voltage": ("4 kV", "6 kV")}, "count": 4, **keywords})
