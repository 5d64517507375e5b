"""A sweep's rows: those of single runs, in order, whoever computes them; what fails; and what is refused at once."""
import json
import signal
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.sweeps.executors import choose_workers
from fieldsolve.sweeps.run import Outcome
from tests.sweeps.small_runs import RING, SHOT, without_time


@pytest.fixture(scope="module")
def shots():
    """Two small held shots."""
    return fs.sweep(SHOT, over={"bank.voltage": ["1 kV", 2000.0]}, workers=1)


def test_rows_are_those_of_single_shots(shots):
    for row in shots.rows:
        single = fs.solve_case(fs.read_case(SHOT).with_values({"bank.voltage": row["bank.voltage"]}))
        for name, estimate in (("current of coil", single.peak("current", "coil")), ("field in bore", single.peak("field", "bore"))):
            assert row[name] == pytest.approx(estimate.value, rel=1e-12)
            assert row[f"error of {name}"] == pytest.approx(estimate.error, rel=1e-12)
    assert {row["status"] for row in shots.rows} == {"done"}


def test_the_card_of_a_row_is_that_of_the_shot(shots):
    case = fs.read_case(SHOT).with_values({"bank.voltage": "1 kV"})
    card = fs.rig_card(fs.read_rig(case), fs.solve_case(case))
    assert shots.rows[0]["card"] == card.verdict
    checks = {check.name: check for check in card.checks}
    assert shots.rows[0]["energy_residual"] == checks["energy_residual"].value
    assert shots.rows[0]["margin of energy_residual"] == checks["energy_residual"].margin
    assert "reversal_share" not in shots.columns                       # not assessed: no rating is given


def test_the_card_asks_for_all_its_runs_where_it_is_wanted():
    rows = fs.sweep(SHOT, over={"bank.voltage": ["1 kV"]}, workers=1, card=True).rows
    shots = fs.solve_rig_shots(fs.read_case(SHOT))
    card = fs.rig_card(fs.read_rig(fs.read_case(SHOT)), shots.shot, shots.moving_shot, shots.coil_inductance)
    assert rows[0]["inductance_ratio"] == next(check.value for check in card.checks if check.name == "inductance_ratio")


def test_a_field_has_rows_too():
    table = fs.sweep(RING, over={"coil.radius": ["20 mm", "30 mm"], "coil.current": [1e3, 2e3]}, workers=1)
    field = fs.solve_case(fs.read_case(RING))
    assert table.rows[0]["inductance of coil"] == pytest.approx(field.inductance("coil").value, rel=1e-12)
    assert table.rows[1]["field at centre"] == pytest.approx(2 * table.rows[0]["field at centre"], rel=1e-9)
    assert table.unit("inductance of coil") == "H" and table.unit("coil.radius") == "m"


@pytest.mark.parametrize(("frequency", "suffix"), [("1 kHz", ""), (["1 kHz", "10 kHz"], " at 10000 Hz")])
def test_a_harmonic_field_has_rows_too(frequency, suffix):
    case = {**RING, "disc": {"shape": "disc", "radius": "15 mm", "thickness": "2 mm", "material": "copper"}}
    table = fs.sweep(case, over=[{"field.frequency": frequency}], workers=1, accuracy=5e-2)
    solved = fs.solve_case(fs.read_case(case).with_values({"field.frequency": frequency, "field.accuracy": 5e-2}))
    field = solved[1] if suffix else solved
    assert table.rows[0][f"loss of disc{suffix}"] == pytest.approx(field.loss("disc").value, rel=1e-12)
    assert table.rows[0][f"current of disc{suffix}"] == pytest.approx(abs(field.net_current("disc")), rel=1e-12)


def test_two_processes_give_the_rows_of_one():
    over = {"coil.radius": ["20 mm", "25 mm", "30 mm"]}
    one, two = (fs.sweep(RING, over, workers=workers) for workers in (1, 2))
    assert json.dumps(without_time(one)) == json.dumps(without_time(two))


@pytest.mark.slow
def test_without_loky_the_processes_of_the_standard_library_do(monkeypatch):
    monkeypatch.setitem(sys.modules, "loky", None)
    over = {"coil.radius": ["20 mm", "25 mm", "30 mm"]}
    one, two = (fs.sweep(RING, over, workers=workers) for workers in (1, 2))
    assert json.dumps(without_time(one)) == json.dumps(without_time(two))


def test_any_executor_computes_the_rows():
    over = {"coil.radius": ["20 mm", "25 mm"]}
    with ThreadPoolExecutor(2) as executor:
        threads = fs.sweep(RING, over, executor=executor)
    assert json.dumps(without_time(threads)) == json.dumps(without_time(fs.sweep(RING, over, workers=1)))


def test_a_point_that_cannot_be_is_a_row_with_its_reason():
    table = fs.sweep(RING, over={"coil.wire_diameter": ["2 mm", "50 mm"]}, workers=1)
    assert [row["status"] for row in table.rows] == ["done", "failed"]
    assert "wire_diameter" in table.rows[1]["reason"] and table.rows[1]["field at centre"] is None
    assert len(table.failed) == 1


