"""What the studies of inference keep and weigh anew, with a press of lumped elements in place of fields."""
from __future__ import annotations

import numpy as np
import pytest

import fieldsolve as fs
from benchmarks.inference.__main__ import main
from benchmarks.inference.coverage import seen_anew
from benchmarks.inference.kept import add_row, kept, read_rows, record_model
from benchmarks.inference.radius import without_shots
from benchmarks.inference.synthetic import record_of
from fieldsolve.inference import fit as fit_module
from fieldsolve.inference.parameters import case_with_parameters
from fieldsolve.inference.radius import radius_result
from fieldsolve.inference.record_fit import fit_record
from fieldsolve.inference.runs import ShotModel
from fieldsolve.inference.statistics import discrepancy
from tests.inference.lumped_press import TABLES, lumped_run


@pytest.fixture
def case(monkeypatch):
    monkeypatch.setattr(ShotModel, "_solve", lambda model, x, coarse: lumped_run(case_with_parameters(model.case, model.parameters, x)))
    return fs.read_case(TABLES)


@pytest.fixture
def studied(case):
    """A record, what was fitted to it, and the run that it is of."""
    truth = lumped_run(case)
    record = record_of(truth, 1.01, np.random.default_rng(3))
    model = record_model(case, record)
    found = fit_record(model, record)
    return truth, record, found, radius_result(model, record, found)


def test_the_same_record_gives_the_same_band_without_a_shot(case, studied, monkeypatch):
    _, record, found, seen = studied
    monkeypatch.setattr(ShotModel, "_solve", lambda model, x, coarse: pytest.fail("a shot was computed"))
    anew = seen_anew(case, record, without_shots(found))
    assert anew.radius == pytest.approx(seen.radius, abs=0.1 * seen.band.half_width[-1])
    assert anew.band.half_width[-1] == pytest.approx(seen.band.half_width[-1], rel=0.05)


def test_another_draw_moves_the_radius_within_its_band(case, studied):
    truth, _, found, seen = studied
    anew = seen_anew(case, record_of(truth, 1.01, np.random.default_rng(4)), found)
    assert 0 < np.abs(anew.radius - seen.radius)[-1] < 2 * seen.band.half_width[-1]


def test_larger_errors_of_the_model_widen_the_band(case, studied, monkeypatch):
    """By less than they are larger: the record tells most of them."""
    _, record, found, seen = studied
    larger = (0.2, 0.4)
    monkeypatch.setattr(fit_module, "MOTION_SIZES", larger)
    monkeypatch.setattr(fit_module, "all_sizes", lambda rise, others=False, motions=larger: discrepancy.all_sizes(rise, others, motions))
    assert seen_anew(case, record, found).band.half_width[-1] > 1.1 * seen.band.half_width[-1]


def test_what_is_kept_is_not_computed_twice(tmp_path):
    assert kept(tmp_path / "one", lambda: 1) == 1
    assert kept(tmp_path / "one", lambda: pytest.fail("computed twice")) == 1
    add_row(tmp_path / "rows", {"a": 1})
    add_row(tmp_path / "rows", {"a": 2})
    assert read_rows(tmp_path / "rows") == [{"a": 1}, {"a": 2}] and read_rows(tmp_path / "none") == []


def test_the_table_of_an_empty_folder(tmp_path, capsys):
    assert main(["radius", str(tmp_path), "--table", "--kind", "same"]) == 0
    assert capsys.readouterr().out == "same, records 0 to 23: no rows\nsame, records 24 to 47, held out: no rows\n"
