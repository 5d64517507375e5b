"""Estimates with their errors, as facts for JSON and as text for a screen."""
from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from fieldsolve.errors import InputError
from fieldsolve.estimate import ComplexEstimate, Estimate
from fieldsolve.units import display

NO_LENGTH = 1e-9        # metres: what is nearer to zero is zero

if TYPE_CHECKING:
    from fieldsolve.field.harmonic.field import HarmonicField
    from fieldsolve.field.static.field import StaticField


def facts_with_error(name: str, estimate: Estimate | ComplexEstimate | None, unit: str) -> dict[str, Any]:
    """An estimate and its error under keys that end in the unit; both None where there is no estimate."""
    if estimate is None:
        return {f"{name}_{unit}": None, f"{name}_error_{unit}": None}
    value = phasor(estimate) if isinstance(estimate, complex) else float(estimate)
    return {f"{name}_{unit}": value, f"{name}_error_{unit}": finite_or_none(estimate.error)}


def finite_or_none(error: float) -> float | None:
    """An error bound for JSON: None where none is known."""
    return float(error) if math.isfinite(error) else None


def phasor(value: complex) -> dict[str, float]:
    """A phasor (peak value, exp(+j omega t)) as its real and imaginary part."""
    return {"re": float(value.real), "im": float(value.imag)}


def value_or_none(method: Callable[..., Any], *arguments: Any, **keywords: Any) -> Any:
    """What a method of a result returns, or None where it is not defined, as the resistance of a line current is not."""
    try:
        return method(*arguments, **keywords)
    except InputError:
        return None


def bore_peaks(field: StaticField | HarmonicField, regions: Iterable[str]) -> tuple[dict[str, Any], dict[str, str]]:
    """The largest field of each region that has one, and why the others have none, in words."""
    peaks, reasons = {}, {}
    for region in regions:
        try:
            peaks[region] = field.peak_field(region)
        except InputError as reason:
            reasons[region] = str(reason)
    return peaks, reasons


def as_count(turns: float) -> float | int:
    """A number of turns, as an int where it is one."""
    return int(turns) if float(turns).is_integer() else float(turns)


def estimate_text(facts: dict, name: str, unit: str, none: str = "-") -> str:
    """A value and its error bound, if one is known; zero where the value is within it, `none` where there is no value."""
    value, error = facts[f"{name}_{unit}"], facts[f"{name}_error_{unit}"]
    if value is None:
        return none
    if error is None:
        return phasor_text(value, unit) if isinstance(value, dict) else display(value, unit, 5)
    shown = phasor_text(value, unit, error) if isinstance(value, dict) else display(value if abs(value) > error else 0.0, unit, 5)
    return f"{shown} (error {display(error, unit, 1)})"


def phasor_text(value: dict[str, float], unit: str, error: float = 0.0) -> str:
    """Magnitude and phase of a phasor in facts."""
    number = complex(value["re"], value["im"])
    if abs(number) <= error:
        return f"0 {unit}"
    return f"{display(abs(number), unit, 5)} at {round(math.degrees(cmath.phase(number)), 2):g} deg"


def place_text(r: float, z: float) -> str:
    """A place in millimetres, without what rounding left of a zero."""
    r, z = (0.0 if abs(x) < NO_LENGTH else x for x in (r, z))
    return f"r = {1e3 * r:.4g} mm, z = {1e3 * z:.4g} mm"


def peak_rows(facts: dict) -> list[tuple[str, str]]:
    """Label and text of the largest field of each bore, or why there is none."""
    found = [(f"peak field, {region}", f"{estimate_text(peak, 'peak', 'T')} at {place_text(peak['peak_r_m'], peak['peak_z_m'])}")
             for region, peak in facts["bores"].items()]
    return found + [(f"peak field, {region}", f"none: {why}") for region, why in facts["bores_without_peak"].items()]


def coil_text(coil: dict) -> str:
    """Shape and turns of a coil in facts."""
    return f"{coil['shape']}, {coil['turns']:g} turn{'' if coil['turns'] == 1 else 's'}"


def accuracy_text(facts: dict) -> str:
    """The requested accuracy, and whether it was reached."""
    return f"{facts['accuracy']:g} {'reached' if facts['accuracy_reached'] else 'NOT reached: best result shown'}"
