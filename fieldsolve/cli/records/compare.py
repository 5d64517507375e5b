"""The command `fieldsolve compare`: a record held against the shot of a case file."""
from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, add_json, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED
from fieldsolve.cli.record_options import add_channel, add_scale_uncertainty, read_measured
from fieldsolve.cli.records.options import measured_values

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.propagation.result import Bands
    from fieldsolve.records.comparison.compare import Comparison
    from fieldsolve.shot.result.shot import Shot

INPUTS = ("auto", "held", "full", "none", "bands")


def add_compare(commands) -> None:
    """Add the command to those of the parser."""
    compare = add_command(commands, "compare", run_compare, "a measured current held against the shot of a case file",
                          "Compute the shot of a case file, lay the record of its current over it, and hold each difference against the "
                          "numerical error, the uncertainties in the case file ('120 uF +- 3 %') and those of the measurement.")
    add_case(compare)
    compare.add_argument("record", metavar="RECORD.csv", help="the record")
    compare.add_argument("--measured", metavar="'NAME = VALUE'", action="append", default=[],
                         help="measured after the shot, such as 'radius of disc = 12.9 mm +- 0.1 mm'; again for another")
    add_scale_uncertainty(compare)
    add_channel(compare)
    compare.add_argument("--kept", metavar="FILE.shot.npz", help="a kept shot of the same case, in place of computing it")
    compare.add_argument("--held", action="store_true", help="hold the metal still, as [run] motion = false does")
    add_accuracy(compare, "3e-3", "the peaks")
    compare.add_argument("--errors", action="store_true", help="also the numerical errors, from a second run with finer cells and steps")
    add_inputs(compare)
    add_json(compare)
    compare.add_argument("--report", metavar="FILE.html", help="write one page by itself: both currents, the table, the verdict (.html)")


def add_inputs(command: argparse.ArgumentParser) -> None:
    """How the uncertainty from the inputs is found."""
    command.add_argument("--inputs", choices=INPUTS, default="auto",
                         help="how the uncertainty from the case's inputs is found: by shots with the metal held, by full ones, by the "
                         "bands of fieldsolve band, not at all (default auto: full ones where a shape was measured)")


def run_compare(options: argparse.Namespace) -> int | None:
    """Compute, compare, show and write; returns the exit code where it is not 0."""
    from fieldsolve.cases.solve import check_shot_case
    from fieldsolve.records.comparison.compare import compare

    case = read_changed_case(options)
    check_shot_case(case)
    check_outputs(options, case)
    measured = measured_values(options.measured)
    record = read_measured(options.record, options)
    shot = kept_or_solved(options, case)
    bands = bands_of(options, case, shot, bool(measured))
    comparison = compare(shot, record, measured, case=case, inputs=inputs_without_bands(options), bands=bands, progress=show_progress)
    put_out_comparison(comparison, options)
    return FAILED if shot.interrupted else None


def bands_of(options: argparse.Namespace, case: Case, shot: Shot, shapes: bool) -> Bands | None:
    """The bands about a shot where --inputs wants them, with moving metal where shapes were measured and the shot's metal moved."""
    if options.inputs != "bands":
        return None
    from fieldsolve.propagation.solve import bands

    return bands(case, shot=shot, held=not (shapes and shot.problem.motion is not False), progress=show_progress)


def inputs_without_bands(options: argparse.Namespace) -> str:
    """How `compare` finds the uncertainty where it has no bands."""
    return "auto" if options.inputs == "bands" else options.inputs


def kept_or_solved(options: argparse.Namespace, case: Case) -> Shot:
    """The kept shot that the options name, or else the case's, solved; InputError where the kept one is of another case."""
    from fieldsolve.cli.progress import refine_with_progress, solve_with_progress
    from fieldsolve.errors import InputError
    from fieldsolve.shot.load import load_shot

    if options.kept is None:
        shot = solve_with_progress(case, chosen_accuracy(options.accuracy, case.run.accuracy), options.held)
    else:
        shot = load_shot(options.kept)
        if shot.case is None or shot.case.text != case.text:
            raise InputError(f"--kept {options.kept}: is of another case than {case.name}; leave it out to compute the shot")
    return refine_with_progress(shot) if options.errors else shot


def show_progress(text: str) -> None:
    """What is computed next, on standard error where a person looks on."""
    if sys.stderr.isatty():
        print(f"computing for the uncertainty of the inputs: {text}", file=sys.stderr)


def put_out_comparison(comparison: Comparison, options: argparse.Namespace) -> None:
    """Print a comparison and write its page and JSON."""
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance

    facts = comparison.facts()
    print(comparison.report())
    if options.report:
        from fieldsolve.report.sheet.comparison_page import write_comparison_page

        write_comparison_page(options.report, comparison, facts)
    if options.json:
        origin = (comparison.case.name, comparison.case.text) if comparison.case else ()
        write_json(options.json, facts | {"provenance": provenance(*origin)})
    print_written(options)
