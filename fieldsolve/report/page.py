"""The sheet that goes to the bench: one page of HTML by itself, which prints on two sheets of A4."""
from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Callable, Iterable
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Any

from fieldsolve.errors import InputError
from fieldsolve.report.map import plot_field
from fieldsolve.report.motion_figures import has_maps, moved_parts, plot_metal, plot_sections, plot_shape
from fieldsolve.report.page_plots import LETTERS, small_plots
from fieldsolve.report.styles import own_axes
from fieldsolve.report.whole_file import write_whole
from fieldsolve.rig.card import CAUTIONS, Card
from fieldsolve.rig.check import NOT_ASSESSED, OUTSIDE, Check
from fieldsolve.rig.source import MARKS
from fieldsolve.shot.summary import CAUTION, limits_of, rows_of
from fieldsolve.units import display

DPI, SCREEN_DPI = 180, 90      # of what is printed, and of what is shown on a screen only
PLAIN = {"text.parse_math": False}                       # names are no formulas
MM = 1e3
DIVISIONS = 3.5         # of a screen that a peak may fill
ACROSS = 10             # divisions of the time axis
PACKAGES = ("fieldsolve", "numpy", "scipy", "scikit-fem", "gmsh")
KEYS = (                # of the facts: what it is called, key, unit
    ("coil's peak current", "coil_peak_A", "A"), ("its time", "coil_peak_time_s", "s"), ("disc's peak current", "disc_peak_A", "A"),
    ("voltage round the rim", "loop_voltage_peak_V", "V"), ("disc's peak power", "disc_power_peak_W", "W"),
    ("peak field in the bore", "field_peak_T", "T"), ("outer radius, end over start", "radius_ratio", ""),
    ("rim thickness, end over start", "rim_thickness_ratio", ""), ("hottest of the disc", "temperature_max_K", "K"),
    ("first burst of the coil", "coil_burst_time_s", "s"), ("energy not explained, share", "energy_residual", ""),
)
STEERED = ("coil_peak_A", "disc_peak_A", "field_peak_T", "radius_ratio")     # what the accuracy asked for is of
CHECKLIST = {           # common practice, no source
    "before": (
        "inductance of coil with disc, and alone, within 10 % of the bench check",
        "bleeder timed from a low charge; dump and shorting stick tried; meter proven",
        "gap set for today's air; electrodes looked at",
        "coil, disc and leads where the drawing has them; lid shut, bolts torqued",
        "zone clear, two persons, hearing and eyes protected, no implants",
        "scope armed, single shot, scales as here, a test pulse seen",
        "prediction filed before the shot"),
    "during": (
        "slope of the charge watched; stop on sag, corona or a pre-fire",
        "charger off the bank before the trigger",
        "voltage at the trigger written down",
        "misfire: nobody comes near; dump, wait five time constants, short, prove dead"),
    "after": (
        "dump, wait, prove dead, short and leave the stick on",
        "ventilate; disc with tongs, it is hot",
        "diameter at four angles, thickness at centre, half-way and rim, mass",
        "fragments collected and weighed, dents marked",
        "record laid over the prediction, residuals noted"),
}


