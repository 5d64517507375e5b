"""Units at the edge: text such as '15.6 mm' to an SI float and back (the only user of pint)."""
from __future__ import annotations

import functools
import math
import numbers
import re

from fieldsolve.errors import InputError

UNIT_EXAMPLES = {
    "": "a pure number such as '0.5'", "m": "a length such as '15.6 mm'", "m^2": "an area such as '2 mm^2'",
    "s": "a time such as '60 us'", "kg": "a mass such as '1.5 kg'", "m/s": "a speed such as '200 m/s'",
    "A": "a current such as '1 kA'", "V": "a voltage such as '6.5 kV'", "ohm": "a resistance such as '6 mohm'",
    "F": "a capacitance such as '120 uF'", "H": "an inductance such as '350 nH'", "C": "a charge such as '0.78 C'",
    "T": "a flux density such as '0.1 T'", "Hz": "a frequency such as '10 kHz'", "S/m": "a conductivity such as '58 MS/m'",
    "J": "an energy such as '2.5 kJ'", "W": "a power such as '10 kW'", "N": "a force such as '5 kN'",
    "Pa": "a pressure such as '200 MPa'", "K": "a temperature such as '293.15 K'",
}
PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
_PLUS_MINUS = re.compile(r"\s*(?:\+-|\+/-|±)\s*")
_COVERAGE = re.compile(r"\s*\(\s*k\s*=\s*(\d+\.?\d*)\s*\)\s*$")
LONGEST_QUANTITY = 60           # characters
_NUMBER_AND_UNIT = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zµμΩΩ°%/*^()\d. -]*?)\s*")
_WIRE_GAUGE = re.compile(r"\s*(?:AWG\s*(?P<gauge>[1-4]/0|0{1,4}|[1-9]|[1-4]\d))\s*", re.IGNORECASE)
_EXPONENT_OF_MORE_DIGITS = re.compile(r"(\^|\*\*)\s*(?!-?\d(?!\s*[\d.^*]))")


def parse_quantity(value: str | float, unit: str, field: str) -> float:
    """`value` as an SI float in `unit`: text with its unit, or a bare number that is already SI.

    Parameters
    ----------
    value : str or float
        Text with a unit, or a number in SI.
    unit : str
        The SI unit wanted: 'm', 'A', 'ohm', 'F', 'H', 'V', 's', 'Hz', 'T', 'S/m', ...; '' for a pure number.
    field : str
        What the value belongs to, for the message.

    Raises
    ------
    InputError
        Where the value is no number, not finite, has no unit or one of another kind.

    Examples
    --------
    >>> parse_quantity("15.6 mm", "m", "bore_radius")
    0.0156
    """
    if isinstance(value, str):
        number = _parse_text(value, unit, field) if len(value) <= LONGEST_QUANTITY else math.nan
    elif isinstance(value, numbers.Real) and not isinstance(value, bool):
        number = _as_float(value)
    else:
        raise _wrong_quantity(value, unit, field)
    if not math.isfinite(number):
        raise InputError(f"{field} = {shortened(value)}: must be a finite number; give {UNIT_EXAMPLES.get(unit, unit)}")
    return number


def split_uncertainty(text: str, field: str) -> tuple[str, tuple[float, float] | None]:
    """The quantity alone; and its value and standard uncertainty in SI, None where the text gives no uncertainty.

    The number behind '+-' is the half-width w of a rectangular distribution, u = w / sqrt(3); with '(k=2)' behind it an expanded
    uncertainty, u = w / k.  It has a unit of the same kind, or is a percentage of the value.
    Source: JCGM 100:2008 (GUM), 4.3.7 and 6.2.

    Raises
    ------
    InputError
        Where what stands behind '+-' cannot be read.

    Examples
    --------
    >>> split_uncertainty("120 uF +- 3 % (k=2)", "capacitance")
    ('120 uF', (0.00012, 1.8e-06))
    >>> split_uncertainty("120 uF", "capacitance")
    ('120 uF', None)
    """
    if not any(sign in text for sign in ("+-", "+/-", "±")):
        return text, None
    if len(text) > 2 * LONGEST_QUANTITY:
        raise _wrong_uncertainty(text, field)
    quantity, *widths = _PLUS_MINUS.split(text)
    coverage = _COVERAGE.search(widths[-1])
    width = _NUMBER_AND_UNIT.fullmatch(_COVERAGE.sub("", widths[-1]))
    value = _NUMBER_AND_UNIT.fullmatch(quantity)
    factor = float(coverage[1]) if coverage else math.sqrt(3)
    if value is None or width is None or len(widths) > 1 or not (float(width[1]) > 0 and factor > 0):
        raise _wrong_uncertainty(text, field, "the uncertainty is negative" if width and float(width[1]) < 0
                                 else "the coverage factor is not above 0" if not factor > 0 else "")
    if not value[2] and width[2] not in ("", "%"):                     # '15.6 +- 0.02 mm'
        quantity, value = f"{value[1]} {width[2]}", _NUMBER_AND_UNIT.fullmatch(f"{value[1]} {width[2]}")
    found = _value_and_half_width(float(value[1]), value[2], float(width[1]), width[2])
    if found is None or not all(map(math.isfinite, found)):
        raise _wrong_uncertainty(text, field, "" if width[2] else "the uncertainty has no unit")
    return quantity.strip(), (float(f"{found[0]:.15g}"), float(f"{found[1] / factor:.15g}"))


def _value_and_half_width(value: float, unit: str, width: float, width_unit: str) -> tuple[float, float] | None:
    """Both in SI base units; None where the two units do not go together, or a percentage has no meaning."""
    if _EXPONENT_OF_MORE_DIGITS.search(unit) or _EXPONENT_OF_MORE_DIGITS.search(width_unit):
        return None
    registry = _unit_registry()
    try:
        scale = registry.parse_units(unit)
        zero, one, quantity = (registry.Quantity(number, scale).to_base_units() for number in (0.0, 1.0, value))
        if width_unit == "%":
            relative = unit != "%" and zero.magnitude == 0.0           # of a percentage or of degrees Celsius it is ambiguous
            return (quantity.magnitude, abs(quantity.magnitude) * width / 100) if relative else None
        steps = [registry.Quantity(number, registry.parse_units(width_unit)).to_base_units() for number in (0.0, width)]
    except Exception:                    # as in `_unit_conversion`
        return None
    return (quantity.magnitude, steps[1].magnitude - steps[0].magnitude) if steps[1].units == one.units else None


def coverage_factor(text: str) -> float | None:
    """The k behind an expanded uncertainty, None where the text gives none: then its distribution is rectangular.

    >>> coverage_factor("120 uF +- 3 % (k=2)"), coverage_factor("120 uF +- 3 %")
    (2.0, None)
    """
    found = _COVERAGE.search(text)
    return float(found[1]) if found else None


def _wrong_uncertainty(text: str, field: str, reason: str = "") -> InputError:
    wrong = f"{field} = {shortened(text)}{f' ({reason})' if reason else ''}"
    return InputError(f"{wrong}: behind '+-' comes a half-width above 0 with a unit of the same kind, or a percentage of the value (of a "
                      "percentage or of degrees Celsius neither), and '(k=2)' where it is an expanded uncertainty; such as "
                      "'120 uF +- 3 %' or '15.6 mm +- 0.02 mm (k=2)'")


def wire_gauge_diameter(gauge: str) -> float:
    """Diameter in metres of bare wire of an American wire gauge: 0.127 mm 92^((36 - n) / 39), n = 0 for 0, -1 for 2/0 or 00, and so on.

    Source: ASTM B258.

    >>> f"{1e3 * wire_gauge_diameter('12'):.3f} mm, {1e3 * wire_gauge_diameter('4/0'):.2f} mm"
    '2.053 mm, 11.68 mm'
    """
    zeros = int(gauge[0]) if "/" in gauge else len(gauge) if not gauge.strip("0") else None
    number = int(gauge) if zeros is None else 1 - zeros
    return float(f"{0.127e-3 * 92 ** ((36 - number) / 39):.6g}")


def shortened(value: object) -> str:
    """A value as a message shows it, of a long one the start.

    >>> shortened("12 mm"), shortened("x" * 1000)[-30:]
    ("'12 mm'", 'xxxxxxxxx... (1002 characters)')
    """
    try:
        text = repr(value)
    except ValueError:                   # an int of more digits than Python prints
        return "a number of too many digits"
    return text if len(text) <= 2 * LONGEST_QUANTITY else f"{text[:LONGEST_QUANTITY]}... ({len(text)} characters)"


def starts_with_number(text: str) -> bool:
    """Whether a text is a number with something behind it, as '15.6 mm'."""
    match = _NUMBER_AND_UNIT.fullmatch(text[:LONGEST_QUANTITY])
    return bool(match and match[2])


def _as_float(value: numbers.Real) -> float:
    try:
        return float(value)
    except OverflowError:                # an int too large for a float
        return math.inf


@functools.lru_cache(maxsize=4096)       # a sweep reads the same texts thousands of times
def _parse_text(text: str, unit: str, field: str) -> float:
    if unit == "m" and (gauge := _WIRE_GAUGE.fullmatch(text)):
        return wire_gauge_diameter(gauge["gauge"])
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if not match:
        raise _wrong_quantity(text, unit, field)
    number, unit_text = match.groups()
    if _EXPONENT_OF_MORE_DIGITS.search(unit_text):      # which a unit has none of, and a foreign parser would compute for hours
        raise _wrong_quantity(text, unit, field)
    if not unit_text and not unit:
        return float(number)
    convert = _unit_conversion(unit_text, unit)
    if convert is None:
        raise _wrong_quantity(text, unit, field)
    return convert(float(number))


@functools.cache
def _unit_registry():
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def _unit_conversion(unit_text: str, unit: str):
    """Function from a number in `unit_text` to one in `unit`; None where the two are not of one kind."""
    registry = _unit_registry()
    try:
        source, target = registry.parse_units(unit_text), registry.parse_units(unit)
        # base units, not dimensions: so that rad/s is not taken for hertz
        same_kind = registry.get_base_units(source)[1] == registry.get_base_units(target)[1]
    except Exception:                    # whatever a foreign parser raises means that it cannot read the text
        return None
    if not same_kind:
        return None
    # 15 digits, so that '350 nH' is the same float as 350e-9
    return lambda number: float(f"{registry.Quantity(number, source).to(target).magnitude:.15g}")


def _wrong_quantity(value, unit: str, field: str) -> InputError:
    return InputError(f"{field} = {shortened(value)}: expected {UNIT_EXAMPLES.get(unit, f'a number in {unit}')}")


def display(value: float | None, unit: str, digits: int = 3) -> str:
    """`value` (SI) with `digits` digits and an engineering prefix, for printing; '-' for None.

    Kelvin, pure numbers and compound units get no prefix.

    >>> display(6.27e-6, "H"), display(3.1e-3, "T"), display(0.0, "A"), display(1356.7, "K")
    ('6.27 uH', '3.1 mT', '0 A', '1360 K')
    """
    if value is None:
        return "-"
    rounded = float(f"{value:.{digits}g}")
    if not math.isfinite(rounded) or not unit.isalpha() or unit == "K":
        return f"{rounded:.{max(digits, 6)}g} {unit}".strip()
    power = 3 * math.floor(math.log10(abs(rounded)) / 3 + 1e-12) if rounded else 0
    power = min(max(power, min(PREFIXES)), max(PREFIXES))
    return f"{rounded / 10.0**power:.{max(digits, 3)}g} {PREFIXES[power]}{unit}"
