"""The invented records of the press: marked, read, and told apart by the comparison."""
import pytest

import fieldsolve as fs
from benchmarks.rigs import invented_shots
from benchmarks.rigs.oscilloscope import MARK
from fieldsolve.records.comparison.rows import AGREES
from tests.source_tree import ROOT

RIGS = ROOT / "benchmarks" / "rigs"
CHANNELS = {"current": fs.Channel(column=1, scale="8 kA/V", scale_uncertainty=0.015, droop=1 / invented_shots.SCOPE.droop)}


@pytest.mark.parametrize("name", invented_shots.SHOTS)
def test_the_records_are_marked_as_invented_and_can_be_read(name):
    assert (RIGS / name).read_text().startswith(f"# {MARK}")
    record = fs.read_record(RIGS / name, CHANNELS)
    assert len(record.times) == invented_shots.SAMPLES and record.remarks == ()
    assert 42e3 < record.channel("current").max() < 47e3


@pytest.mark.slow
def test_the_first_shot_agrees_and_the_second_does_not():
    """Inputs off by about their uncertainty are within it; a loose joint that the case does not know is not."""
    case = fs.read_case(RIGS / "measured_press.toml")
    shot = fs.solve_case(case)
    first, second = (fs.compare(shot, fs.read_record(RIGS / name, CHANNELS), case=case) for name in invented_shots.SHOTS)
    assert {row.outcome for row in first.rows} == {AGREES}
    assert second.row("second peak over first of current").outcome == "differs"
