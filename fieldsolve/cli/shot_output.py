"""What the commands `shot` and `show` have in common: their output options, and a shot shown and written as these say."""
from __future__ import annotations

import argparse
import gc
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.cli.arguments import add_json, number_or_text
from fieldsolve.cli.outputs import print_written
from fieldsolve.cli.process.exit_codes import FAILED, NOT_KEPT, first_of
from fieldsolve.cli.record_options import add_channel, check_record_is_given, read_measured

if TYPE_CHECKING:
    from fieldsolve.propagation.result import Bands
    from fieldsolve.records.record import Channel, Record
    from fieldsolve.rig.rig import Rig
    from fieldsolve.shot.result.shot import Shot

DRAWN = ("figures", "report", "movie")       # outputs that take seconds


def add_outputs(command: argparse.ArgumentParser) -> None:
    """The options that say what is written of a shot."""
    add_json(command)
    command.add_argument("--csv", metavar="FILE.csv", help="write the series, one row an instant; - for the screen")
    command.add_argument("--npz", metavar="FILE", help="write the series as arrays (.npz)")
    command.add_argument("--figures", metavar="DIR", help="draw the figures into a folder (.png)")
    command.add_argument("--report", metavar="FILE.html",
                         help="write the sheet for the bench: one page by itself, two of A4 in print (.html)")
    command.add_argument("--movie", metavar="FILE.gif", help="write the shot in motion (.gif, .mp4 where ffmpeg is installed)")
    command.add_argument("--slider", action="store_true",
                         help="with --report: the shot in motion on the page, under a slider; up to 3 MB more")
    command.add_argument("--movie-shows", metavar="WHAT", default="field", choices=("field", "current", "temperature"),
                         help="what movie and slider colour: field (the default), current or temperature")
    command.add_argument("--frames", metavar="RATE", help="radius of the bodies, at the waist of a tube, and crown of a plate at the "
                         "frames of a camera, such as '1 MHz': ten of them on screen, all in --json and --frames-csv")
    command.add_argument("--frames-csv", metavar="FILE.csv", help="write the frames, one row each; with --frames")
    command.add_argument("--measured", metavar="FILE.csv",
                         help="record of the first coil's current, to compare")
    add_channel(command)


@dataclass(frozen=True)
class OutputInputs:
    """What the outputs need that is read beforehand: a measured record, and frames a second of a camera; None where not given."""

    record: Record | None
    rate: float | None


def read_output_inputs(options: argparse.Namespace, end_time: float) -> OutputInputs:
    """Read before a solve to an end time in seconds what cannot be read after it: InputError."""
    from fieldsolve.errors import InputError

    if options.movie:
        check_movie(options.movie)
    if options.slider and not options.report:
        raise InputError("--slider: it stands on the page; give --report FILE.html too")
    if options.frames_csv and not options.frames:
        raise InputError(f"--frames-csv {options.frames_csv}: give the camera's rate too, such as --frames '1 MHz'")
    check_record_is_given(options, options.measured, "--measured")
    return OutputInputs(_measured_record(options, end_time), _frame_rate(options.frames, end_time))


def check_movie(path: str) -> None:
    """Refuse before a solve a movie that nothing here can write: InputError with the option."""
    from fieldsolve.errors import InputError
    from fieldsolve.report.animation.movie import checked_writer

    try:
        checked_writer(Path(path))
    except InputError as error:
        raise InputError(f"--{error}") from None


def put_out(shot: Shot, name: str, options: argparse.Namespace, inputs: OutputInputs,
            prepare_page: Callable[[], tuple[Shot, Rig, Bands | None]]) -> int:
    """Show a shot and write what the options say; returns the exit code.

    prepare_page  gives the shot with what its card takes beside it, the rig, and the bands where the case gives uncertainties; called
                  where a page is written
    """
    facts = _show(shot, name, inputs)
    left_out = DRAWN if shot.interrupted else ()               # an interrupted command ends soon
    _write_files(shot, facts, options)
    if any(getattr(options, option) for option in DRAWN) and not left_out:
        _draw(shot, facts, options, inputs, prepare_page)
    print_written(options, left_out)
    return first_of([FAILED] * bool(facts["exceeded"] or shot.interrupted) + [NOT_KEPT] * bool(facts["shortfalls"]))


def _draw(shot: Shot, facts: dict[str, Any], options: argparse.Namespace, inputs: OutputInputs,
          prepare_page: Callable[[], tuple[Shot, Rig, Bands | None]]) -> None:
    """Figures, movie and page, with a look at the signals after each drawing."""
    from fieldsolve.cli.process.interruption import raise_if_interrupted
    from fieldsolve.report.plots.styles import checked_after_drawings

    with checked_after_drawings(raise_if_interrupted):
        if options.figures:
            from fieldsolve.report.plots.shot import write_shot_figures

            write_shot_figures(shot, options.figures, inputs.record if facts.get("measured") else None)
        if options.movie:
            from fieldsolve.cli.progress import write_movie_with_progress

            write_movie_with_progress(shot, options.movie, options.movie_shows)
        if options.report:
            with _without_garbage_collection():
                report_facts = _write_report(*prepare_page(), facts=facts, options=options)
            if options.json:                                   # once more, with the page's card and scope; a page that fails takes nothing
                _write_facts(shot, facts | report_facts, options.json)


