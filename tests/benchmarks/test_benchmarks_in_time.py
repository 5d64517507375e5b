"""The groups of discharges, field steps and shots: no case is left out, and every one comes out."""
import pytest

from benchmarks import circuit, shot, tables, transient
from benchmarks.cases import load

GROUPS = {"circuit.toml": circuit, "transient.toml": transient, "shot.toml": shot}


@pytest.mark.parametrize("file", GROUPS)
def test_every_case_has_a_recipe(file):
    group = GROUPS[file]
    assert set(group.FIELDS) | set(group.FORMULAS) == set(load(file))


@pytest.mark.parametrize(("file", "name"), [(file, name) for file in GROUPS for name in load(file)])
def test_cases(file, name):
    found = list(GROUPS[file].checks([name]))
    assert [check.quantity for check in found] == list(load(file)[name].quantities)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))
