"""Error bounds of a shot: series compared between events, orders found from steps, bounds that hold, goals that fall short."""
import functools
import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.errors import AccuracyWarning, SolveError
from fieldsolve.report.text.shot import shot_errors, shot_facts
from fieldsolve.shot import setup, solve
from fieldsolve.shot.history import History
from fieldsolve.shot.result.accuracy import accuracy_shortfalls, goals
from fieldsolve.shot.result.error_model import (
    SAFETY_FACTOR,
    RunComparison,
    compare_runs,
    interpolate_series,
    root_mean_square,
    time_reduction,
)
from fieldsolve.shot.result.peak_errors import peak_bounds

COPPER, ALUMINIUM = fs.material("copper"), fs.material("aluminium 1100-O")
BANK = fs.Bank(120e-6, 4e3, 6e-3, 350e-9, 80.0)


class Run:
    """As much of a shot as series need."""

    def __init__(self, times, values, events=()):
        self.times = np.asarray(times)
        self.history = History(self.times, {("current", "coil"): np.asarray(values)}, events)

    def series(self, quantity, place):
        return self.history.series(quantity, place)


def rig(turns=6):
    coil = geo.solenoid(turns=turns, bore_radius=15.6e-3, wire_diameter=3e-3, pitch=3.3e-3, material=COPPER)
    return geo.CrossSection([coil, geo.disc(radius=15e-3, thickness=2e-3, material=ALUMINIUM)])


@pytest.fixture(scope="module")
def shot():
    return fs.solve_shot(rig(turns=2), BANK, end_time=20e-6, motion=False)


@pytest.fixture(scope="module")
def precise():
    return fs.solve_shot(rig(turns=2), BANK, end_time=20e-6, motion=False, accuracy=3e-4, error_bounds=False)


def test_a_series_is_interpolated_from_event_to_event():
    """A smooth series to fourth order, and no ringing beside a kink."""
    times, at = np.linspace(0, 2, 41), np.linspace(0, 2, 333)
    smooth = Run(times, np.sin(3 * times))
    assert np.abs(interpolate_series(smooth, "current", "coil", at) - np.sin(3 * at)).max() < 1e-5
    kinked = Run(times, np.abs(times - 1), events=(1.0,))
    assert np.abs(interpolate_series(kinked, "current", "coil", at) - np.abs(at - 1)).max() < 1e-12


def test_a_peak_between_instants_is_that_of_the_smooth_series():
    """sin^2 sampled as coarsely as shots do, its peak between two instants; a parabola is off by 5e-4."""
    for shift in np.linspace(-0.06, 0.06, 7):
        times = np.array([0.6, 0.71, 0.83, 0.97, 1.12, 1.28, 1.44]) + shift
        value, time = Run(times, np.sin(0.5 * math.pi * times) ** 2).history.peak("current", "coil")
        assert value == pytest.approx(1.0, abs=3e-5) and time == pytest.approx(1.0, abs=5e-5)


def test_a_peak_at_which_something_switches_is_not_smoothed():
    """A rise that ends in a kink: steps start small again after it, and nothing overshoots."""
    times = np.array([0.5, 0.7, 0.9, 1.0, 1.005, 1.01, 1.02, 1.04])
    value, time = Run(times, np.minimum(times, 3 - 2 * times)).history.peak("current", "coil")
    assert value == pytest.approx(1.0, abs=2e-3) and time == pytest.approx(1.0, abs=5e-3)


def test_the_root_mean_square_runs_over_time_not_over_steps():
    times, values = np.array([0.0, 0.1, 0.2, 1.0]), np.array([3.0, 3.0, 3.0, 3.0])
    assert root_mean_square(times, values) == pytest.approx(3.0)
    assert root_mean_square(times, np.array([3.0, 0.0, 0.0, 0.0])) == pytest.approx(math.sqrt(0.5 * 0.1 * 9))


