"""The sheet that goes to the bench: one page of HTML by itself, which prints on two sheets of A4."""
from __future__ import annotations

import base64
import hashlib
import io
import json
from collections.abc import Callable, Iterable, Sequence
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldsolve.caution import CAUTION
from fieldsolve.files import write_atomically
from fieldsolve.files.provenance import WRITTEN_BY
from fieldsolve.report.blank.drawing import plot_dimensions
from fieldsolve.report.plots.flux_map import plot_field
from fieldsolve.report.plots.motion import has_maps, moved_parts, plot_metal, plot_sections, plot_shape
from fieldsolve.report.plots.propagation.indices import plot_indices
from fieldsolve.report.plots.propagation.traces import plot_bands
from fieldsolve.report.plots.styles import figures_for_files
from fieldsolve.report.plots.time_axes import describe_run
from fieldsolve.report.sheet.bench_record import blanks, measures
from fieldsolve.report.sheet.key_quantities import band_note, calliper_quantities, key_quantities
from fieldsolve.report.sheet.rig_drawing import plot_rig
from fieldsolve.report.sheet.scope import ScopeChannel, describe_missing_signals, plot_scope
from fieldsolve.report.sheet.small_plots import LETTERING, small_plots
from fieldsolve.rig.card import CAUTIONS, Card
from fieldsolve.rig.checks.rule import NOT_ASSESSED, OUTSIDE, Check
from fieldsolve.rig.source import MARKS
from fieldsolve.screen import unbroken_numbers
from fieldsolve.shot.display.summary import describe_burst, describe_limits, describe_live_bank, summary_rows, summary_title
from fieldsolve.shot.result.dimensions import has_dimensions
from fieldsolve.shot.result.stored_field import field_between
from fieldsolve.units import display
from fieldsolve.version import VERSION

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fieldsolve.cases.case_file import Case
    from fieldsolve.propagation.result import Bands
    from fieldsolve.report.animation.slider import SliderPicture
    from fieldsolve.shot.problem import CaseText
    from fieldsolve.shot.result.shot import Shot

