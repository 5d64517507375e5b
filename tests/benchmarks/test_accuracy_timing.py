"""Rows of the table of seconds to an accuracy."""
from benchmarks import accuracy_timing


def test_rows_say_what_was_solved():
    name = "inductance of Brooks' coil"
    coarse, fine = (accuracy_timing.time_to_accuracy(name, accuracy) for accuracy in (1e-2, 1e-6))
    assert (coarse.order, fine.order) == (2, 4)
    assert coarse.largest_bound < 1e-2 and fine.largest_bound < 1e-6
    assert coarse.seconds > 0 and coarse.unknowns < fine.unknowns < 6_000
    assert f"| {name} | 1e-06 | 4 | {fine.meshes} | {fine.unknowns} |" in accuracy_timing.accuracy_table([coarse, fine])


def test_only_accuracies_that_a_field_is_tried_at_are_listed():
    requested = list(accuracy_timing.accuracy_rows(lambda measure, name, accuracy: (name, accuracy), (1e-3, 1e-5, 1e-7)))
    assert len(requested) == 9 and ("inductance of Brooks' coil", 1e-7) in requested
    assert ("magnetic tube in a winding", 1e-7) not in requested