def test_an_error_that_is_none_of_ours_is_a_row_with_its_reason(monkeypatch):
    def broken(case, **options):
        raise ZeroDivisionError("float division by zero")
    monkeypatch.setattr("fieldsolve.cases.solve.solve_case", broken)
    table = fs.sweep(RING, over={"coil.radius": ["20 mm"]}, workers=1)
    assert table.rows[0]["reason"] == "ZeroDivisionError: float division by zero"


def test_the_same_point_is_computed_once(monkeypatch):
    computed = []
    monkeypatch.setattr("fieldsolve.sweeps.scheduling.compute_run", lambda run: computed.append(run.key) or Outcome(status="done"))
    table = fs.sweep(RING, over={"coil.radius": ["20 mm", 20e-3, "2 cm", "30 mm"]}, workers=1)
    assert len(computed) == 2 and len(table.rows) == 4


def test_progress_counts_the_rows():
    seen = []
    fs.sweep(RING, over={"coil.radius": ["20 mm", "25 mm", "20 mm"]}, workers=1, progress=lambda *args: seen.append(args))
    assert [args[:2] for args in seen] == [(1, 3), (2, 3), (3, 3)]
    assert seen[0][2] > seen[-1][2] == 0


def test_ctrl_c_leaves_the_rows_that_are_there():
    def interrupt_after_one(done, count, left):
        if done == 1:
            signal.raise_signal(signal.SIGINT)
    assert threading.current_thread() is threading.main_thread()
    table = fs.sweep(RING, over={"coil.radius": ["20 mm", "25 mm", "30 mm"]}, workers=1, progress=interrupt_after_one)
    assert table.interrupted and [row["status"] for row in table.rows] == ["done", "interrupted", "interrupted"]


@pytest.mark.parametrize(("over", "message"), [
    ({"bank.volts": ["5 kV"]}, r"volts.*unknown key; did you mean 'voltage'"), ({"benk.voltage": ["5 kV"]}, "no table .benk."),
    ({"bank.voltage": ["1 kV", "5 kVV"]}, "5 kVV"), ({"coil.turns": [3], "bank.voltage": ["1 mm"]}, "1 mm"),
])
def test_unknown_keys_and_units_are_refused_before_anything_is_computed(over, message, monkeypatch):
    monkeypatch.setattr("fieldsolve.sweeps.sweep.compute_runs", lambda *arguments: pytest.fail("computed"))
    with pytest.raises(InputError, match=message):
        fs.sweep(SHOT, over=over, workers=1)


@pytest.mark.parametrize(("keywords", "message"), [
    ({"workers": 0}, "workers = 0"), ({"executor": 5}, "with submit"), ({"executor": 5, "scheduler": "tcp://x"}, "give one of them"),
    ({"keep_shots": True}, "give store"), ({"accuracy": 7}, "accuracy = 7"),
])
def test_wrong_options_are_refused(keywords, message):
    with pytest.raises(InputError, match=message):
        fs.sweep(SHOT, over={"bank.voltage": ["1 kV"]}, **keywords)


def test_a_process_for_each_run_is_the_most():
    assert choose_workers(8, None, None, 3).capacity(None) == 3


def test_columns_are_arrays_in_si(shots):
    assert np.array_equal(shots.column("bank.voltage"), [1e3, 2e3])
    assert shots.column("current of coil")[1] == shots.rows[1]["current of coil"]
    with pytest.raises(InputError, match="did you mean 'current of coil'"):
        shots.column("curent of coil")


def test_the_table_for_other_packages(shots):
    pandas = pytest.importorskip("pandas")
    frame = shots.to_dataframe()
    assert isinstance(frame, pandas.DataFrame) and list(frame["bank.voltage"]) == [1e3, 2e3]
    assert frame.attrs["units"]["current of coil"] == "A"


def test_a_grid_is_a_dataset_over_its_inputs():
    pytest.importorskip("xarray")
    table = fs.sweep(RING, over={"coil.radius": ["20 mm", "30 mm"], "coil.current": [1e3, 2e3, 3e3]}, workers=1)
    field = table.to_xarray()["field at centre"]
    assert field.dims == ("coil.radius", "coil.current") and field.shape == (2, 3) and field.attrs["units"] == "T"
    assert float(field.sel({"coil.radius": 0.03, "coil.current": 2e3})) == table.rows[4]["field at centre"]


def test_files_hold_the_rows(shots, tmp_path):
    shots.write_csv(tmp_path / "table.csv")
    lines = (tmp_path / "table.csv").read_text(encoding="utf-8").splitlines()
    names, first = lines[1].split(","), lines[2].split(",")
    assert names[0] == "bank.voltage [V]" and float(first[0]) == 1000.0
    assert float(first[names.index("current of coil [A]")]) == shots.rows[0]["current of coil"]
    shots.write_npz(tmp_path / "table.npz")
    with np.load(tmp_path / "table.npz") as arrays:
        assert np.array_equal(arrays["current of coil [A]"], shots.column("current of coil"))
