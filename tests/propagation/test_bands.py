"""Bands of a small linear case, held against what follows from its linearity; and what is refused and said."""
import math
import pickle
from types import SimpleNamespace

import numpy as np
import pytest

import fieldsolve as fs
from fieldsolve.errors import InputError
from fieldsolve.propagation.inputs import changed_case, changed_circuit, uncertain_case
from fieldsolve.propagation.outputs import _burst_time, outputs_of
from fieldsolve.propagation.reduced import reduced_control
from fieldsolve.propagation.surface import fit_surface
from fieldsolve.shot.reduced.result import ReducedShot
from tests.propagation.small_case import TABLES, small_bands, small_shot

OF_VOLTAGE = 0.02 / math.sqrt(3)


def test_a_peak_is_as_uncertain_as_what_it_is_in_proportion_to():
    """The rim's force goes with the square of the voltage, the charge voltage is the voltage; the inductance adds what it says."""
    bands = small_bands()
    charge = bands.band("charge voltage of bank")
    assert charge.standard_uncertainty / charge.value == pytest.approx(OF_VOLTAGE, rel=0.04)
    assert [charge.low, charge.high] == pytest.approx([4000 * (1 - 0.95 * 0.02), 4000 * (1 + 0.95 * 0.02)], rel=1e-3)
    current, force = bands.band("peak current of coil"), bands.band("peak radial force on disc")
    ratio = [row.standard_uncertainty / abs(row.value) / OF_VOLTAGE for row in (current, force)]
    shares = [row.first_order["bank.voltage"] for row in (current, force)]
    assert ratio[0] * math.sqrt(shares[0]) == pytest.approx(1, rel=0.05)
    assert ratio[1] * math.sqrt(shares[1]) == pytest.approx(2, rel=0.05)


def test_the_time_of_the_peak_depends_on_the_inductance_alone():
    row = small_bands().band("time of peak current of coil")
    assert row.first_order["bank.inductance"] == pytest.approx(1, abs=0.03) and row.total["bank.voltage"] < 0.03


def test_indices_of_a_linear_quantity_add_up():
    row = small_bands().band("peak current of coil")
    assert sum(row.first_order.values()) == pytest.approx(1, abs=0.03)
    assert row.total == pytest.approx(row.first_order, abs=0.03) and row.unexplained < 0.01


def test_shots_at_random_lie_on_it_and_linear_propagation_holds():
    bands = small_bands()
    for row in (bands.band("peak current of coil"), bands.band("peak current of disc")):
        assert row.follows_shots and row.linear_holds and row.residual < 0.05 * row.standard_uncertainty
    assert bands.checks == 4 and bands.shots == 5


def test_a_trace_lies_within_its_band_which_meets_that_of_the_peak():
    trace, peak = small_bands().trace("current", "coil"), small_bands().band("peak current of coil")
    assert (trace.low <= trace.median).all() and (trace.median <= trace.high).all()
    top = trace.value.argmax()
    assert [trace.low[top], trace.high[top]] == pytest.approx([peak.low, peak.high], rel=2e-3)


def test_bands_are_data():
    assert pickle.loads(pickle.dumps(small_bands())).rows == small_bands().rows


@pytest.mark.slow
def test_bands_of_one_seed_are_the_same_to_the_last_bit():
    first = small_bands()
    second = fs.bands(TABLES, draws=500, checks=4, accuracy=5e-2, seed=3)
    assert first.rows == second.rows
    assert all(a.low.tobytes() == b.low.tobytes() for a, b in zip(first.traces, second.traces, strict=True))


def test_an_unknown_name_is_refused_with_the_nearest():
    with pytest.raises(InputError, match="peak current of coil"):
        small_bands().band("peak current of coils")
    with pytest.raises(InputError, match=r"there are .*current of coil"):
        small_bands().trace("speed", "coil")


@pytest.mark.parametrize(("options", "match"), [
    ({"draws": 10}, "draws = 10: .*from 500"), ({"digits": 3}, "digits = 3"), ({"checks": 2}, "checks = 2: must be 0, or at least 4"),
    ({"seed": -1}, "seed = -1"), ({"accuracy": 0.0}, "accuracy = 0")])
