"""The command `fieldsolve shot`: a case file's bank fired into its coils, shown and written."""
from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, add_json, chosen_accuracy

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.shot.result.shot import Shot

HELD_SHOT_ACCURACY = 3e-2        # of the held shot behind a page's card: its peaks are 0.1 % off, its limits are not that sharp
OUTSIDE = 1                 # exit code of a shot that was interrupted or exceeds a rating


def add_shot(commands) -> None:
    """Add the command to those of the parser."""
    shot = add_command(commands, "shot", run_shot, "discharge of the bank in a case file into its coils",
                       "Fire the [bank] of a case file into its coils in series and compute current, field, force and heat to [run] "
                       "end_time.  Currents in the tables of coils play no part.")
    add_case(shot)
    shot.add_argument("--held", action="store_true",
                      help="hold the metal still, as [run] motion = false does: quicker, but it overstates field, current and force")
    add_accuracy(shot, "3e-3", "the peaks")
    add_json(shot)
    shot.add_argument("--errors", action="store_true",
                      help="also the numerical errors, from a second run with finer cells and steps, on screen and in --json")
    shot.add_argument("--csv", metavar="FILE", help="write the series, one row an instant (.csv)")
    shot.add_argument("--npz", metavar="FILE", help="write the series as arrays (.npz)")
    shot.add_argument("--figures", metavar="DIR", help="draw the figures into a folder (.png)")
    shot.add_argument("--report", metavar="FILE.html", help="write the sheet for the bench: one page by itself, two of A4 in print (.html)")
    shot.add_argument("--frames", metavar="RATE", help="outer radius of the bodies at the frames of a camera, such as '1 MHz', "
                      "on screen and in --json")
    shot.add_argument("--measured", metavar="FILE.csv", help="record of the first coil's current, time in s and current in A, to compare")


def run_shot(options: argparse.Namespace) -> int | None:
    """Compute, show and write a shot; returns the exit code where it is not 0."""
    from fieldsolve.cases.case_file import read_case
    from fieldsolve.cases.solve import check_shot_case
    from fieldsolve.report.text.motion import former_text, frames_facts, frames_text
    from fieldsolve.report.text.shot import exceeded_ratings

    _check_files(options)
    case = read_case(options.case)
    check_shot_case(case)
    record, rate = _measured_record(options.measured), _frame_rate(options.frames)
    shot, failure = _solve(case, chosen_accuracy(options.accuracy, case.run.accuracy), options.held)
    print(f"{case.name}: {shot.summary()}")
    if case.former and not shot.held:
        print(former_text(case.former))
    overloads = exceeded_ratings(shot)
    for sentence in overloads:
        print("WARNING:", sentence)
    if options.errors and not failure:
        print("numerical errors:", ", ".join(f"{name} {text}" for name, text in _main_errors(shot)))
    frames = frames_facts(shot, rate) if rate else None
    for line in frames_text(frames) if frames else ():
        print(line)
    facts = {**_facts(case, shot, errors=options.errors and not failure), **({"frames": frames} if frames else {}),
             **_peak_difference(shot, record, verbose=not options.figures)}
    _write_files(shot, facts, options)
    if options.report:
        report_facts = _write_report(case, shot, facts, options)
        if options.json:                                       # once more, with the page's card and scope; a page that fails takes nothing
            _write_json(options.json, facts | report_facts)
    if failure:
        raise failure
    return OUTSIDE if overloads or shot.interrupted else None


def _check_files(options: argparse.Namespace) -> None:
    from fieldsolve.files import check_output_file, check_output_folder

    for option, suffixes in (("json", ()), ("csv", (".csv",)), ("npz", (".npz",)), ("report", (".html",))):
        check_output_file(f"--{option}", getattr(options, option), suffixes)
    check_output_folder("--figures", options.figures)


