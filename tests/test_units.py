"""Units at the edge: text to SI floats and back."""
import datetime
import math
import subprocess
import sys

import numpy as np
import pytest

from fieldsolve.errors import InputError
from fieldsolve.units import UNIT_EXAMPLES, display, parse_quantity


@pytest.mark.parametrize(("text", "unit", "value"), [
    ("15.6 mm", "m", 15.6e-3), ("15.6mm", "m", 15.6e-3), ("1 in", "m", 25.4e-3), ("1 kA", "A", 1e3), ("-1 kA", "A", -1e3),
    ("6 mohm", "ohm", 6e-3), ("0.05 ohm", "ohm", 0.05), ("120 uF", "F", 120e-6), ("120 µF", "F", 120e-6), ("350 nH", "H", 350e-9),
    ("6.5 kV", "V", 6.5e3), ("60 us", "s", 60e-6), ("10 kHz", "Hz", 1e4), ("0.1 T", "T", 0.1), ("58 MS/m", "S/m", 58e6),
    ("1e-3", "", 1e-3), ("5 %", "", 0.05), ("20 degC", "K", 293.15), ("2 mm^2", "m^2", 2e-6), (" .5 m ", "m", 0.5),
])
def test_text_becomes_the_si_float_a_script_would_hold(text, unit, value):
    assert parse_quantity(text, unit, "x") == value


@pytest.mark.parametrize("value", [0.0156, np.float64(0.0156), np.float32(0.5), 3])
def test_bare_numbers_are_si(value):
    result = parse_quantity(value, "m", "x")
    assert type(result) is float
    assert result == value


@pytest.mark.parametrize("value", [
    "15.6 kg", "15.6", "mm", "", "15.6 MMM", "15,6 mm", "nan mm", "inf mm", "9**9**9 m", "1 (", "1 m)", "1 mm mm", "1 m**99999999999",
    "__import__('os')", True, None, [1.0], {}, datetime.date(2020, 1, 1), 1j,
])
def test_what_is_no_length_is_refused_with_an_example(value):
    with pytest.raises(InputError, match=r"bore_radius = .*: expected a length such as '15.6 mm'"):
        parse_quantity(value, "m", "bore_radius")


def test_message_names_field_value_and_example():
    with pytest.raises(InputError) as caught:
        parse_quantity("15.6 kg", "m", "bore_radius")
    assert str(caught.value) == "bore_radius = '15.6 kg': expected a length such as '15.6 mm'"


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 2**2000, "1e999 mm"])
def test_what_is_not_finite_is_refused(value):
    with pytest.raises(InputError, match="must be a finite number"):
        parse_quantity(value, "m", "x")


@pytest.mark.parametrize("text", ["60 rpm", "1 rad/s"])
def test_an_angular_frequency_is_not_taken_for_hertz(text):
    with pytest.raises(InputError, match="a frequency such as"):
        parse_quantity(text, "Hz", "x")


@pytest.mark.parametrize("unit", UNIT_EXAMPLES)
def test_every_example_is_one(unit):
    example = UNIT_EXAMPLES[unit].split("'")[1]
    assert math.isfinite(parse_quantity(example, unit, "x"))


@pytest.mark.parametrize(("value", "unit", "text"), [
    (6.27e-6, "H", "6.27 uH"), (3.1e-3, "T", "3.1 mT"), (1.2e-3, "m", "1.2 mm"), (0.0, "A", "0 A"), (-25e3, "A", "-25 kA"),
    (999.96e-6, "H", "1 mH"), (1e3, "V", "1 kV"), (1e-6, "s", "1 us"), (1234.0, "K", "1230 K"), (0.5, "", "0.5"), (300.0, "K", "300 K"),
    (None, "T", "-"), (200.0, "m/s", "200 m/s"), (1e-20, "T", "1e-05 fT"),
])
def test_display_uses_engineering_prefixes(value, unit, text):
    assert display(value, unit) == text


def test_display_shows_as_many_digits_as_requested():
    assert display(1.23456789e-6, "H", 5) == "1.2346 uH"
    assert display(123.4e-9, "H", 1) == "100 nH"


def test_display_reads_back():
    for power in range(-14, 13):
        assert parse_quantity(display(1.5 * 10.0**power, "m"), "m", "x") == pytest.approx(1.5 * 10.0**power, rel=1e-12)


def test_pint_is_loaded_only_when_a_text_with_a_unit_is_read():
    code = (
        "import sys; from fieldsolve.units import parse_quantity, display; parse_quantity(1.0, 'm', 'x'); parse_quantity('1e-3', '', 'x'); "
        "display(1.0, 'm'); print('pint' in sys.modules)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "False"


@pytest.mark.parametrize(("gauge", "millimetres"), [("AWG 12", 2.053), ("awg 36", 0.127), ("AWG 0", 8.251),
                                                     ("AWG 4/0", 11.684), ("AWG 000", 10.405)])
def test_a_wire_gauge_is_a_length(gauge, millimetres):              # ASTM B258, rounded there
    assert parse_quantity(gauge, "m", "wire_diameter") == pytest.approx(1e-3 * millimetres, abs=1e-6)


@pytest.mark.parametrize("text", ["1 m^9^9^9", "1 m**9**9", "1 (m^9)^99", "1" + " " * 2000 + "m", "1 m^99"])
def test_a_unit_that_would_take_hours_is_refused(text):
    with pytest.raises(InputError, match=r"expected a length|must be a finite number"):
        parse_quantity(text, "m", "radius")