def test_bounds_follow_richardson():
    """Half the steps at second order: a third of the difference on the finer run, four thirds on the coarser."""
    times, twice = np.linspace(0, 1, 21), np.linspace(0, 1, 11)
    assert time_reduction(times, twice, 2) == pytest.approx(0.25) and time_reduction(twice, times, 2) == pytest.approx(0.25)
    after_event = np.concatenate([np.linspace(0, 0.05, 20), times[2:]])
    assert time_reduction(after_event, twice, 2) == pytest.approx(0.25, rel=0.1)
    fine, coarse = Run(times, np.sin(times) + 1e-3), Run(times, np.sin(times) + 4e-3)
    assert compare_runs(fine, coarse, False, 0.25).factor == pytest.approx(1 / 3)
    assert compare_runs(coarse, fine, True, 0.25).factor == pytest.approx(4 / 3)
    assert compare_runs(fine, coarse, False, 0.25).bound(1.001, 1.004, "A") == pytest.approx(SAFETY_FACTOR * 1e-3)


def test_agreement_by_chance_bounds_nothing_and_runs_far_apart_are_not_extrapolated():
    comparison = RunComparison(None, False, 0.25, {"A": 1e-3, "": 2e-3})
    assert comparison.bound(5.0, 5.0, "A") == SAFETY_FACTOR * 5e-3 and comparison.bound(5.0, 5.0) == SAFETY_FACTOR * 1e-2
    assert comparison.bound(1.0, 3.0, "A") == SAFETY_FACTOR * 2.0


def test_a_peak_that_another_run_takes_from_the_opposite_half_wave_is_compared_in_magnitude():
    times = np.linspace(0, 6, 601)
    one, other = (Run(times, np.sin(np.pi * times) * (1 + share * times)) for share in (1e-5, -1e-5))
    (first, _), (second, _) = (run.history.peak("current", "coil") for run in (one, other))
    error, time_error = peak_bounds(compare_runs(one, other, False, 0.25), one, "current", "coil")
    assert first < -0.9 and second > 0.9 and abs(abs(first) - abs(second)) / 3 < error < 1e-3 and time_error > 2.0


@pytest.mark.parametrize(("quantity", "place"), [("current", "coil"), ("current", "disc"), ("power", "disc"), ("radial_force", "disc"),
                                                 ("voltage", "bank"), ("field", "bore"), ("temperature", "disc")])
def test_peaks_and_series_lie_within_their_bounds(shot, precise, quantity, place):
    peak, better = shot.peak(quantity, place), precise.peak(quantity, place)
    assert abs(peak - better) <= peak.error < 0.1 * abs(peak)
    assert abs(peak.time - better.time) <= peak.time_error
    error = np.abs(shot.series(quantity, place) - interpolate_series(precise, quantity, place, shot.times))
    assert (error <= shot.series_error(quantity, place)).mean() > 0.95


