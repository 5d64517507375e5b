"""What a shot promises: its end time and its energy balance, and the sentences that say what it did not keep."""
from dataclasses import replace

import pytest

import fieldsolve as fs
import geometries as geo
from fieldsolve.report.text.shot import shot_facts
from fieldsolve.shot.result.promises import MAX_RESIDUAL_HELD, residual_limit


@pytest.fixture(scope="module")
def shot():
    coil = geo.solenoid(turns=4, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3, material=fs.material("copper"))
    return fs.solve_shot(geo.CrossSection([coil]), fs.Bank(capacitance=120e-6, voltage=5e3, inductance=400e-9), end_time=10e-6,
                         motion=False, accuracy=1e-2)


def test_a_shot_that_keeps_its_promises_says_nothing(shot):
    assert shot.energy.residual <= MAX_RESIDUAL_HELD
    assert shot.shortfalls == () and shot.accuracy_reached


def test_a_balance_that_does_not_close_is_said_with_its_figures(shot):
    lost = replace(shot, energy=replace(shot.energy, supplied=shot.energy.supplied * 1.002))
    (sentence,) = lost.shortfalls
    assert any("balance closes to" in line and "NOT KEPT" in line for line in lost.summary().splitlines())
    assert shot_facts(lost)["shortfalls"] == [sentence] and not shot_facts(lost)["accuracy_reached"]
    assert not lost.accuracy_reached
    assert f"{100 * lost.energy.residual:.2g} %" in sentence and "0.1 % promised with metal held" in sentence


def test_a_coarser_accuracy_promises_less(shot):
    coarse = replace(shot, problem=replace(shot.problem, accuracy=3e-2))
    assert residual_limit(shot) == MAX_RESIDUAL_HELD and residual_limit(coarse) == pytest.approx(3 * MAX_RESIDUAL_HELD)


def test_an_early_end_is_said_with_its_time_and_its_reason(shot):
    (sentence,) = replace(shot, stop_reason="the turns touch").shortfalls
    assert sentence == "ended by its motion at 10 us, before its end at 10 us: the turns touch"
