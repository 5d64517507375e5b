"""Random rigs, their balances and reference runs: that they are valid and of every kind, and that errors are compared rightly."""
import math
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from benchmarks.shot_accuracy import pairs, references
from benchmarks.shot_accuracy.balances import balances
from benchmarks.shot_accuracy.quantities import SampledSeries, compare_series, numbers
from benchmarks.shot_accuracy.random_rigs import BODIES, COILS, EXTRAS, random_rig
from fieldsolve.cases.case_file import read_case
from fieldsolve.materials import material_names
from fieldsolve.shot.result.promises import MAX_RESIDUAL_HELD


@pytest.fixture(scope="module")
def reference():
    return next(known for known in references.load_references() if known.seed == 1000)


def test_a_hundred_rigs_are_valid_and_of_every_kind():
    rigs = [random_rig(seed, motion=False) for seed in range(100)]
    cases = [read_case(rig.tables) for rig in rigs]
    assert [set(kinds) for kinds in zip(*(rig.kinds for rig in rigs), strict=True)] == [set(COILS), set(BODIES), set(EXTRAS)]
    banks = [bank for case in cases for bank in case.banks]
    assert all(10e-6 <= bank.capacitance <= 500e-6 and 1e3 <= bank.voltage <= 12e3 for bank in banks)
    metals = {zone.material.name for case in cases for part in case.parts for zone in part.zones}
    assert "iron" in {case.section.part("coil").zones[0].material.name for case in cases} and len(metals) >= len(material_names()) - 1


def test_a_seed_decides_the_rig():
    assert random_rig(7, motion=True) == random_rig(7, motion=True) != random_rig(8, motion=True)


@pytest.mark.parametrize("seed", [7, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 34))])  # two crowbars, a strip
def test_the_balance_of_a_held_shot_closes(seed):
    (found,) = balances([seed], motion=False)
    assert found.residual <= MAX_RESIDUAL_HELD and not found.shortfalls


def test_development_and_held_out_seeds_are_apart():
    for motion in (False, True):
        assert not set(references.DEVELOPMENT[motion]) & set(references.HELD_OUT[motion])


def test_no_reference_is_older_than_the_data_of_its_metals():
    assert [known.seed for known in references.load_references() if known.is_stale] == []


def test_a_reference_is_stale_where_a_metal_has_changed(reference, monkeypatch):
    path, data = references.METALS["copper"]
    monkeypatch.setitem(references.METALS, "copper", (path, data | {"density": {"value": 1.0}}))
    assert reference.is_stale


def test_rigs_of_references_are_of_the_metals_kept_beside_them(reference):
    case = read_case(references.with_kept_metals(reference.tables))
    for zone in (zone for part in case.parts for zone in part.zones):
        assert zone.material == fs.read_material(references.METALS[zone.material.name][0])


def test_the_runs_behind_a_reference_agree(reference):
    """Peaks and losses of the reference run and of that of four times its accuracy: 1e-4 and 4e-4."""
    for name, (value, between) in reference.numbers.items():
        if name.startswith("current of") or "heat in" in name:
            assert between == pytest.approx(value, rel=6e-4), name


def test_a_shot_of_the_default_accuracy_is_within_it_of_its_reference(reference):
    shot = pairs.solve_rig(reference)
    found = {number.name: number.value for number in numbers(shot)}
    for name in ("current of coil", "current of body", "field of bore", "heat in body at the end"):
        assert found[name] == pytest.approx(reference.numbers[name][0], rel=3e-3), name
    assert list(pairs.missed_goals(shot, reference)) == []
    wrong = reference.numbers | {"current of coil": (1.1 * found["current of coil"],) * 2}
    (missed,) = pairs.missed_goals(shot, replace(reference, numbers=wrong))
    assert missed == "current of coil is off by 9.1e-02 without a word"


def test_a_sampled_series_is_read_between_its_values():
    sampled = SampledSeries("current of coil", 2.0, 0.1, tuple(math.sin(2.0 + 0.1 * k) for k in range(-2, 3)))
    assert sampled.at(2.04) == pytest.approx(math.sin(2.04), rel=1e-6)


def test_a_series_is_compared_at_its_own_instant():
    class Line:
        times = np.array([0.0, 1.9, 3.0])

        def series(self, quantity, place):
            return 1.0 * self.times

        def series_error(self, quantity, place):
            return np.array([0.0, 0.25, 0.0])
    true_error, bound = compare_series(Line(), SampledSeries("current of coil", 2.0, 0.1, (1.8, 1.9, 2.0, 2.1, 2.2)))
    assert true_error == pytest.approx(0.0, abs=1e-12) and bound == 0.25


def pair(true_error, bound, reference_error=0.0):
    return pairs.ShotPair(None, "force", "a", 1.0, true_error, bound, reference_error)


def test_pairs_count_where_the_reference_can_tell():
    assert pair(1e-3, 2e-3, 3e-4).counts
    assert not pair(1e-3, 2e-3, 5e-4).counts
    assert not pair(1e-3, math.inf).counts


def test_a_bound_that_is_missed_by_more_than_three_times_does_not_hold():
    good = [pair(1e-3, 3e-3)] * 40
    assert pairs.pair_statistics(good).hold
    assert pairs.pair_statistics([*good, pair(2e-3, 1e-3)]).hold
    assert not pairs.pair_statistics([*good, pair(4e-3, 1e-3)]).hold
    assert not pairs.pair_statistics([replace(one, error_bound=9e-3) for one in good]).hold
    assert pairs.pair_statistics([pair(1e-3, math.inf)]) is None


def test_a_tube_that_moves_has_a_waist_and_no_rim():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=fs.material("copper"))
    tube = geo.tube(inner_radius=13e-3, wall=1.5e-3, length=14e-3, material=fs.material("copper"), name="body")
    shot = fs.solve_shot(geo.CrossSection([coil, tube]), fs.Bank(50e-6, 1e3, 5e-3, 300e-9), end_time=2e-6, accuracy=5e-2,
                         error_bounds=False)
    shapes = {number.name: number.value for number in numbers(shot) if number.kind == "shape"}
    assert set(shapes) == {"radius of body", "thickness at the waist of body"} and all(0.9 < value < 1.1 for value in shapes.values())
