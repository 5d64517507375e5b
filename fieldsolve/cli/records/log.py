"""The commands `fieldsolve log new | add | list | show | compare`: the log of shots."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, add_json, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED
from fieldsolve.cli.record_options import (
    add_channel,
    add_scale_uncertainty,
    channel_values,
    check_record_is_given,
    checked_time_unit,
)
from fieldsolve.cli.records.compare import (
    add_inputs,
    bands_of,
    inputs_without_bands,
    kept_or_solved,
    put_out_comparison,
    show_progress,
)
from fieldsolve.cli.records.options import named_texts

if TYPE_CHECKING:
    from fieldsolve.records.log import ShotLog

LOG_FOLDER = "shots"


def add_log(commands) -> None:
    """Add the commands to those of the parser."""
    log = commands.add_parser("log", help="log of shots: predictions, records, measurements", allow_abbrev=False,
                              description="One folder a shot: case file, the prediction stored before the shot with its hash, records, "
                              "measurements, comparisons.  Nothing is overwritten.")
    actions = log.add_subparsers(dest="action", required=True, metavar="ACTION")
    for add in (_add_new, _add_add, _add_list, _add_show, _add_compare):
        add(actions)


def _add_new(actions) -> None:
    new = add_command(actions, "new", run_log_new, "put a shot that is to be fired into the log",
                      "Compute the shot of a case file and store it as the prediction, before the shot is fired.")
    add_case(new)
    _add_folder(new)
    new.add_argument("--title", metavar="TEXT", default="", help="what the shot is")
    _add_facts(new)
    new.add_argument("--kept", metavar="FILE.shot.npz", help="a kept shot of the same case, in place of computing it")
    new.add_argument("--held", action="store_true", help="hold the metal still, as [run] motion = false does")
    add_accuracy(new, "3e-3", "the peaks")
    new.add_argument("--errors", action="store_true", help="also the numerical errors, from a second run with finer cells and steps")


def _add_add(actions) -> None:
    add = add_command(actions, "add", run_log_add, "add records, photos, measurements and notes to a shot",
                      "Add to a shot of the log.  Files are copied as they are.")
    _add_shot_and_folder(add)
    add.add_argument("--record", metavar="RECORD.csv", help="what the oscilloscope wrote")
    add_scale_uncertainty(add)
    add_channel(add)
    add.add_argument("--photo", metavar="FILE", action="append", default=[], help="a photo; again for another")
    _add_facts(add)
    add.add_argument("--note", metavar="TEXT", default="", help="anything else, such as a misfire")
    add.add_argument("--replace", action="store_true", help="take the place of a file or fact that is there; the other one is kept")


def _add_list(actions) -> None:
    _add_folder(add_command(actions, "list", run_log_list, "list the shots", "List the shots of the log, one line each."))


def _add_show(actions) -> None:
    show = add_command(actions, "show", run_log_show, "show a shot, what is missing, and what is not as it was stored",
                       "Show a shot of the log, what it should hold at least and does not, and what is not as it was stored.  "
                       "Exit code 1 where a hash is not the one in the log.")
    _add_shot_and_folder(show)
    show.add_argument("--report", metavar="FILE.html", help="write one page by itself, with the last comparison (.html)")
    add_json(show)


def _add_compare(actions) -> None:
    compare = add_command(actions, "compare", run_log_compare, "hold the records of a shot against its prediction",
                          "Hold the records and measurements of a shot against the prediction that was stored before it, and keep the "
                          "comparison in the log.")
    _add_shot_and_folder(compare)
    add_inputs(compare)
    add_json(compare)
    compare.add_argument("--report", metavar="FILE.html", help="write one page by itself of the last record (.html)")


def _add_folder(command: argparse.ArgumentParser) -> None:
    command.add_argument("--log", metavar="FOLDER", default=LOG_FOLDER, help=f"folder of the log (default {LOG_FOLDER})")


def _add_shot_and_folder(command: argparse.ArgumentParser) -> None:
    command.add_argument("name", metavar="SHOT", help="name of the shot, such as 2026-11-28-001")
    _add_folder(command)


def _add_facts(command: argparse.ArgumentParser) -> None:
    command.add_argument("--fact", metavar="'NAME = VALUE'", action="append", default=[],
                         help="what is to be written down, such as 'diameter of disc = 25.92 mm, 25.90 mm +- 0.02 mm'; again for another; "
                         "`fieldsolve log show` lists the names")


def run_log_new(options: argparse.Namespace) -> int | None:
    """Compute and store a prediction."""
    from fieldsolve.cases.card_companions import with_card_companions
    from fieldsolve.cases.solve import check_shot_case
    from fieldsolve.cli.progress import solve_with_progress

    case, facts = read_changed_case(options), named_texts("--fact", options.fact)
    check_shot_case(case)
    log = _log(options)
    shot = kept_or_solved(options, case)
    entry = log.new(case, with_card_companions(case, shot, solve_with_progress), options.title, facts)
    print(f"{entry.folder}: prediction stored {entry.created}")
    print(f"  SHA-256 {entry.stored['prediction']['sha256']}: write it into the lab book")
    return FAILED if shot.interrupted else None


def run_log_add(options: argparse.Namespace) -> None:
    """Add to a shot."""
    from fieldsolve.errors import InputError
    from fieldsolve.records.log.text import missing_lines

    if not (options.record or options.photo or options.fact or options.note):
        raise InputError("log add: nothing to add; give --record, --photo, --fact or --note")
    check_record_is_given(options, options.record, "--record")
    entry = _log(options).add(options.name, record=options.record, channels=channel_values(options), time_unit=checked_time_unit(options),
                              photos=options.photo, facts=named_texts("--fact", options.fact), note=options.note, replace=options.replace)
    print(f"{entry.folder}: {len(entry.additions)} addition(s)")
    print("\n".join(missing_lines(entry)))


def run_log_list(options: argparse.Namespace) -> None:
    """List the shots."""
    from fieldsolve.records.log.text import list_text

    print(list_text(_log(options).entries()))


def run_log_show(options: argparse.Namespace) -> int | None:
    """Show a shot; returns 1 where something is not as it was stored."""
    from fieldsolve.files import write_json
    from fieldsolve.records.log.text import entry_facts, entry_text

    _check_outputs(options)
    entry = _log(options).entry(options.name)
    facts = entry_facts(entry)
    print(entry_text(entry))
    if options.report:
        from fieldsolve.report.sheet.log_page import write_log_page

        write_log_page(options.report, entry, facts)
    if options.json:
        write_json(options.json, facts)
    print_written(options)
    return FAILED if facts["problems"] else None


def run_log_compare(options: argparse.Namespace) -> None:
    """Compare each record of a shot with its prediction and keep the comparisons."""
    from fieldsolve.cases.case_file import read_case
    from fieldsolve.records.comparison.compare import compare
    from fieldsolve.records.log.comparisons import keep_comparison, logged_measurements, logged_record, records_to_compare

    _check_outputs(options)
    log = _log(options)
    entry = log.entry(options.name)
    prediction, case, measured = entry.prediction(), read_case(entry.case_path), logged_measurements(entry)
    additions = records_to_compare(entry)
    bands = bands_of(options, case, prediction, bool(measured))
    for addition in additions:
        comparison = compare(prediction, logged_record(entry, addition), measured, case=case, inputs=inputs_without_bands(options),
                             bands=bands, progress=show_progress)
        keep_comparison(log, options.name, addition, comparison)
    put_out_comparison(comparison, options)


def _check_outputs(options: argparse.Namespace) -> None:
    check_outputs(argparse.Namespace(**{key: value for key, value in vars(options).items() if key != "name"}))


def _log(options: argparse.Namespace) -> ShotLog:
    from fieldsolve.records.log import ShotLog

    return ShotLog(options.log)
