"""The groups of discharges, field steps and shots: no case is left out, and every one comes out."""
import pytest

from benchmarks import circuit, shot, tables, transient
from benchmarks.cases import load
from benchmarks.checks import compare

GROUPS = {"circuit.toml": circuit, "transient.toml": transient, "shot.toml": shot}
LONG = ("contract-rig-heavy", "contract-rig-three-steps", "contract-rig-three-meshes", "common-practice-8-kV",
        "underdamped-bank", "impulse-tail-to-front-ratio", "impulse-8-20-rlc",
        "half-space-step", "cylinder-step")          # `python -m benchmarks` computes them


@pytest.mark.parametrize("file", GROUPS)
def test_every_case_has_a_recipe(file):
    group = GROUPS[file]
    assert set(group.FIELDS) | set(group.FORMULAS) == set(load(file))


@pytest.mark.parametrize(("file", "name"), [pytest.param(file, name, marks=[pytest.mark.slow] if name in LONG else [])
                                            for file in GROUPS for name in load(file)])
def test_cases(file, name):
    found = list(GROUPS[file].checks([name]))
    assert [check.quantity for check in found] == list(load(file)[name].quantities)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


@pytest.mark.slow
def test_a_rig_too_heavy_to_move_has_the_peaks_of_the_filaments():
    """`contract-rig-heavy` to 22 us, past its peaks: all quantities but the voltage at 60 us, with their tolerances."""
    case = load("shot.toml")["contract-rig-heavy"]
    found = shot.heavy_and_strong(case.setup | {"end_time_s": 22e-6}, case.accuracy_without(()))
    checks = [compare(case, quantity, found[quantity], "field") for quantity in case.quantities if quantity != "bank_voltage_at_end_V"]
    assert len(checks) == 6
    assert all(check.passed for check in checks), "\n".join(map(tables.line, checks))
