"""The benchmark runner: what it counts as out, that no case is left out, and a quick part of its cases."""
from dataclasses import replace

import pytest

from benchmarks import custom_metals, harmonic, materials, nonlinear, statics, tables
from benchmarks.__main__ import main
from benchmarks.cases import load
from benchmarks.checks import compare
from benchmarks.closed_forms import eddy
from benchmarks.runner import run_file
from geometries.errors import SolveError

STATICS, HARMONIC, CUSTOM_METALS = load("statics.toml"), load("harmonic.toml"), load("custom_metals.toml")
MATERIALS, NONLINEAR = load("materials.toml"), load("nonlinear.toml")
CASES = STATICS | HARMONIC | CUSTOM_METALS | MATERIALS
QUICK_FIELDS = ["brooks-coil-10", "filament-pair-25-20-10", "permeable-sphere", "magnetised-cylinder-axis"]


@pytest.mark.parametrize("name", sorted(statics.FORMULAS))
def test_formula_cases(name):
    assert_all_within(statics.checks([name]), name, "formula")


@pytest.mark.parametrize("name", QUICK_FIELDS)
def test_field_cases(name):
    assert_all_within(statics.checks([name]), name, "field")


@pytest.mark.parametrize("name", sorted(materials.FORMULAS))
def test_what_follows_from_the_data_of_metals(name):
    assert_all_within(materials.checks([name]), name, "formula")


def test_clad_disc_of_custom_metals():
    assert_all_within(custom_metals.checks([]), "clad-disc-parallel-layers", "field")


@pytest.mark.parametrize("name", ["solid-sphere-harmonic", "cylinder-axial-field"])
def test_time_harmonic_cases(name):
    assert_all_within(harmonic.checks([name]), name, "field")


def test_a_case_takes_some_quantities_from_the_field_and_some_from_a_formula():
    found = list(harmonic.checks(["thin-disc-axial-field"]))
    assert {check.quantity: check.kind for check in found} == {
        "limit_power_W": "formula", "limit_power_50_Hz_W": "formula", "power_W": "field",
    }
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


def test_rows_of_a_table_are_compared_entry_by_entry():
    (check,) = harmonic.checks(["skin-depth"])
    assert (check.kind, check.entries, check.passed) == ("formula", 15, True)


def test_loop_over_half_space_at_one_frequency():
    case, k = HARMONIC["loop-over-half-space"], 1
    setup = case.setup | {"frequency_Hz": case.setup["frequency_Hz"][k : k + 1]}
    for quantity, (found,) in harmonic.loop_over_half_space(setup, case.accuracy).items():
        assert found == pytest.approx(case.expected[quantity][k], rel=case.tolerance_of(quantity)[1]), quantity


def test_loss_of_a_sphere_reaches_the_accuracy_requested():
    """Skin depth about half the radius; no case asks for that much."""
    sphere, frequency, accuracy = (0.020, 5.8e7), 50.0, 1e-5
    (field,) = harmonic.solid_sphere_fields(*sphere, [frequency], accuracy)
    assert field.accuracy_reached
    assert field.loss("sphere") == pytest.approx(eddy.sphere_loss(*sphere, frequency, 1.0), rel=accuracy)


def assert_all_within(checks, name, kind):
    found = list(checks)
    assert [check.quantity for check in found] == list(CASES[name].quantities)
    assert all(check.kind == kind for check in found)
    assert all(check.passed for check in found), "\n".join(map(tables.line, found))


@pytest.mark.parametrize(
    ("group", "cases"),
    [(statics, STATICS), (harmonic, HARMONIC), (custom_metals, CUSTOM_METALS), (materials, MATERIALS), (nonlinear, NONLINEAR)],
)
def test_every_case_has_a_recipe(group, cases):
    assert set(group.FIELDS) | set(group.FORMULAS) == set(cases)


def test_a_case_without_recipe_is_out():
    found = list(run_file("statics.toml", {}, {}, ["brooks-coil-10"]))
    assert [check.passed for check in found] == [False]


def test_an_error_of_the_solver_is_out():
    def recipe(setup, accuracy):
        raise SolveError("no convergence")

    (check,) = run_file("statics.toml", {"brooks-coil-10": recipe}, {}, ["brooks-coil-10"])
    assert not check.passed
    assert "no convergence" in tables.line(check)