DPI, SCREEN_DPI = 180, 90      # of what is printed, and of what is shown on a screen only
DIVISIONS = 5                  # between the numbers of an axis, at most
COMPRESSION = 3                # of a picture's file: as small as by more, in half the time
WHITE, WHITE_ROWS = 0xFFFFFFFF, 6     # of a picture's four bytes, and how many of them stay above and below what is drawn
UNHINTED = {"text.hinting": "none"}     # letters not fitted to the screen's dots, which takes 6 % of the pictures' time
LITERAL_TEXT = {"text.parse_math": False}                       # names are no formulas
STYLES = ("page.css", "comparison.css")
PACKAGES = ("numpy", "scipy", "scikit-fem", "gmsh")
CHECKLIST = {           # common practice, no source
    "before": (
        "inductance of coil with disc, and alone, within 10 % of the bridge check",
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


def write_page(path: str | Path, shot: Shot, facts: dict[str, Any], case: CaseText, card: Card | None,
               channels: list[ScopeChannel], slider: Sequence[SliderPicture] = (), bands: Bands | None = None) -> None:
    """Write the page of a shot; a file that cannot be completed is not left there.

    facts  of the shot, as in --json;  case  name and text of its file;  card  of its rig, None where there is none
    channels  of the scope;  slider  the pictures of a slider over time, none for no slider
    bands  from the uncertainties of the case, None where it gives none
    Each number stands beside the pointer (RFC 6901) to where it is in that JSON.
    """
    text = page_html(shot, facts, case, card, channels, slider, bands)
    write_atomically(path, lambda partial: partial.write_text(text, encoding="utf-8"))


def page_html(shot: Shot, facts: dict[str, Any], case: CaseText, card: Card | None, channels: list[ScopeChannel],
              slider: Sequence[SliderPicture] = (), bands: Bands | None = None) -> str:
    """The page as HTML; every text from outside is escaped."""
    return render(
        "page.html.j2",
        case,
        name=case.name,
        title=summary_title(shot),
        caution=CAUTION,
        limits=describe_limits(shot),
        cautions=[unbroken_numbers(caution) for caution in _cautions(shot, card)],
        rig=image_data(lambda: plot_rig(shot), LETTERING),
        run=describe_run(shot),
        key_quantities=key_quantities(shot, facts, bands),
        band_note=band_note(bands),
        calliper=calliper_quantities(shot, facts),
        blanks=[(label, unbroken_numbers(hint)) for label, hint in (*blanks(shot), *measures(shot))],
        rows=[(unbroken_numbers(label), unbroken_numbers(text)) for label, text in summary_rows(shot)],
        card=card and _card_context(card),
        plots=[(label, image_data(draw, LETTERING)) for label, draw in small_plots(shot, bands)],
        screen_plots=[(label, image_data(draw, lettering, SCREEN_DPI)) for label, draw, lettering in _screen_plots(shot, bands)],
        channels=[
            (f"/scope/{k}", channel, display(channel.peak, channel.unit), f"{display(channel.scale, channel.unit)} a division")
            for k, channel in enumerate(channels)
        ],
        scope_note=describe_missing_signals(channels),
        scope=image_data(lambda: plot_scope(shot, channels), LETTERING),
        checklist=CHECKLIST,
        slider=slider,
        **_slider_context(slider),
    )


def _slider_context(slider: Sequence[SliderPicture]) -> dict[str, Any]:
    """The slider's pictures as data, its script, and the script's hash, by which alone the page lets it run (CSP level 2)."""
    from markupsafe import Markup

    if not slider:
        return {}
    script = files("fieldsolve.report.sheet").joinpath("slider.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode()
    data = json.dumps([{"words": picture.words, "image": picture.image} for picture in slider]).replace("<", "\\u003c")
    marked = (Markup(text) for text in (data, script))              # noqa: S704 - our own script; of the data every < is escaped
    return dict(zip(("slider_data", "script"), marked, strict=True)) | {"script_hash": f"sha256-{digest}"}


def render(template: str, case: CaseText | Case, **values: Any) -> str:
    """A template of this package with the values, the case file, its hash and the versions in it."""
    import jinja2
    from markupsafe import Markup

    here, source = files("fieldsolve.report.sheet"), case.text.encode("utf-8")
    loader = jinja2.FunctionLoader(lambda name: here.joinpath(name).read_text(encoding="utf-8"))
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    style = Markup("".join(here.joinpath(name).read_text(encoding="utf-8") for name in STYLES))      # noqa: S704  our own files
    versions = ", ".join([f"fieldsolve {VERSION}", *(f"{package} {_version(package)}" for package in PACKAGES)])
    case_file = f"Case {case.name}, SHA-256 {hashlib.sha256(source).hexdigest()}" if source else "No case file"
    foot = f"{case_file}; {versions}."
    return environment.get_template(template).render(
        style=style, foot=foot, source=case.text, generator=WRITTEN_BY, **values)


def _cautions(shot: Shot, card: Card | None) -> list[str]:
    stopped = [f"The card: {card.verdict}."] if card and card.stopped else []
    ended = [f"The run ended early: {shot.stop_reason}."] if shot.stop_reason else []
    bursts = [describe_burst(shot, name) for name in shot.coils if shot.burst(name)]
    beyond = (
        []
        if shot.validity_end is None
        else [
            f"Beyond the model from {1e6 * shot.validity_end:.1f} us on, for {shot.validity_reason}: "
            "peaks and other results from then on predict nothing."
        ]
    )
    live = [f"{text[0].upper()}{text[1:]} ({describe_run(shot)})." for text in (describe_live_bank(shot),) if text]
    return [*stopped, *ended, *beyond, *bursts, *live, *CAUTIONS[:3]]


def _screen_plots(shot: Shot, bands: Bands | None) -> Iterable[tuple[str, Callable, dict[str, Any]]]:
    """What is shown on a screen only: title, what draws it, its letters."""
    if moved_parts(shot):
        yield "Section before, during and after", lambda: plot_sections(shot), LITERAL_TEXT
    if any(has_dimensions(shot, name) for name in shot.bodies):
        yield "What a calliper measures, mm", lambda: plot_dimensions(shot), LITERAL_TEXT
    if moved_parts(shot):
        yield "Radii, thicknesses, speeds", lambda: plot_shape(shot), LITERAL_TEXT
    if has_maps(shot):
        yield "The metal in the end", lambda: plot_metal(shot), LITERAL_TEXT
    if bands is not None:
        yield "Traces with their 95 % bands", lambda: plot_bands(bands).ravel(), LITERAL_TEXT
        yield "What matters: shares of the variance", lambda: plot_indices(bands).ravel(), LITERAL_TEXT
    at_peak = field_between(shot, min(shot.history.peak("current", shot.coils[0])[1], shot.times[-1]))
    yield "Field at the current's peak", lambda: plot_field(at_peak), {}


def image_data(draw: Callable, lettering: dict[str, Any], dpi: int = DPI) -> str:
    """A drawing as data, with the rc parameters `lettering`."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    buffer = io.BytesIO()
    with mpl.rc_context(UNHINTED | lettering), figures_for_files():
        axes = draw()
        figure = (axes if hasattr(axes, "figure") else axes[0]).figure.figure      # the one that sub-figures stand in
        _thin_out_ticks(figure)
        figure.set_dpi(dpi)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()                                           # `savefig` lays everything out twice
        picture = _without_colour_if_grey(_trimmed(np.asarray(canvas.buffer_rgba())))
        Image.fromarray(picture).save(buffer, format="PNG", compress_level=COMPRESSION)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()


def _thin_out_ticks(figure: Figure) -> None:
    """At most DIVISIONS on each axis that chooses its own numbers: the page's pictures are small, and each tick takes its time."""
    from matplotlib.ticker import AutoLocator

    for axes in figure.axes:
        for locator in (axes.xaxis.get_major_locator(), axes.yaxis.get_major_locator()):
            if isinstance(locator, AutoLocator):
                locator.set_params(nbins=DIVISIONS)


def _trimmed(picture: np.ndarray) -> np.ndarray:
    """A picture (h, w, 4) without the white rows above and below, which those in true proportion have; its width is that of its letters."""
    drawn = np.flatnonzero((picture.view(np.uint32) != WHITE).any(axis=(1, 2)))
    return picture[max(drawn[0] - WHITE_ROWS, 0):drawn[-1] + 1 + WHITE_ROWS]


def _without_colour_if_grey(picture: np.ndarray) -> np.ndarray:
    """A picture (h, w, 4) as grey values (h, w) where it has no colour, else as colours (h, w, 3)."""
    red, green, blue = (picture[:, :, k] for k in range(3))
    return red if np.array_equal(red, green) and np.array_equal(red, blue) else picture[:, :, :3]


def _card_context(card: Card) -> dict[str, Any]:
    """The card in short: the verdict, what is outside, hard stops within, warnings outside, and what was not assessed."""
    numbered = list(enumerate(card.checks))
    outside = [check_row(f"/card/checks/{k}", check) for k, check in numbered if check.verdict == OUTSIDE]
    within = [check_row(f"/card/checks/{k}", check) for k, check in numbered if check.hard and check.verdict not in (OUTSIDE, NOT_ASSESSED)]
    return {"verdict": card.verdict, "rows": outside + within,
            "missing": list(dict.fromkeys(check.quantity for check in card.checks if check.verdict == NOT_ASSESSED))}


def check_row(at: str, check: Check) -> dict[str, Any]:
    """A check as the cells of a row; `at` is its pointer into the JSON."""
    kind = "hard stop" if check.hard else "warning"
    return {"at": at, "check": check,
            "verdict": "OUTSIDE" if check.verdict == OUTSIDE else "within", "kind": kind, "quantity": check.quantity,
            "value": _value_text(check.value, check.unit), "limit": f"{check.sense} {_value_text(check.limit, check.unit)}",
            "mark": f"{MARKS[check.mark]}{f' ({check.run})' if check.run else ''}; limit {MARKS[check.limit_mark]}"}


def _value_text(value: float | bool | None, unit: str) -> str:
    if value is None or isinstance(value, bool):
        return {True: "yes", False: "no", None: "-"}[value]
    return f"{value:.3g} dB" if unit == "dB" else display(value, unit)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
