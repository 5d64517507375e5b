"""Flow-stress laws: the published formulas, the derivatives of the contract, cold work, data files, bad numbers."""
import copy
import math
import pickle
from dataclasses import replace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.materials import material_data
from fieldsolve.materials.flow_stress import LAWS, FlowStressLaw, JohnsonCook, ZerilliArmstrong
from fieldsolve.materials.flow_stress.cells import law_of_cells
from fieldsolve.materials.mechanical import with_cold_work
from tests.motion.sample_metal import COPPER, ZERILLI_COPPER, ZERILLI_IRON, mechanical

SAMPLES = {"johnson-cook": COPPER, "zerilli-armstrong copper": ZERILLI_COPPER, "zerilli-armstrong iron": ZERILLI_IRON}
STATES = [(0.1, 1.0, 293.15), (0.3, 2e4, 700.0), (1.2, 1e5, 1200.0), (0.05, 0.0, 280.0)]
EACH_LAW = pytest.mark.parametrize("law", SAMPLES.values(), ids=SAMPLES)


def johnson_cook_copper(strain, rate, temperature):
    homologous = min(max((temperature - 293.15) / (1356.0 - 293.15), 0.0), 1.0)
    return (90e6 + 292e6 * strain**0.31) * (1 + 0.025 * math.log(max(rate, 1.0))) * (1 - homologous**1.09)


def zerilli_copper(strain, rate, temperature):
    return 65e6 + 890e6 * math.sqrt(strain) * math.exp((-2.8e-3 + 1.15e-4 * math.log(max(rate, 1e-3))) * temperature)


def zerilli_iron(strain, rate, temperature):
    return 65e6 + 266e6 * strain**0.289 + 1033e6 * math.exp((-6.98e-3 + 4.15e-4 * math.log(max(rate, 1e-3))) * temperature)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("law", "published"), [(COPPER, johnson_cook_copper), (ZERILLI_COPPER, zerilli_copper),
                                                (ZERILLI_IRON, zerilli_iron)], ids=SAMPLES)
def test_the_law_as_published(law, published, state):
    for scale in (1.0, 0.8):
        assert replace(law, scale=scale).flow_stress(*state) == pytest.approx(scale * published(*state), rel=1e-13)
    along, _ = law.stress_along_step(state[0] - 1e-3, 1e-3, 1e-3 / max(state[1], 1e-9), law.thermal_softening(state[2]), True)
    assert along == pytest.approx(published(*state), rel=1e-13)


def test_copper_by_both_laws_as_computed_by_hand():
    """At e = 0.1, 1e4 /s and 400 K; 0.1^0.31 = 0.48978, ln 1e4 = 9.2103, (106.85/1062.85)^1.09 = 0.081783."""
    assert COPPER.flow_stress(0.1, 1e4, 400.0) == pytest.approx((90e6 + 292e6 * 0.48978) * 1.2302585 * 0.918217, rel=1e-4)
    assert ZERILLI_COPPER.flow_stress(0.1, 1e4, 400.0) == pytest.approx(65e6 + 890e6 * 0.316228 * math.exp(-1.12 + 0.423674), rel=1e-6)


@EACH_LAW
@pytest.mark.parametrize("temperature", [293.15, 900.0])
def test_the_slope_is_the_derivative(law, temperature):
    softening, duration = law.thermal_softening(temperature), 1e-8
    for increment, above in ((1e-3, True), (1e-7, True), (0.5 * law.quasi_static_rate * duration, False)):
        step = 1e-4 * increment
        stress = [law.stress_along_step(0.02, increment + k * step, duration, softening, above)[0] for k in (-1, 1)]
        slope = law.stress_along_step(0.02, increment, duration, softening, above)[1]
        assert slope > 0
        if above:                   # below the knee the difference drowns in rounding; that slope is tested through the strain
            assert (stress[1] - stress[0]) / (2 * step) == pytest.approx(slope, rel=1e-5)
    difference = [law.quasi_static_stress(0.02 + d, softening) for d in (-1e-6, 1e-6)]
    assert (difference[1] - difference[0]) / 2e-6 == pytest.approx(slope, rel=1e-5)


@EACH_LAW
def test_the_stress_is_concave_along_a_step(law):
    """Second differences on a geometric grid of increments, on either side of the quasi-static rate, cold and nearly molten."""
    for temperature in (250.0, 0.999 * law.melting):
        softening = law.thermal_softening(temperature)
        for increments, above in ((np.geomspace(1e-7, 1.0, 200), True), (np.linspace(0.0, 1.0, 200), False)):
            duration = 1e-8 / law.quasi_static_rate if above else 2.0 / law.quasi_static_rate
            stress, slope = law.stress_along_step(0.01, increments, duration, softening, above)
            assert np.all(np.diff(stress) > 0)
            assert np.all(np.diff(slope) <= 1e-12 * slope[0])


@EACH_LAW
def test_without_strain_the_stress_is_finite_and_so_is_its_slope(law):
    softening = law.thermal_softening(293.15)
    _, slope = law.stress_along_step(0.0, 0.0, 1e-8, softening, False)
    assert 0 < slope < 1e14
    assert law.flow_stress(0.0, 1.0, 293.15) == pytest.approx(law.initial_stress, rel=1e-12)


@EACH_LAW
def test_nothing_is_left_at_the_melting_point(law):
    assert law.flow_stress(0.5, 1e4, law.melting) == 0.0
    assert law.flow_stress(0.5, 1e4, law.melting + 500.0) == 0.0
    assert law.flow_stress(0.5, 1e4, 0.9 * law.melting) > 0