@contextmanager
def _without_garbage_collection() -> Iterator[None]:
    """Within it the interpreter does not look for cycles: nothing of the shots is garbage, and what a page leaves is little."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _show(shot: Shot, name: str, inputs: OutputInputs) -> dict[str, Any]:
    """Print a shot; returns what is printed, and more, as facts."""
    from fieldsolve.report.text.motion import former_facts, former_text, frames_facts, frames_text
    from fieldsolve.report.text.shot import shot_errors, shot_facts
    from fieldsolve.screen import wrapped_lines
    from fieldsolve.shot.display.summary import closing_text, result_text

    former = None if shot.held else shot.problem.former
    facts = {"case": name, **shot_facts(shot), "former": former_facts(former), "errors": shot_errors(shot)}
    notes = [("former", former_text(former))] if former else []
    notes += [("errors", ", ".join(f"{place} {text}" for place, text in _main_errors(shot)))] if shot.comparisons else []
    print(result_text(shot, name, notes))
    if inputs.rate:
        facts["frames"] = frames_facts(shot, inputs.rate)
        print("\n".join(frames_text(facts["frames"])))
    facts |= _peak_difference(shot, inputs.record)
    warnings = [f"WARNING: {sentence}" for sentence in facts["exceeded"]]
    print(*(line for warning in warnings for line in wrapped_lines(warning)), closing_text(shot), sep="\n")
    return facts


def _measured_record(options: argparse.Namespace, end_time: float) -> Record | None:
    """The record to compare, which must have samples in the time of the shot."""
    if options.measured is None:
        return None
    from fieldsolve.records.measured_current import check_overlap

    record = read_measured(options.measured, options)
    check_overlap(record, end_time)
    return record


def _frame_rate(text: str | None, end_time: float) -> float | None:
    if text is None:
        return None
    from fieldsolve.errors import InputError
    from fieldsolve.shot.result.kinematics import check_frame_count
    from fieldsolve.units import parse_quantity

    rate = parse_quantity(number_or_text(text), "Hz", "--frames")
    if not 0 < rate < math.inf:
        raise InputError(f"--frames {text!r}: must be a finite rate above 0, such as '1 MHz'")
    try:
        check_frame_count(rate, end_time)
    except InputError as error:
        raise InputError(f"--frames {text!r}: {error}") from None
    return rate


def _main_errors(shot: Shot) -> Iterator[tuple[str, str]]:
    """The errors that a person looks at first, as text."""
    from fieldsolve.units import display

    for name in (*shot.coils, *shot.bodies):
        yield f"current of {name}", display(shot.peak("current", name).error, "A", 1)
    for series, place in shot.history.values:
        if series == "field":
            yield f"peak field, {place}", display(shot.peak("field", place).error, "T", 1)


def _peak_difference(shot: Shot, record: Record | None) -> dict[str, Any]:
    """Difference of the peaks, shown and as facts."""
    if record is None:
        return {}
    from fieldsolve.errors import InputError
    from fieldsolve.records.measured_current import peak_difference
    from fieldsolve.screen import wrapped_lines

    try:
        difference = peak_difference(shot, record, shot.coils[0])
    except InputError as error:                                # of a shot that ended early
        print("\n".join(wrapped_lines(f"not compared: {error}")))
        return {"measured": None}
    print("\n".join(wrapped_lines(str(difference))))
    for remark in record.remarks:
        print("\n".join(wrapped_lines(f"{record.path.name}: {remark}")))
    return {"measured": {"file": record.path.name, "remarks": list(record.remarks),
                         "channels": {role: _given_values(channel) for role, channel in record.channels.items()},
                         "peak_A": difference.measured[0], "peak_time_s": difference.measured[1],
                         "peak_uncertainty_A": difference.uncertainty[0], "peak_time_uncertainty_s": difference.uncertainty[1],
                         "computed_less_measured_A": difference.current, "computed_less_measured_s": difference.time,
                         "residual_rms_A": difference.residual, "baseline_A": difference.baseline}}


def _given_values(channel: Channel) -> dict[str, Any]:
    """What was said of a channel."""
    return {key: value for key, value in asdict(channel).items() if value not in (None, 0.0) or key == "column"}


def _write_files(shot: Shot, facts: dict, options: argparse.Namespace) -> None:
    if options.json:
        _write_facts(shot, facts, options.json)
    if options.csv or options.npz:
        from fieldsolve.report.files.series import write_csv, write_npz

        for path, write in ((options.csv, write_csv), (options.npz, write_npz)):
            if path:
                write(shot, path)
    if options.frames_csv:
        from fieldsolve.report.files.series import write_columns
        from fieldsolve.report.text.motion import frame_columns

        write_columns(shot, options.frames_csv, frame_columns(facts["frames"]))


def _write_facts(shot: Shot, facts: dict, path: str) -> None:
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance

    write_json(path, {**facts, "provenance": provenance(*(shot.case.name, shot.case.text) if shot.case else ())})


def _write_report(shot: Shot, rig: Rig, bands: Bands | None, facts: dict, options: argparse.Namespace) -> dict[str, Any]:
    """Write the page and return its card, scope and bands as facts."""
    from fieldsolve.cases.card_companions import card_shots
    from fieldsolve.report.animation.slider import slider_pictures
    from fieldsolve.report.sheet.page import write_page
    from fieldsolve.report.sheet.scope import scope_channels
    from fieldsolve.report.text.rig import card_facts
    from fieldsolve.rig.card import rig_card

    shots = card_shots(shot)
    card = rig_card(rig, shots.shot, shots.moving_shot, shots.coil_inductance)
    channels = scope_channels(shot, card)
    pictures = slider_pictures(shot, options.movie_shows) if options.slider else ()
    write_page(options.report, shot, facts, shot.case, card, channels, pictures, bands)
    of_bands = {} if bands is None else {"bands": bands.facts()}
    return {"card": card_facts(card), "scope": [channel.facts for channel in channels], **of_bands}
