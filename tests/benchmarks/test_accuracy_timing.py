"""Rows of the table of seconds to an accuracy."""
import time

import pytest

from benchmarks import accuracy_timing, timing_tables
from benchmarks.peers.accuracy import PeerMesh, first_within


def test_rows_say_what_was_solved():
    name = "inductance of Brooks' coil"
    coarse, fine = (accuracy_timing.time_to_accuracy(name, accuracy) for accuracy in (1e-2, 1e-6))
    assert (coarse.order, fine.order) == (2, 4)
    assert coarse.largest_bound < 1e-2 and fine.largest_bound < 1e-6
    assert coarse.seconds > 0 and coarse.unknowns < fine.unknowns < 6_000
    line = accuracy_timing.accuracy_line(name, 1e-6, fine, None, PeerMesh(5215, 0.011, 2e-7))
    assert line.startswith(f"| {name} | 1e-06 | 4 | {fine.meshes} | {fine.unknowns} |") and line.endswith("| - | - | 5215 | 0.01 |\n")
    header, rule, _ = accuracy_timing.accuracy_table([line]).splitlines()
    assert header.count("|") == rule.count("|") == line.count("|")


def test_order_2_is_used_where_requested():
    with_order_2 = timing_tables.run_for_a_while(accuracy_timing.time_to_accuracy, "inductance of Brooks' coil", 1e-5, True)
    assert with_order_2.order == 2 and with_order_2.largest_bound < 1e-5


def test_a_row_that_takes_too_long_is_given_up(monkeypatch):
    monkeypatch.setattr(timing_tables, "ACCURACY_LIMIT", 0.3)
    assert timing_tables.run_for_a_while(time.sleep, 30) is None


def test_only_accuracies_that_a_field_is_tried_at_are_listed(monkeypatch):
    monkeypatch.setattr(accuracy_timing.peer, "is_installed", lambda: False)
    requested = []
    lines = list(accuracy_timing.accuracy_lines(lambda measure, *arguments: requested.append(arguments), (1e-3, 1e-5, 1e-7)))
    assert len(lines) == 14 and lines[0] == "| inductance of Brooks' coil | 1e-03" + " | -" * 9 + " |\n"
    assert ("loop", 1e-7) in requested and ("loop", 1e-7, True) in requested
    assert ("magnetic tube in a winding", 1e-7) not in requested


def test_the_first_mesh_that_is_fine_enough():
    meshes = [PeerMesh(1000, 0.1, 1e-3), PeerMesh(4000, 0.4, 1e-5), PeerMesh(16000, 1.6, 1e-7)]
    assert first_within(meshes, 1e-3).unknowns == 1000 and first_within(meshes, 1e-4).unknowns == 4000
    assert first_within(meshes, 1e-8) is None


@pytest.mark.parametrize("solve", accuracy_timing.PEERS.values())
def test_another_library_converges(solve):
    pytest.importorskip("ngsolve")
    (_, coarse), (unknowns, fine), (_, best) = solve(2.0, 2), solve(1.0, 3), solve(1.0, 4)
    assert unknowns > 1000 and abs(fine / best - 1) < min(2e-4, abs(coarse / best - 1))