def write_page(path: str | Path, shot, facts: dict[str, Any], case: Path, card: Card | None) -> None:
    """Write the page of a shot, whole or not at all.

    facts  of the shot, as in --json;  case  its file;  card  of its rig, None where there is none
    """
    text = page_of(shot, facts, case, card)
    write_whole(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def page_of(shot, facts: dict[str, Any], case: Path, card: Card | None) -> str:
    """The page as HTML; every text from outside is escaped."""
    return rendered(
        "page.html.j2", case, name=case.name, title=_title(shot), caution=CAUTION, limits=limits_of(shot), cautions=_cautions(shot, card),
        rig=_image(lambda: plot_rig(shot), PLAIN),
        figures=[(label, key, facts[key], display(facts[key], unit) if facts[key] is not None else "none", _error(facts, key, unit))
                 for label, key, unit in KEYS if key in facts],
        rows=rows_of(shot), card=card and _card(card),
        plots=[(label, _image(draw, LETTERS)) for label, draw in small_plots(shot)],
        more=[(label, _image(draw, letters, SCREEN_DPI)) for label, draw, letters in _more(shot)],
        scales=_scales(shot, card), checklist=CHECKLIST)


def write_field_page(path: str | Path, title: str, screen: str, draw: Callable, case: Path) -> None:
    """Write the page of a field, whole or not at all: its figures as on the `screen`, and what `draw` returns the axes of."""
    text = rendered("field_page.html.j2", case, title=title, screen=screen, figure=_image(draw, {}), caution=CAUTION)
    write_whole(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def rendered(template: str, case: Path, **values: Any) -> str:
    """A template of this package with the values, the case file, its hash and the versions in it."""
    import jinja2
    from markupsafe import Markup

    here, source = files("fieldsolve.report"), case.read_bytes()
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    style = Markup(here.joinpath("page.css").read_text(encoding="utf-8"))
    versions = ", ".join(f"{package} {_version(package)}" for package in PACKAGES)
    foot = f"Case {case.name}, SHA-256 {hashlib.sha256(source).hexdigest()}; {versions}."
    return environment.from_string(here.joinpath(template).read_text(encoding="utf-8")).render(
        style=style, foot=foot, source=source.decode("utf-8", errors="replace"), **values)


def plot_rig(shot):
    """The section at rest to scale, millimetres; returns the axes."""
    ax = own_axes(4.2, 3.4)
    for part in shot.section.parts:
        for zone in part.zones:
            r, z = MM * zone.outline.polygon(48).T
            ax.fill(r, z, facecolor="0.88" if part.is_coil else "0.65", edgecolor="black", linewidth=0.8)
        low_r, high_r, _, high_z = (MM * bound for bound in part.bounds)
        ax.annotate(part.name[:24], (high_r if part.is_coil else 0.5 * (low_r + high_r), high_z), xytext=(3, 4),
                    textcoords="offset points", fontsize="small", ha="left" if part.is_coil else "center")
    ax.axvline(0.0, color="black", linewidth=0.9, linestyle=(0, (9, 3, 2, 3)))
    ax.set(xlabel="r [mm]", ylabel="z [mm]", aspect="equal")
    ax.margins(0.12)
    ax.set_xlim(left=0)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def _title(shot) -> str:
    how = "metal held still" if shot.held else "metal moving"
    early = "; INTERRUPTED before its end" if shot.interrupted else f"; ended early: {shot.ended}" if shot.ended else ""
    return f"Shot to {1e6 * shot.times[-1]:.3g} µs, {how}{early}"


def _cautions(shot, card: Card | None) -> list[str]:
    live = [f"The bank is LIVE at the end of the record: {place} at {display(volts.value, 'V')}. Dump, wait, prove dead, short."
            for place, volts in shot.residual_voltages.items() if abs(volts.value) > 1]
    burst = [f"{name} bursts from {display(shot.burst_time(name).value, 's')} on; what follows is beyond the model. Treat the bank as "
             "charged." for name in shot.coils if shot.burst_time(name)]
    stopped = [f"The card: {card.verdict}."] if card and card.stopped else []
    return [*stopped, *burst, *live, *CAUTIONS[:3]]


def _error(facts: dict, key: str, unit: str) -> str:
    if "errors" not in facts:
        return f"{100 * facts['accuracy']:.2g} % asked" if key in STEERED else "with --errors"
    error = facts["errors"].get(key)
    return "-" if error is None else display(error, unit, 2)


def _more(shot) -> Iterable[tuple[str, Callable, dict[str, Any]]]:
    """What is shown on a screen only: title, what draws it, its letters."""
    if moved_parts(shot):
        yield "section before, during and after", lambda: plot_sections(shot), PLAIN
        yield "radii, thicknesses, speeds", lambda: plot_shape(shot), PLAIN
    if has_maps(shot):
        yield "the metal in the end", lambda: plot_metal(shot), PLAIN
    at_peak = shot.field_at(min(shot.history.peak("current", shot.coils[0])[1], shot.times[-1]))
    yield "field at the current's peak", lambda: plot_field(at_peak), {}


def _image(draw: Callable, letters: dict[str, Any], dpi: int = DPI) -> str:
    """A drawing as data, with its letters as they are asked for."""
    import matplotlib as mpl

    buffer = io.BytesIO()
    with mpl.rc_context(letters):
        axes = draw()
        (axes if hasattr(axes, "figure") else axes[0]).figure.savefig(buffer, format="png", dpi=dpi)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()


def _card(card: Card) -> dict[str, Any]:
    """The card in short: the verdict, what is outside, hard stops within, warnings outside, and what was not assessed."""
    outside = [check for check in card.checks if check.verdict == OUTSIDE]
    within = [check for check in card.checks if check.hard and check.verdict not in (OUTSIDE, NOT_ASSESSED)]
    return {"verdict": card.verdict, "rows": [_row(check) for check in outside + within],
            "missing": [check.quantity for check in card.checks if check.verdict == NOT_ASSESSED]}


def _row(check: Check) -> dict[str, str]:
    kind = "hard stop" if check.hard else "warning"
    return {"verdict": "OUTSIDE" if check.verdict == OUTSIDE else "within", "kind": kind, "quantity": check.quantity,
            "value": _amount(check.value, check.unit), "limit": f"{check.sense} {_amount(check.limit, check.unit)}",
            "mark": f"{MARKS[check.mark]}; limit {MARKS[check.limit_mark]}"}


def _amount(value: float | bool | None, unit: str) -> str:
    if value is None or isinstance(value, bool):
        return {True: "yes", False: "no", None: "-"}[value]
    return f"{value:.3g} dB" if unit == "dB" else display(value, unit)


def _scales(shot, card: Card | None) -> list[tuple[str, str, str]]:
    """Channel, predicted peak, scale a division, on a screen of eight by ten divisions."""
    rows = [("time", display(float(shot.times[-1]), "s"), f"{display(_one_two_five(shot.times[-1] / ACROSS), 's')} a division")]
    for name in shot.coils[:1]:
        peak = abs(float(shot.history.peak("current", name)[0]))
        rows.append((f"current of {name}", display(peak, "A"), f"{display(_one_two_five(peak / DIVISIONS), 'A')} a division"))
    for place in shot.bank_places:
        peak = abs(float(shot.history.peak("voltage", place)[0]))
        rows.append((f"voltage of {place}", display(peak, "V"), f"{display(_one_two_five(peak / DIVISIONS), 'V')} a division"))
    for figure in card.figures if card else ():
        if figure.unit == "V" and figure.value and any(word in figure.name for word in ("rogowski", "shunt", "loop", "divider")):
            scale = _one_two_five(abs(figure.value) / DIVISIONS)
            rows.append((figure.label, display(figure.value, "V"), f"{display(scale, 'V')} a division"))
    return rows


def _one_two_five(least: float) -> float:
    """The next of 1, 2, 5, 10, ... that is not less.

    >>> [_one_two_five(x) for x in (0.9, 1.1, 2.2, 6.0)]
    [1.0, 2.0, 5.0, 10.0]
    """
    if not least > 0:
        raise InputError(f"scale = {least!r}: expected a number larger than 0")
    decade = 10.0 ** (len(f"{int(least)}") - 1 if least >= 1 else -next(k for k in range(1, 40) if least * 10.0**k >= 1))
    return next(step * decade for step in (1.0, 2.0, 5.0, 10.0) if step * decade >= least * (1 - 1e-12))


def _version(package: str) -> str:
    from importlib.metadata import PackageNotFoundError

    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