def _facts(case: Case, shot: Shot, errors: bool) -> dict:
    from fieldsolve.report.text.motion import former_facts
    from fieldsolve.report.text.shot import shot_errors, shot_facts

    return {"case": case.name, **shot_facts(shot), "former": former_facts(None if shot.held else case.former),
            **({"errors": shot_errors(shot)} if errors else {})}


def _measured_record(path: str | None):
    """The measured record, read before the solve so that a bad one costs no time."""
    if path is None:
        return None
    from fieldsolve.records.measured_current import read_record

    return read_record(path)


def _frame_rate(text: str | None) -> float | None:
    """Frames a second of a camera, checked before the solve."""
    if text is None:
        return None
    from fieldsolve.errors import InputError
    from fieldsolve.units import parse_quantity

    rate = parse_quantity(text, "Hz", "--frames")
    if not 0 < rate < math.inf:
        raise InputError(f"--frames {text!r}: must be a finite rate above 0, such as '1 MHz'")
    return rate


def _solve(case: Case, accuracy: float | None, held: bool):
    """The shot and None; of one that failed on the way what was computed, marked, and its error."""
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.errors import SolveError

    try:
        return solve_with_progress(case, accuracy, held), None
    except SolveError as error:
        if error.partial is None:
            raise
        return error.partial, error


def _main_errors(shot) -> Iterator[tuple[str, str]]:
    """The errors that a person looks at first, as text."""
    from fieldsolve.units import display

    for name in (*shot.coils, *shot.bodies):
        yield f"current of {name}", display(shot.peak("current", name).error, "A", 1)
    for series, place in shot.history.values:
        if series == "field":
            yield f"peak field, {place}", display(shot.peak("field", place).error, "T", 1)


def _peak_difference(shot, record, verbose: bool) -> dict:
    """Difference of the peaks as facts."""
    if record is None:
        return {}
    from fieldsolve.records.measured_current import peak_difference

    difference = peak_difference(shot, record, shot.coils[0])
    if verbose:
        print(difference)
    return {"measured": {"file": record.path.name, "peak_A": difference.measured[0], "peak_time_s": difference.measured[1],
                         "computed_less_measured_A": difference.current, "computed_less_measured_s": difference.time}}


def _write_report(case: Case, shot: Shot, facts: dict, options: argparse.Namespace) -> dict:
    """Write the page and return its card and scope as facts."""
    import gc

    from fieldsolve.report.sheet.page import write_page
    from fieldsolve.report.sheet.scope import scope_channels
    from fieldsolve.report.text.rig import card_facts

    gc.freeze()                                                # nothing of the shot is garbage yet: spares looking through it
    card = _card(case, shot)
    channels = scope_channels(shot, card)
    write_page(options.report, shot, facts, Path(options.case), card, channels)
    return {"card": card_facts(card), "scope": [channel.facts for channel in channels]}


def _card(case: Case, shot: Shot):
    """The card of the case's rig: of this shot where its metal is held, else of it and of a held one that is solved for its checks."""
    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.rig.card import rig_card
    from fieldsolve.rig.coil import empty_inductance

    rig = read_rig(case)
    held = shot if shot.held else solve_with_progress(case, max(shot.accuracy, HELD_SHOT_ACCURACY), held=True)
    return rig_card(rig, held, None if shot.held else shot, empty_inductance(case.section, rig.coils))


def _write_json(path: str, facts: dict) -> None:
    from fieldsolve.files import write_json

    write_json(path, facts)


def _write_files(shot, facts: dict, options: argparse.Namespace) -> None:
    if options.json:
        _write_json(options.json, facts)
    if options.csv or options.npz:
        from fieldsolve.report.files.series import write_csv, write_npz

        for path, write in ((options.csv, write_csv), (options.npz, write_npz)):
            if path:
                write(shot, path)
    if options.figures:
        from fieldsolve.report.plots.shot import write_shot_figures

        write_shot_figures(shot, options.figures, options.measured)
