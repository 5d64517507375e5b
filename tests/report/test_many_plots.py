"""Figures of many runs: curves, maps with limits where they are, trade-offs, what is outside and what was not assessed."""
import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.report.text.sweep import sweep_summary
from fieldsolve.sweeps.points import plan_points
from fieldsolve.sweeps.result import Sweep
from tests.sweeps.small_runs import SHOT

VOLTS, TURNS = [4000.0, 5000.0, 6000.0, 7000.0], [3, 4, 5]


def table(unknown=(), failed=()):
    """A sweep whose field is volt times turns, and whose check of the charge is within up to 5.5 kV."""
    plan = plan_points({"bank.voltage": VOLTS, "coil.turns": TURNS})
    rows = []
    for number, point in enumerate(plan.points()):
        volts = point["bank.voltage"]
        row = {**point, "status": "done", "reason": "", "field in bore": 1e-3 * volts * point["coil.turns"], "error of field in bore": 0.1,
               "card": "within the limits stated here", "charge_share": volts / 5500.0, "margin of charge_share": 1 - volts / 5500.0,
               "seconds": 1.0}
        if number in unknown:
            row |= {"charge_share": None, "margin of charge_share": None}
        rows.append({**point, "status": "failed", "reason": "the mesher gave up"} if number in failed else row)
    return Sweep.of(fs.read_case(SHOT), plan, rows, {"field in bore": "T"}, None, {}, False)


def test_curves_have_a_line_for_each_value_and_open_marks_outside_the_limit():
    ax = table().plot("field in bore", "bank.voltage", "coil.turns")
    lines = [line for line in ax.lines if line.get_linestyle() != "None"]
    assert len(lines) == len(TURNS) and np.allclose(lines[1].get_xydata(), [[volts / 1e3, 4e-3 * volts] for volts in VOLTS])
    opened = [line for line in ax.lines if line.get_linestyle() == "None"]
    assert all(np.allclose(line.get_xdata(), [6.0, 7.0]) for line in opened)
    assert ax.get_xlabel() == "bank.voltage [kV]" and ax.get_ylabel() == "field in bore [T]"


def test_a_map_draws_the_limit_where_it_is():
    ax = table().plot_map("field in bore", "bank.voltage", "coil.turns")
    lines = [path.vertices[:, 0] for collection in ax.collections for path in collection.get_paths()
             if len(path.vertices) and np.ptp(path.vertices[:, 0]) < 1e-9]
    assert any(np.allclose(line, 5.5) for line in lines)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["charge over rated voltage"]
    assert not any(line.get_marker() == "x" and len(line.get_xdata()) for line in ax.lines)


def test_what_was_not_assessed_is_marked():
    ax = table(unknown=(0,)).plot_map("field in bore", "bank.voltage", "coil.turns")
    (marks,) = [line for line in ax.lines if line.get_marker() == "x"]
    assert np.allclose(marks.get_xydata(), [[4.0, 3]])
    assert ax.get_legend().get_texts()[0].get_text() == "charge over rated voltage, not assessed at x"


def test_runs_that_failed_are_left_out_of_a_map():
    ax = table(failed=(4,)).plot_map("field in bore", "bank.voltage", "coil.turns")
    dots = next(line for line in ax.lines if line.get_marker() == ".")
    assert len(dots.get_xdata()) == len(VOLTS) * len(TURNS) - 1


def test_a_trade_off_keeps_what_is_outside_apart():
    ax = table().plot_trade_off("charge_share", "field in bore")
    outside, within = ax.lines
    assert outside.get_xdata().min() > 1 > within.get_xdata().max()


@pytest.mark.parametrize("draw", [lambda made: made.plot("feld"), lambda made: made.plot_map("status"),
                                  lambda made: made.plot_map("field in bore", "bank.voltage", "bank.voltage")])
def test_what_cannot_be_drawn_is_one_line(draw):
    with pytest.raises(InputError):
        draw(table())


def test_the_text_counts_runs_and_reasons():
    text = sweep_summary(table(failed=(4, 5)))
    assert "12 runs over bank.voltage, coil.turns: 10 done, 2 failed" in text
    assert "2 failed: the mesher gave up" in text and "card of 10 runs" in text
    assert "largest 35 T at bank.voltage = 7000.0, coil.turns = 5" in " ".join(text.split())