def test_arguments_that_cannot_be_are_refused(options, match):
    with pytest.raises(InputError, match=match):
        fs.bands(TABLES, **options)


def test_a_flow_stress_of_metal_that_is_held_is_refused():
    with pytest.raises(InputError, match=r"flow_stress of disc.*held still.*changes nothing"):
        fs.bands(TABLES, prior={"flow_stress of disc": 0.1})


@pytest.mark.slow
def test_heating_damps_what_the_voltage_does_in_a_cold_reduced_model():
    """Half the difference of two full shots at +- sqrt(3) u is sqrt(3) u of the result; cold it would go with the voltage's square."""
    coil = {**TABLES["coil"], "wire_diameter": "1.5 mm", "pitch": "1.7 mm"}
    tables = {**TABLES, "coil": coil, "run": {**TABLES["run"], "end_time": "30 us", "heating": True},
              "bank": {"capacitance": "60 uF", "voltage": "12 kV +- 3 %", "inductance": "350 nH"}}
    name = "integral of I^2 dt"
    found = fs.bands(tables, draws=500, checks=0, accuracy=5e-2).band(name)
    low, high = (_integral(tables, voltage) for voltage in (11640.0, 12360.0))
    expected = (high - low) / (2 * math.sqrt(3))
    assert expected < 0.94 * 2 * found.value * 0.03 / math.sqrt(3)
    assert found.standard_uncertainty == pytest.approx(expected, rel=0.05)


def _integral(tables, voltage: float) -> float:
    shot = fs.solve_case(fs.read_case(tables).with_values({"bank.voltage": voltage}))
    vector = outputs_of(shot, float(shot.times[-1]))
    return float(vector.evaluate(shot)[[output.name for output in vector.outputs].index("integral of I^2 dt")])


def test_a_case_without_a_bank_or_uncertainties_is_refused():
    with pytest.raises(InputError, match="gives no uncertainty"):
        fs.bands({**TABLES, "bank": {"capacitance": "20 uF", "voltage": "4 kV"}})
    with pytest.raises(InputError, match="a shot needs"):
        fs.bands({"coil": {**TABLES["coil"], "at": "0 mm +- 1 mm"}})


def test_a_section_with_a_curve_has_no_reduced_model_and_the_bands_say_so():
    yoke = {"shape": "tube", "inner_radius": "22 mm", "wall": "3 mm", "length": "20 mm", "material": "iron"}
    control, remarks = reduced_control(uncertain_case(fs.read_case({**TABLES, "yoke": yoke})), None, None)
    assert control is None and "every input was varied in full shots: yoke: " in remarks[0] and "B-H curve" in remarks[0]


def test_a_surface_goes_through_its_shots_and_a_quadratic_is_met_exactly():
    def shot(x, y):
        return np.array([3 + 2 * x - x**2 + 5 * y + 4 * y**2, math.sin(x)])
    middle, steps = np.array([1.0, 2.0]), np.array([0.1, 0.2])
    changed = {k: tuple(shot(*(middle + sign * steps * (np.arange(2) == k))) for sign in (1, -1)) for k in (0, 1)}
    surface = fit_surface(None, middle, steps, shot(*middle), changed)
    assert surface(np.array([[1.05, 2.3]]))[0, 0] == pytest.approx(shot(1.05, 2.3)[0], rel=1e-12)
    assert surface.gradient(steps)[:, 0] == pytest.approx([0.0, 21.0], abs=1e-12)


def test_what_the_control_has_is_not_counted_twice():
    """Full shots are a control times 1.1 in x, which the control knows, plus y, which it does not."""
    def control(inputs):
        return np.exp(inputs[:, :1])

    def shot(x, y):
        return np.array([math.exp(x) + 0.1 * x + 7 * y])
    middle, steps = np.array([1.0, 2.0]), np.array([0.3, 0.2])
    changed = {k: tuple(shot(*(middle + sign * steps * (np.arange(2) == k))) for sign in (1, -1)) for k in (0, 1)}
    surface = fit_surface(control, middle, steps, shot(*middle), changed)
    assert surface(np.array([[1.7, 2.5]]))[0] == pytest.approx(shot(1.7, 2.5), rel=1e-12)


