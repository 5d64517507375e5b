"""The command `fieldsolve calibrate`: parameters of a model calibrated to the shots of logs."""
from __future__ import annotations

import argparse

from fieldsolve.cli.arguments import add_command, add_json
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.records.radius import PRIOR_EXAMPLE, prior_of, shots_counted

SHOTS_OF_ONE = 11               # that a logged shot takes, for the time left


def add_calibrate(commands) -> None:
    """Add the command to those of the parser."""
    calibrate = add_command(commands, "calibrate", run_calibrate, "a few parameters of the model, from the shots of logs",
                            "Fit parameters of the model to the records and measurements of several shots at once, and predict those that "
                            "are held out.  Ctrl-C keeps the best so far, marked.")
    calibrate.add_argument("logs", metavar="LOG", nargs="+", help="folder of a log, or of one of its shots")
    calibrate.add_argument("--hold-out", metavar="SHOT", action="append", default=[],
                           help="name of a shot that is predicted and not fitted; again for another")
    calibrate.add_argument("--prior", metavar=PRIOR_EXAMPLE, action="append", default=[],
                           help="relative standard deviation of a parameter, or one with its unit: a key of the cases, gain, or "
                           "'flow_stress of PART'; again for another, at most six (default: the uncertainties in the first case, and 30 %% "
                           "of the flow stress)")
    calibrate.add_argument("--part", metavar="disc", help="the body (default: the only one)")
    calibrate.add_argument("--calibration", metavar="FILE.toml", help="write the file that cases name with [calibration] file = ...")
    calibrate.add_argument("--report", metavar="FILE.html", help="write one page by itself (.html)")
    add_json(calibrate)


def run_calibrate(options: argparse.Namespace) -> int | None:
    """Fit, predict, show and write; exit code 4 where a held-out shot is not predicted, the shots disagree, or iterations go on."""
    from fieldsolve.cli.process.exit_codes import NOT_KEPT
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.inference.calibration.calibrate import calibrate
    from fieldsolve.inference.calibration.logged_shots import logged_shots, numbers_of
    from fieldsolve.inference.calibration.text import DISAGREE
    from fieldsolve.inference.parameters import default_prior
    from fieldsolve.inference.runs import check_part

    check_outputs(options)
    shots = logged_shots(options.logs)
    case = shots[0].case
    part = check_part(case, options.part, [each.name for each in case.parts if not each.is_coil])
    found = calibrate([shot.case for shot in shots], [shot.record for shot in shots], parameters=prior_of(options.prior) or
                      default_prior(case, part), measured=[shot.measured for shot in shots], hold_out=numbers_of(shots, options.hold_out),
                      names=[shot.name for shot in shots], part=part, progress=shots_counted(SHOTS_OF_ONE * len(shots)))
    print(found.report())
    if options.calibration:
        found.save(options.calibration)
    if options.report:
        from fieldsolve.report.sheet.inference.calibration_page import write_calibration_page
        from fieldsolve.shot.problem import CaseText

        write_calibration_page(options.report, found, found.facts(), CaseText(case.name, case.text))
    if options.json:
        write_json(options.json, found.facts() | {"provenance": provenance()})
    print_written(options)
    kept = found.settled and found.disagreement <= DISAGREE and not any(held.misses for held in found.held_out)
    return None if kept else NOT_KEPT
