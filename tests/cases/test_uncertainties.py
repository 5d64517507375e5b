"""Uncertainties in case files: what they say in SI, where they have no place, and that the case without them is the same."""
import math

import pytest

import fieldsolve as fs
from fieldsolve.cases.case_file import read_case, read_rig
from fieldsolve.cases.uncertainties import normal_keys, split_uncertainties
from fieldsolve.errors import InputError
from fieldsolve.units import parse_quantity, split_uncertainty

COIL = {"shape": "solenoid", "turns": 4, "bore_radius": "15.6 mm", "wire_diameter": "3 mm", "pitch": "3.3 mm", "material": "copper"}
CASE = {"coil": COIL, "bank": {"capacitance": "120 uF", "voltage": "4 kV", "inductance": "350 nH"}}


@pytest.mark.parametrize(("text", "quantity", "unit", "standard"), [
    ("120 uF +- 3 %", "120 uF", "F", 0.03 * 120e-6 / math.sqrt(3)),             # GUM 4.3.7: rectangular
    ("120 uF +- 3 % (k=2)", "120 uF", "F", 0.03 * 120e-6 / 2),                  # GUM 6.2: expanded
    ("120 uF +-3% ( k = 1 )", "120 uF", "F", 0.03 * 120e-6),
    ("15.6 mm +- 0.02 mm", "15.6 mm", "m", 0.02e-3 / math.sqrt(3)),
    ("15.6 mm ± 20 um (k=2.58)", "15.6 mm", "m", 20e-6 / 2.58),
    ("15.6 +- 0.02 mm", "15.6 mm", "m", 0.02e-3 / math.sqrt(3)),
    ("-3 mm +/- 10 %", "-3 mm", "m", 0.3e-3 / math.sqrt(3)),
    ("0 mm +- 0.1 mm", "0 mm", "m", 0.1e-3 / math.sqrt(3)),
    ("20 degC +- 2 K", "20 degC", "K", 2 / math.sqrt(3)),
    ("20 degC +- 2 degC", "20 degC", "K", 2 / math.sqrt(3)),
    ("45 % +- 3e-2", "45 %", "", 0.03 / math.sqrt(3)),
    ("0.7 +- 0.1", "0.7", "", 0.1 / math.sqrt(3)),
])
def test_an_uncertainty_is_a_standard_deviation_in_si(text, quantity, unit, standard):
    found, (value, uncertainty) = split_uncertainty(text, "x")
    assert found == quantity
    assert value == parse_quantity(quantity, unit, "x")
    assert uncertainty == pytest.approx(standard, rel=1e-14)


@pytest.mark.parametrize("text", [
    "120 uF +- 3 mm", "120 uF +- 4", "120 uF +-", "+- 3 %", "120 uF +- -3 %", "120 uF +- 0 %", "1 mm +- 1 % +- 2 %", "45 % +- 3 %",
    "20 degC +- 3 %", "120 uF +- 3 % (k=0)", "120 uF +- 3 % (k=two)", "1 F +- inf F", "120 uF +- 9e999 uF", "x +- 3 %",
    "1 m +- 1 m**99999999999", "1 m^99999999999 +- 1 m", "1 m +- " + 10000 * " " + "x", 10000 * "+-"])
def test_what_is_no_uncertainty_is_refused(text):
    with pytest.raises(InputError, match=r"\[bank\] capacitance = .*: behind '\+-' comes a half-width"):
        split_uncertainty(text, "[bank] capacitance")


@pytest.mark.parametrize(("text", "reason"), [("120 uF +- 4", "the uncertainty has no unit"),
                                              ("120 uF +- -3 %", "the uncertainty is negative"),
                                              ("120 uF +- -3 uF (k=2)", "the uncertainty is negative"),
                                              ("120 uF +- 3 % (k=0)", "the coverage factor is not above 0")])
def test_the_message_says_what_is_wrong_with_it(text, reason):
    with pytest.raises(InputError, match=rf"\[bank\] capacitance = .*\({reason}\): behind"):
        split_uncertainty(text, "[bank] capacitance")


@pytest.mark.parametrize("text", ["120 uF +- 130 uF", "120 uF +- 101 %", "120 uF +- 120.1 uF (k=3)", "0 F +- 1 uF"])
def test_one_larger_than_the_value_is_refused(text):
    with pytest.raises(InputError, match=r"\[bank\] capacitance = .*: the uncertainty is larger than the value"):
        read_case({**CASE, "bank": {**CASE["bank"], "capacitance": text}})