def test_energies_and_fields_lie_within_their_bounds(shot, precise):
    for name, energy in shot.energy.final_energies().items():
        assert abs(energy - precise.energy.final_energies()[name]) <= energy.error, name
    time = float(shot.times[len(shot.times) // 2])
    B, better = (run.field_at(time).flux_density(0.0, 8e-3)[1] for run in (shot, fs.solve_shot(
        rig(turns=2), BANK, end_time=time, motion=False, accuracy=3e-4, error_bounds=False)))
    assert abs(B - better) <= shot.field_at(time).flux_density_error(0.0, 8e-3) < 0.05 * abs(B)


def test_goals_that_fall_short_are_named(shot):
    """The same shot, had more been requested."""
    assert not accuracy_shortfalls(shot) and shot.accuracy_reached
    strict = replace(shot, problem=replace(shot.problem, accuracy=1e-7))
    sentences = accuracy_shortfalls(strict)
    assert len(sentences) == len(list(goals(shot))) == 3 and not strict.accuracy_reached
    assert any("peak current of disc" in sentence for sentence in sentences) and "peak field in the bore" in strict.summary()


@pytest.mark.slow
def test_a_shot_that_misses_its_accuracy_warns():
    with pytest.warns(AccuracyWarning, match="peak current of disc is known to"):
        fs.solve_shot(rig(), BANK, end_time=10e-6, motion=False, accuracy=1e-6, step=1e-6)


def test_without_bounds_nothing_is_promised_about_the_accuracy():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        shot = fs.solve_shot(rig(turns=2), BANK, end_time=3e-6, motion=False, error_bounds=False)
    assert math.isinf(shot.peak("current", "coil").error) and not accuracy_shortfalls(shot)


def test_a_person_who_interrupts_the_companion_run_is_obeyed(monkeypatch):
    runs, run_as_it_is = [], solve._run

    def run(setup, progress=None, *kept):
        runs.append(setup)
        return replace(run_as_it_is(setup, progress, *kept), interrupted=len(runs) == 2)
    monkeypatch.setattr(solve, "_run", run)
    shot = fs.solve_shot(rig(turns=2), BANK, end_time=3e-6, motion=False, accuracy=3e-2)
    assert len(runs) == 2 and shot.interrupted and math.isinf(shot.peak("current", "coil").error)


def test_a_companion_run_that_fails_is_said(monkeypatch, tmp_path):
    def fail(problem, fine):
        raise SolveError("Newton's method does not converge")
    monkeypatch.setattr(solve, "set_up_companion", fail)
    with pytest.warns(AccuracyWarning, match="no error bounds are known"):
        shot = fs.solve_shot(rig(turns=2), BANK, end_time=3e-6, motion=False, accuracy=3e-2)
    (sentence,) = shot.shortfalls
    assert sentence.startswith("no error bounds are known: the coarse companion run failed: Newton's method does not converge")
    assert not shot.accuracy_reached and "NOT KEPT" in shot.summary() and shot_facts(shot)["shortfalls"] == [sentence]
    shot.save(tmp_path / "kept.shot.npz")
    assert fs.load_shot(tmp_path / "kept.shot.npz").shortfalls == (sentence,)
    refined = shot.refined()
    assert refined.comparisons and not any("no error bounds" in said for said in refined.shortfalls)


def test_a_companion_run_that_ends_early_is_said(monkeypatch):
    runs, run_as_it_is = [], solve._run

    def run(setup, progress=None, *kept):
        runs.append(setup)
        early = len(runs) == 2
        ended = run_as_it_is(replace(setup, problem=replace(setup.problem, end_time=1.5e-6)) if early else setup, progress, *kept)
        return replace(ended, stop_reason="the turns touch" if early else "")
    monkeypatch.setattr(solve, "_run", run)
    with pytest.warns(AccuracyWarning, match="the coarse companion run ended at 1.5 us: the turns touch"):
        shot = fs.solve_shot(rig(turns=2), BANK, end_time=3e-6, motion=False, accuracy=3e-2)
    assert not shot.accuracy_reached and math.isinf(shot.peak("current", "coil").error)


@pytest.mark.parametrize("error_bounds", [pytest.param(True, marks=pytest.mark.slow), False])
def test_a_mesh_that_met_its_limit_is_said(monkeypatch, error_bounds):
    monkeypatch.setattr(setup, "shot_mesh", functools.partial(setup.shot_mesh, max_unknowns=1000))
    with pytest.warns(AccuracyWarning, match="was not reached on a mesh of"):
        shot = fs.solve_shot(rig(), BANK, end_time=3e-6, motion=False, accuracy=1e-3, error_bounds=error_bounds)
    assert any(f"on a mesh of {shot.unknowns} unknowns" in sentence for sentence in shot.shortfalls) and not shot.accuracy_reached


def test_the_balance_has_no_bound_for_it_is_itself_an_error(shot):
    residual = shot.energy.residual
    assert shot.comparisons and math.isinf(residual.error) and "+-" not in repr(residual)
    errors = shot_errors(shot)
    assert "energy_residual" not in errors and errors["coil_peak_A"] == shot.peak("current", "coil").error