def test_accuracy_requested_is_a_third_of_the_smallest_tolerance():
    accuracies = []

    def recipe(setup, accuracy):
        accuracies.append(accuracy)
        raise SolveError("enough")

    list(run_file("statics.toml", {"permeable-sphere": recipe, "helmholtz-pair": recipe}, {}, ["permeable-sphere", "helmholtz-pair"]))
    assert accuracies == pytest.approx([1e-4 / 3, 1e-3 / 3])


def test_what_a_formula_gives_needs_no_accuracy_of_the_solver():
    """A time stated to 1e-9 beside fields to 2e-3 of the one applied."""
    accuracies = []

    def recipe(setup, accuracy):
        accuracies.append(accuracy)
        raise SolveError("enough")

    time = {"example_diffusion_time_s": 0.0}
    list(run_file("transient.toml", {"cylinder-step": recipe}, {"cylinder-step": lambda setup, accuracy: time}, ["cylinder-step"]))
    assert accuracies == pytest.approx([2e-3 / 3])


@pytest.mark.parametrize(("off", "passed"), [(0.9e-4, True), (-0.9e-4, True), (1.1e-4, False), (-1.1e-4, False), (float("nan"), False)])
def test_a_relative_tolerance_bounds_both_sides(off, passed):
    case = CASES["filament-pair-25-20-10"]
    computed = (1 + off) * case.expected["mutual_inductance_H"]
    assert compare(case, "mutual_inductance_H", computed, "field").passed is passed


def test_the_worst_entry_of_an_array_is_the_one_reported():
    case = CASES["thin-solenoid-axis"]
    computed = list(case.expected["Bz_T"])
    computed[2] *= 1.01
    check = compare(case, "Bz_T", computed, "field")
    assert (check.entry, check.passed) == (2, False)
    assert check.deviation == pytest.approx(0.01)


def test_a_missing_entry_is_an_error():
    with pytest.raises(ValueError, match="4 expected"):
        compare(CASES["thin-solenoid-axis"], "Bz_T", [1.0], "field")


def test_an_absolute_tolerance_of_one_quantity():
    case = CASES["helmholtz-pair"]
    assert case.tolerance_of("Hz_over_centre") == ("relative", 1e-4)
    assert case.tolerance_of("Hr_at_r02_z02_in_NI_per_R") == ("absolute", 1e-4)
    off = case.expected["Hr_at_r02_z02_in_NI_per_R"] + 0.9e-4
    assert compare(case, "Hr_at_r02_z02_in_NI_per_R", off, "field").passed


def test_scale_is_the_modulus_of_the_field_at_the_point():
    """At (2, 1) B_z is a sixth of |B|: 3e-4 of B_z itself is within 1e-4 of the modulus, 1e-3 is not."""
    case, point = CASES["loop-field-table"], 6
    for share, passed in ((3e-4, True), (1e-3, False)):
        computed = list(case.expected["Bz_T"])
        computed[point] *= 1 + share
        assert compare(case, "Bz_T", computed, "field").passed is passed


def test_on_the_axis_only_zero_potential_is_right():
    case = CASES["loop-field-table"]
    computed = list(case.expected["Aphi_Wb_per_m"])
    computed[0] = 1e-30
    assert not compare(case, "Aphi_Wb_per_m", computed, "field").passed


def test_exit_codes(monkeypatch, capsys):
    assert main(["statics", "--case", "magnetic-pressure"]) == 0
    assert main(["--case", "no-such-case"]) == 2
    monkeypatch.setitem(statics.FORMULAS, "magnetic-pressure", lambda setup, accuracy: {"pressure_Pa": [0.0] * 4})
    assert main(["--case", "magnetic-pressure"]) == 1
    assert "OUT" in capsys.readouterr().out
    with pytest.raises(SystemExit, match="2"):
        main(["no-such-group"])


def test_markdown_table_shows_the_worst_quantity_and_counts_entries():
    case = CASES["coil-over-plate-air-coil"]
    right = [compare(case, name, case.expected[name], "field") for name in case.quantities]
    wrong = replace(right[1], deviation=2e-4)
    row = tables.markdown([right[0], wrong, right[2]]).splitlines()[-1]
    assert row.startswith("| coil-over-plate-air-coil | field | 3 | **2.0e-04** | 1.0e-04 |")