def test_a_place_may_be_uncertain_by_more_than_its_value():
    assert read_case({"coil": {**COIL, "at": "0 mm +- 0.1 mm"}}).uncertainties["coil.at"][1] == pytest.approx(1e-4 / math.sqrt(3))


def test_a_coverage_factor_makes_a_distribution_normal():
    assert normal_keys({"bank": {"capacitance": "120 uF +- 3 % (k=2)", "voltage": "5 kV +- 1 %"},
                        "disc": {"layers": [["1 mm +- 2 % (k=2)", "copper"]]}}) == {"bank.capacitance", "disc.layers.0.0"}


def test_a_case_holds_them_by_dotted_key_and_is_the_case_without_them():
    layers = [["1 mm +- 2 %", "copper"], ["2 mm", {"material": "nickel", "conductivity": "14 MS/m +- 5 % (k=2)"}]]
    disc = {"shape": "clad_disc", "radius": "15 mm +- 0.02 mm", "layers": layers}
    exact = {"shape": "clad_disc", "radius": "15 mm", "layers": [["1 mm", "copper"], ["2 mm", {"material": "nickel",
                                                                                               "conductivity": "14 MS/m"}]]}
    case = read_case({**CASE, "bank": {**CASE["bank"], "capacitance": "120 uF +- 3 %"}, "disc": disc,
                      "site": {"temperature": "20 degC +- 1 K"}})
    assert {key: uncertainty for key, (_, uncertainty) in case.uncertainties.items()} == pytest.approx({
        "bank.capacitance": 0.03 * 120e-6 / math.sqrt(3), "disc.radius": 0.02e-3 / math.sqrt(3), "disc.layers.0.0": 0.02e-3 / math.sqrt(3),
        "disc.layers.1.1.conductivity": 0.05 * 14e6 / 2, "site.temperature": 1 / math.sqrt(3)})
    without = read_case({**CASE, "disc": exact, "site": {"temperature": "20 degC"}})
    assert without.uncertainties == {}
    assert case.section == without.section and case.banks == without.banks
    changed = case.with_values({key: value for key, (value, _) in case.uncertainties.items()})
    assert changed.section == case.section and changed.banks == case.banks and changed.uncertainties == {}
    assert "+- 3 %" in case.text and read_case(case.tables).uncertainties == case.uncertainties
    assert read_rig(case).site.temperature == 293.15


def test_each_uncertain_value_can_be_changed_by_its_key():
    disc = {"shape": "clad_disc", "radius": "15 mm", "layers": [["1 mm +- 2 %", "copper"], ["2 mm", "nickel"]]}
    coil = {key: value for key, value in COIL.items() if key != "wire_diameter"} | {"wire_section": ["2 mm +- 0.01 mm", "3 mm"]}
    case = read_case({"coil": coil, "disc": disc})
    assert set(case.uncertainties) == {"disc.layers.0.0", "coil.wire_section.0"}
    changed = case.with_values({"disc.layers.0.0": 1.1e-3, "coil.wire_section.0": 2.1e-3})
    assert changed.tables["disc"]["layers"] == [[1.1e-3, "copper"], ["2 mm", "nickel"]]
    assert changed.section.part("disc").bounds[3] == pytest.approx(1.55e-3)
    assert changed.uncertainties == {}
    for key in ("disc.layers.5.0", "coil.wire_section.2", "coil.wire_section.x"):
        with pytest.raises(InputError, match=key):
            case.with_values({key: 1e-3})
    with pytest.raises(InputError, match="stands in a list"):
        case.with_values({"disc.layers.0.0": None})


@pytest.mark.parametrize(("key", "value"), [("run.end_time", "60 us +- 1 us"), ("field.accuracy", "1e-3 +- 1 %"),
                                            ("coil.turns", "4 +- 1"), ("capacitor.rated_voltage", "8 kV +- 1 %"),
                                            ("limits.distance", "3 m +- 1 m")])
def test_what_is_exact_takes_none(key, value):
    with pytest.raises(InputError, match="takes no uncertainty; give"):
        fs.read_case({**CASE, "run": {"end_time": "60 us"}}).with_values({key: value})


def test_a_word_with_an_uncertainty_is_no_metal():
    with pytest.raises(InputError, match=r"\[coil\] material"):
        read_case({"coil": {**COIL, "material": "copper +- 3 %"}})
    assert split_uncertainties({"coil": {"material": "copper"}}) == ({"coil": {"material": "copper"}}, {})
