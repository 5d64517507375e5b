"""The key quantities of the sheet: what matters of the coil and of the first body, by its shape, each with its place in the JSON."""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fieldsolve.propagation.text import range_text
from fieldsolve.shot.display.summary_rows import kelvin_and_celsius, pushed_along_axis
from fieldsolve.shot.result.dimensions import has_dimensions
from fieldsolve.units import display

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Bands
    from fieldsolve.shot.result.shot import Shot

Path = tuple[str, ...]
BANDED = {"current_peak_A": "peak current of {}", "current_peak_time_s": "time of peak current of {}", "peak_T": "peak field in {}",
          "radius_ratio": "radius ratio of {}", "radial_force_peak_N": "peak radial force on {}", "temperature_max_K":
          "peak temperature of {}", "burst_time_s": "burst time of {}"}          # names of bands by the ends of paths
CALLIPER = {"diameter_at_corners_end_m": "diameter over the corners", "diameter_at_middle_end_m": "at the rim's middle",
            "largest_thickness_end_m": "largest thickness", "largest_thickness_radius_end_m": "at radius",
            "rim_thickness_end_m": "over the rim's tenth", "mid_radius_thickness_end_m": "at half radius",
            "axis_thickness_end_m": "at the axis"}
CALLIPER_DIGITS = 4
ACCURATE = ("current_peak_A", "peak_T", "radius_ratio")         # ends of the paths that the requested accuracy bounds
UNBOUNDED = ("energy_residual",)                                # and of what has no bound, for it is itself an error


@dataclass(frozen=True)
class KeyQuantity:
    """One row: what it is, the pointer (RFC 6901) to it in the JSON, its value there; value, error and 95 % band as text."""

    label: str
    pointer: str
    value: Any
    text: str
    error: str
    band: str = ""


def key_quantities(shot: Shot, facts: dict[str, Any], bands: Bands | None = None) -> list[KeyQuantity]:
    """The rows of a shot from its `facts`, as in --json, with their bands; what the facts do not hold is left out."""
    rows = [*_coil_rows(shot), *_body_rows(shot), ("energy not explained", ("energy_residual",), "%")]
    found = []
    for label, path, unit in rows:
        value = _at(facts, path)
        if value is not None or path[-1] == "burst_time_s":
            found.append(KeyQuantity(label, _pointer(path), value, _text(value, unit), _error(facts, path, unit),
                                     _band(bands, path)))
    return found


def calliper_quantities(shot: Shot, facts: dict[str, Any]) -> tuple[str, list[KeyQuantity]]:
    """The first flat body that moved, and what a calliper measures on it at the end; '' and nothing where there is none."""
    body = next((name for name in shot.bodies if has_dimensions(shot, name)), "")
    found = []
    for key, label in CALLIPER.items() if body else ():
        path = ("bodies", body, key)
        if (value := _at(facts, path)) is not None:
            found.append(KeyQuantity(label, _pointer(path), value, display(value, "m", CALLIPER_DIGITS), _error(facts, path, "m")))
    return body, found


def band_note(bands: Bands | None) -> str:
    """What a reader must know of the bands, empty where there are none."""
    if bands is None:
        return ""
    held = ", varied with the metal held still" if bands.held else ""
    return f"Bands: 95 %, from the uncertainties of the case's inputs{held}; {bands.draws} draws, {bands.shots} full shots."


def _band(bands: Bands | None, path: Path) -> str:
    """The 95 % band of a quantity as text, '-' where there are bands but none of it, empty without bands."""
    if bands is None:
        return ""
    name = next((words.format(path[1]) for end, words in BANDED.items() if path[-1] == end and len(path) > 2), "")
    row = next((row for row in bands.rows if row.name == name), None)
    return "-" if row is None else range_text(row)


def _coil_rows(shot: Shot) -> Iterator[tuple[str, Path, str]]:
    for coil in shot.coils[:1]:
        yield f"peak current of {coil}", ("coils", coil, "current_peak_A"), "A"
        yield "its time", ("coils", coil, "current_peak_time_s"), "s"
        yield f"first burst of {coil}", ("coils", coil, "burst_time_s"), "s"
    bores = [place for quantity, place in shot.history.values if quantity == "field" and place.split(" of ")[0] == "bore"]
    for place in bores[:1]:
        yield f"peak field in the {place}", ("fields", place, "peak_T"), "T"


def _body_rows(shot: Shot) -> Iterator[tuple[str, Path, str]]:
    for body in shot.bodies[:1]:
        for label, key, unit in (*_shape_rows(shot, body), *_force_rows(shot, body), ("net current of {}, peak", "current_peak_A", "A"),
                                 ("hottest of {}", "temperature_max_K", "K")):
            yield label.format(body), ("bodies", body, key), unit


def _shape_rows(shot: Shot, body: str) -> list[tuple[str, str, str]]:
    known = {quantity for quantity, place in shot.history.values if place == body}
    if "waist_thickness" in known:
        return [("waist of {}, inner radius, end", "waist_inner_radius_end_m", "m"),
                ("its wall there, end", "waist_thickness_end_m", "m")]
    if "outer_radius" not in known:
        return []
    if "crown_height" in known and pushed_along_axis(shot, body):
        return [("crown of {}, end", "crown_height_end_m", "m"), ("its speed, largest", "crown_speed_peak_m_per_s", "m/s")]
    return [("radius of {}, end over start", "radius_ratio", "")]


def _force_rows(shot: Shot, body: str) -> list[tuple[str, str, str]]:
    direction = "axial" if pushed_along_axis(shot, body) else "radial"
    rim = [] if direction == "axial" else [("voltage round its rim", "loop_voltage_peak_V", "V")]
    return [(f"{direction} force on {{}}, peak", f"{direction}_force_peak_N", "N"), ("its impulse", f"{direction}_impulse_Ns", "N s"), *rim]


def _at(facts: dict[str, Any] | None, path: Path) -> Any:
    for step in path:
        if not isinstance(facts, dict) or step not in facts:
            return None
        facts = facts[step]
    return float(facts) if isinstance(facts, float) else facts                 # of an estimate its value, as JSON holds it


def _pointer(path: Path) -> str:
    return "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in path)


def _text(value: Any, unit: str) -> str:
    if value is None:
        return "none"
    if unit == "%":
        return f"{100 * value:.2g} %"
    return kelvin_and_celsius(value) if unit == "K" else display(value, unit)


def _error(facts: dict[str, Any], path: Path, unit: str) -> str:
    if path[-1] in UNBOUNDED:
        return "-"
    if facts.get("errors") is None:
        return f"{100 * facts['accuracy']:.2g} % requested" if path[-1] in ACCURATE else "with --errors"
    error = _at(facts["errors"], path)
    return "-" if error is None else display(error, unit, 2)
