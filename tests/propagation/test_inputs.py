"""Uncertain inputs as distributions: their moments, what is never drawn, correlated ones of a fit, and what is refused."""
import math

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import GeometryError, InputError
from fieldsolve.propagation.inputs import InputGroup, changed_case, changed_circuit, uncertain_case, unit_of_key
from tests.propagation.small_case import TABLES

COUNT = 20_000


def case(**bank):
    return fs.read_case({**TABLES, "bank": {**TABLES["bank"], **bank}})


def test_draws_of_one_seed_are_the_same_to_the_last_bit():
    uncertain = uncertain_case(case())
    assert uncertain.draw(100, 7, 0, 2).tobytes() == uncertain.draw(100, 7, 0, 2).tobytes()
    assert not np.array_equal(uncertain.draw(100, 7, 0, 2), uncertain.draw(100, 8, 0, 2))
    assert not np.array_equal(uncertain.draw(100, 7, 0, 2), uncertain.draw(100, 7, 0, 3))


def test_the_first_draws_do_not_depend_on_how_many_follow():
    uncertain = uncertain_case(case())
    assert np.array_equal(uncertain.draw(100, 7)[:10, 0], uncertain.draw(10, 7)[:, 0])


def test_a_half_width_is_rectangular_and_a_coverage_factor_normal():
    uncertain = uncertain_case(case())
    assert uncertain.keys == ("bank.voltage", "bank.inductance")
    voltage, inductance = uncertain.draw(COUNT, 0).T
    assert 3920 <= voltage.min() < 3922 and 4078 < voltage.max() <= 4080
    assert voltage.std() == pytest.approx(80 / math.sqrt(3), rel=0.02) and voltage.mean() == pytest.approx(4000, abs=2)
    assert inductance.std() == pytest.approx(1.75e-9, rel=0.02) and inductance.max() > 350e-9 + 3 * 1.75e-9
    assert np.mean(np.abs(inductance - 350e-9) < 1.96 * 1.75e-9) == pytest.approx(0.95, abs=0.005)


def test_no_negative_resistance_is_drawn_and_a_place_may_be_negative():
    uncertain = uncertain_case(fs.read_case({**TABLES, "bank": {**TABLES["bank"], "resistance": "6 mohm +- 5 mohm (k=1)"},
                                             "coil": {**TABLES["coil"], "at": "0 mm +- 0.1 mm"}}))
    drawn = dict(zip(uncertain.keys, uncertain.draw(COUNT, 0).T, strict=True))
    assert drawn["bank.resistance"].min() >= 0 and drawn["coil.at"].min() < -0.09e-3


def test_inputs_of_a_ring_down_fit_are_correlated():
    """The fit's arc voltage and resistance explain each other: drawn with its covariance, and with the load's uncertainty on top."""
    t = np.linspace(-20e-6, 180e-6, 4000)
    ringing = 13e3 * np.exp(-5.5e3 * t) * np.sin(1.2e5 * t) * (t > 0)
    record = fs.Record(times=t, values={"current": ringing + np.random.default_rng(1).normal(0, 100, len(t))})
    fit = fs.fit_ring_down(record, capacitance=(120e-6, 1e-6), load=((1e-3, 1e-4), (100e-9, 5e-9)))
    if not fit.parameters["arc_voltage"].determined:
        pytest.fail("the record determines no arc")
    uncertain = uncertain_case(fs.read_case({**TABLES, "bank": {"capacitance": "120 uF +- 5 %", "voltage": "4 kV"}}), fit)
    (group,) = uncertain.groups
    assert group.keys == ("bank.inductance", "bank.resistance", "bank.arc_voltage", "bank.capacitance")
    names = [key.removeprefix("bank.") for key in group.keys]
    drawn = group.draw(np.random.default_rng(0), COUNT)
    assert group.values[:2] == pytest.approx([fit.bank["inductance"].value, fit.bank["resistance"].value])
    k, m = names.index("inductance"), names.index("capacitance")
    places = [list(fit.parameters).index(name) for name in names]
    expected = fit.covariance[np.ix_(places, places)] + np.diag([5e-9**2, 1e-4**2, 0, 0])
    assert group.covariance == pytest.approx(expected, rel=1e-9)
    assert np.corrcoef(drawn[:, k], drawn[:, m])[0, 1] == pytest.approx(
        expected[k, m] / math.sqrt(expected[k, k] * expected[m, m]), abs=0.05)
    assert uncertain.case.banks[0].inductance == pytest.approx(fit.bank["inductance"].value)


def test_a_fit_of_the_whole_loop_is_refused():
    t = np.linspace(-20e-6, 180e-6, 2000)
    record = fs.Record(times=t, values={"current": 13e3 * np.exp(-5.5e3 * t) * np.sin(1.2e5 * t) * (t > 0)})
    with pytest.raises(InputError, match="give load= to fit_ring_down"):
        uncertain_case(case(), fs.fit_ring_down(record, capacitance=120e-6))


def test_a_prior_is_a_relative_standard_uncertainty():
    uncertain = uncertain_case(case(voltage="4 kV", inductance="350 nH"), prior={"disc.radius": 0.01, "flow_stress of disc": 0.1})
    assert uncertain.keys == ("disc.radius", "flow_stress of disc")
    assert uncertain.uncertainties == pytest.approx([0.14e-3, 0.1]) and uncertain.values == pytest.approx([14e-3, 1.0])


@pytest.mark.parametrize(("prior", "match"), [
    ({"disc.radius": 0.0}, "above 0 and at most 1"), ({"disc.radius": True}, "above 0 and at most 1"),
    ({"disc.conductivity": 0.1}, "the case gives no such value"), ({"flow_stress of ring": 0.1}, "ring"),
    ({"bank.volts": 0.1}, "the case gives no such value"), ("bank.voltage", "give shares by key")])
def test_a_prior_that_cannot_be_is_refused(prior, match):
    with pytest.raises((InputError, GeometryError), match=match):
        uncertain_case(case(), prior=prior)


def test_a_case_without_uncertainties_is_refused():
    with pytest.raises(InputError, match="gives no uncertainty of what a shot depends on; write it"):
        uncertain_case(case(voltage="4 kV", inductance="350 nH"))


def test_inputs_change_the_case_and_its_circuit_alike():
    values = {"bank.voltage": 4100.0, "bank.inductance": 351e-9, "disc.radius": 14.1e-3, "flow_stress of disc": 1.2}
    changed, (banks, leads, crowbar) = changed_case(case(), values), changed_circuit(case(), values)
    assert changed.banks == banks and (leads, crowbar) == (changed.leads, None)
    assert changed.section.part("disc").bounds[1] == 14.1e-3
    laws = [one.section.part("disc").zones[0].material.mechanical.flow_stress for one in (case(), changed)]
    assert laws[1].flow_stress(0.1, 1.0, 300.0) == pytest.approx(1.2 * laws[0].flow_stress(0.1, 1.0, 300.0))


def test_a_distribution_that_is_nearly_all_negative_is_refused():
    group = InputGroup(("x",), np.array([-1.0]), np.array([[1e-4]]))
    with pytest.raises(fs.errors.SolveError, match="nearly all of its distribution is negative"):
        group.draw(np.random.default_rng(0), 10)


@pytest.mark.parametrize(("key", "unit"), [("second_bank.voltage", "V"), ("leads.inductance", "H"), ("disc.conductivity", "S/m"),
                                           ("coil.wire_section.0", "m"), ("coil.fill", ""), ("disc.measured_resistance", "ohm")])
def test_units_of_inputs(key, unit):
    assert unit_of_key(key) == unit