def test_a_comparison_takes_its_uncertainty_from_the_bands():
    case, shot = fs.read_case(TABLES), small_shot()
    record = fs.Record(times=shot.times, values={"current": shot.series("current", "coil")})
    rows = fs.compare(shot, record, case=case, inputs="none", bands=small_bands(), aligned=True).rows
    peak, band = next(row for row in rows if row.name == "peak current of coil"), small_bands().band("peak current of coil")
    assert peak.u_input == band.standard_uncertainty
    assert math.hypot(*peak.contributions.values()) == pytest.approx(peak.u_input, rel=0.03)
    assert set(peak.contributions) == {"bank.voltage", "bank.inductance"}


@pytest.mark.slow
def test_moving_metal_has_bands_of_its_shape():
    """Twice the pressure impulse shrinks a disc about twice as much: a voltage that is 2 % uncertain makes the shrinking 4 to 10 % so."""
    tables = {**TABLES, "bank": {"capacitance": "120 uF", "voltage": "5 kV +- 2 %", "inductance": "350 nH"},
              "run": {"end_time": "30 us", "heating": False, "accuracy": 5e-2}}
    bands = fs.bands(tables, draws=1000, checks=4, prior={"flow_stress of disc": 0.05})
    row = bands.band("radius ratio of disc")
    shrinking = 1 - row.value
    assert shrinking > 0.005 and row.low < row.value < row.high < 1
    assert 0.02 < row.standard_uncertainty / shrinking < 0.2
    assert row.total["flow_stress of disc"] > 0.02 and row.total["bank.voltage"] > 0.2
    assert bands.trace("outer_radius", "disc").median[0] == pytest.approx(14e-3)          # its ends hold the numerical error, too


BURSTING = {**TABLES, "bank": {"capacitance": "120 uF", "voltage": "9 kV +- 1 %", "inductance": "350 nH"},
            "run": {"end_time": "60 us", "heating": False, "accuracy": 5e-2}}


@pytest.mark.slow
def test_a_burst_has_a_band_where_the_coil_bursts_in_every_shot():
    """Its ends are those of the shots at the ends of the distribution: a percent of voltage moves the burst by about a percent."""
    bands = fs.bands(BURSTING, draws=1000, checks=0)
    row, low, high = bands.band("burst time of coil"), *(fs.solve_case(fs.read_case(BURSTING).with_values({"bank.voltage": text}))
                                                         for text in ("9.09 kV", "8.91 kV"))
    assert 20e-6 < row.low < row.value < row.high < 60e-6
    assert low.burst_time("coil") < row.value < high.burst_time("coil")
    spread = float(high.burst_time("coil")) - float(low.burst_time("coil"))         # over the whole rectangular distribution
    assert row.standard_uncertainty == pytest.approx(spread / (2 * math.sqrt(3)), rel=0.1)
    assert row.total["bank.voltage"] == pytest.approx(1.0, abs=1e-2)


def test_a_discharge_with_the_metal_held_has_no_burst():
    """It has no series of hoop strain, nor the method that reads a burst off one."""
    assert not hasattr(ReducedShot, "burst")
    assert math.isnan(_burst_time(SimpleNamespace(history=SimpleNamespace(values={})), "coil"))


def test_a_shot_of_another_case_is_refused():
    with pytest.raises(InputError, match="is not the case of this shot"):
        fs.bands({**TABLES, "bank": {**TABLES["bank"], "voltage": "5 kV +- 2 %"}}, shot=small_shot())


def test_a_bank_at_its_rating_is_drawn_above_it_and_one_above_it_refused():
    rated = {**TABLES["bank"], "rated_voltage": "4 kV"}
    uncertain = uncertain_case(fs.read_case({**TABLES, "bank": rated}))
    assert changed_case(uncertain.case, {"bank.voltage": 4080.0}).banks[0].voltage == 4080.0
    assert changed_circuit(uncertain.case, {"bank.voltage": 4080.0})[0][0].rated_voltage is None
    with pytest.raises(InputError, match="above rated_voltage"):
        fs.bands({**TABLES, "bank": {**rated, "rated_voltage": "3.9 kV"}})