@EACH_LAW
def test_the_law_of_cells_is_the_law_of_each(law):
    strong, strain = replace(law, scale=1.5), np.full((4, 3), 0.1)
    cells = law_of_cells([law, strong], np.array([1, 0, 1]))
    stress = cells.flow_stress(strain, 1e4, np.array([300.0, 400.0, 500.0]))
    for cell, (one, temperature) in enumerate(((strong, 300.0), (law, 400.0), (strong, 500.0))):
        assert stress[:, cell] == pytest.approx(one.flow_stress(0.1, 1e4, temperature), rel=1e-15)


@EACH_LAW
def test_a_law_keeps_the_contract_and_is_data(law):
    assert isinstance(law, FlowStressLaw)
    assert pickle.loads(pickle.dumps(law)) == copy.deepcopy(law) == law
    assert hash(law) == hash(copy.copy(law))


@EACH_LAW
def test_cold_work_begins_at_the_new_yield_stress(law):
    annealed = mechanical(law)
    stress = 2.5 * law.flow_stress(0.0, 1.0, 293.15)
    worked = with_cold_work(annealed, stress)
    assert worked.flow_stress.flow_stress(0.0, 1.0, 293.15) == pytest.approx(stress, rel=1e-9)
    _, spent = law.cold_worked(stress)
    for strain in (0.2, 1.0):
        assert worked.flow_stress.flow_stress(strain, 1.0, 293.15) == pytest.approx(law.flow_stress(strain + spent, 1.0, 293.15), rel=1e-9)
    assert worked.ductility <= annealed.ductility
    with pytest.raises(InputError, match="above the annealed metal's"):
        with_cold_work(annealed, 0.5 * stress / 2.5)


@pytest.mark.parametrize(("change", "words"), [
    ({"athermal": 0.0}, "athermal"), ({"softening": -1.0}, "softening"), ({"exponent": 1.5}, "at most 1"),
    ({"thermal": 0.0}, "give thermal="), ({"melting": math.nan}, "melting"), ({"rate_sensitivity": 4.15e-3}, "must be at most 1"),
    ({"thermal_hardening": 1e6}, "must be at most 0.5"), ({"scale": 0.0}, "scale"), ({"quasi_static_rate": "slow"}, "finite number"),
])
def test_numbers_of_zerilli_and_armstrong_are_checked(change, words):
    with pytest.raises(InputError, match=words):
        replace(ZERILLI_IRON, **change)


@pytest.mark.parametrize(("name", "sample"), [("copper", ZERILLI_COPPER), ("iron", ZERILLI_IRON)])
def test_a_metal_by_the_law_of_zerilli_and_armstrong(name, sample):
    metal = fs.material(name, flow_stress_law="zerilli-armstrong")
    assert metal.mechanical.flow_stress == sample
    assert isinstance(fs.material(name).mechanical.flow_stress, JohnsonCook)
    assert material_data(name)["zerilli_armstrong_athermal"]["mark"] == "from-memory"


def test_hard_copper_by_the_law_of_zerilli_and_armstrong():
    hard = fs.material("copper", temper="hard", flow_stress_law="zerilli-armstrong").mechanical.flow_stress
    assert hard.flow_stress(0.0, 1.0, 293.15) == pytest.approx(material_data("copper")["yield_hard"]["value"], rel=1e-9)


def test_a_law_that_a_metal_does_not_have():
    with pytest.raises(InputError, match=r"zerilli_armstrong_athermal.* missing"):
        fs.material("silver", flow_stress_law="zerilli-armstrong")
    with pytest.raises(InputError, match=r"'zerilli'.*did you mean 'zerilli-armstrong'"):
        fs.material("copper", flow_stress_law="zerilli")


CUSTOM = """name = "test bronze"
flow_stress_law = "{law}"
{numbers}
"""
NUMBERS = {"conductivity": (9e6, "S/m"), "density": (8800.0, "kg/m^3"), "solidus": (1180.0, "K"),
           "zerilli_armstrong_athermal": (80.0, "MPa"), "zerilli_armstrong_thermal_hardening": (1.0, "GPa"),
           "zerilli_armstrong_softening": (2.5e-3, "1/K"), "zerilli_armstrong_rate_sensitivity": (1.0e-4, "1/K")}


def custom(path, law="zerilli-armstrong", **changes):
    numbers = "\n".join(f'[{key}]\nvalue = {value}\nunit = "{unit}"\nsource = "invented"\nmark = "given"'
                        for key, (value, unit) in (NUMBERS | changes).items() if value is not None)
    path.write_text(CUSTOM.format(law=law, numbers=numbers), encoding="utf-8")
    return path


def test_a_data_file_names_its_law(tmp_path):
    metal = fs.read_material(custom(tmp_path / "bronze.toml"))
    assert metal.mechanical.flow_stress == ZerilliArmstrong(athermal=80e6, thermal_hardening=1e9, softening=2.5e-3,
                                                            rate_sensitivity=1e-4, melting=1180.0)
    assert {"youngs_modulus", "ductility", "zerilli_armstrong_melting"} <= set(metal.assumed)


def test_a_data_file_with_a_wrong_law_or_half_a_law(tmp_path):
    with pytest.raises(InputError, match=r"bronze.toml: flow_stress_law = 'cook'"):
        fs.read_material(custom(tmp_path / "bronze.toml", law="cook"))
    with pytest.raises(InputError, match="zerilli_armstrong_softening missing"):
        fs.read_material(custom(tmp_path / "bronze.toml", zerilli_armstrong_softening=(None, "")))


def test_no_two_laws_share_a_key_and_every_key_is_a_field():
    keys = [key for law in LAWS.values() for key in law.data_keys]
    assert len(keys) == len(set(keys))
    for law in LAWS.values():
        assert {entry.field for entry in law.data_keys.values()} <= set(law.__dataclass_fields__)
