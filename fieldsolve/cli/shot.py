"""The command `fieldsolve shot`: a case file's bank fired into its coils, or a shot gone on with, shown, written and kept."""
from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import CHECKPOINT_SUFFIX, KEPT_SUFFIX, check_outputs
from fieldsolve.cli.shot_output import OutputInputs, add_outputs, put_out, read_output_inputs

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.errors import SolveError
    from fieldsolve.propagation.result import Bands
    from fieldsolve.rig.rig import Rig
    from fieldsolve.shot.result.shot import Shot

DRAWS_OF_PAGE = 2000             # of the bands on a page; `fieldsolve band` draws more


def add_shot(commands) -> None:
    """Add the command to those of the parser."""
    shot = add_command(commands, "shot", run_shot, "discharge of the bank in a case file into its coils",
                       "Fire the [bank] of a case file into its coils in series and compute current, field, force and heat to [run] "
                       "end_time.  Currents in the tables of coils play no part.")
    add_case(shot, optional=True)
    shot.add_argument("--held", action="store_true",
                      help="hold the metal still, as [run] motion = false does: quicker, but it overstates field, current and force")
    add_accuracy(shot, "3e-3", "the peaks")
    shot.add_argument("--errors", action="store_true",
                      help="also the numerical errors, from a second run with finer cells and steps, on screen and in --json")
    shot.add_argument("--save", metavar=f"FILE{KEPT_SUFFIX}", help=f"keep the shot for `fieldsolve show` ({KEPT_SUFFIX})")
    shot.add_argument("--checkpoint", metavar=f"FILE{CHECKPOINT_SUFFIX}",
                      help="keep the shot every few steps and at each event as it is computed, to go on with after a crash; the one "
                           "before stands beside it")
    shot.add_argument("--resume", metavar=f"FILE{CHECKPOINT_SUFFIX}",
                      help="in place of a case: go on with a shot from its last checkpoint, to the same result, and keep it there")
    add_outputs(shot)


def run_shot(options: argparse.Namespace) -> int | None:
    """Compute, show, write and keep a shot, from its start or from a checkpoint; returns the exit code where it is not 0."""
    from fieldsolve.cases.solve import check_shot_case
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.errors import InputError

    if options.resume:
        return _resume(options)
    if options.case is None:
        raise InputError("shot: give CASE.toml, or --resume with a checkpoint")
    case = read_changed_case(options)
    check_shot_case(case)
    check_outputs(options, case)
    _check_checkpoint(options)
    inputs = read_output_inputs(options, case.run.end_time)
    accuracy = chosen_accuracy(options.accuracy, case.run.accuracy)
    return _finish(options, case, case.name, inputs, lambda: solve_with_progress(case, accuracy, options.held, options.checkpoint))


def _finish(options: argparse.Namespace, case: Case | None, name: str, inputs: OutputInputs, compute: Callable[[], Shot]) -> int | None:
    """Compute a shot, show, write and keep it; returns the exit code where it is not 0."""
    shot, failure = _solve(compute)
    if shot.interrupted and (options.checkpoint or options.resume):
        print(f"to go on: fieldsolve shot --resume {options.checkpoint or options.resume}", file=sys.stderr)
    if options.errors and not failure:
        shot, failure = _refine(shot)
    if options.save:
        shot.save(options.save)
    code = put_out(shot, name, options, inputs, lambda: _prepare_page(case, shot, options.save))
    if failure:
        raise failure
    return code


def _solve(compute: Callable[[], Shot]) -> tuple[Shot, SolveError | None]:
    """The shot and None; of one that failed on the way what was computed, marked, and its error."""
    from fieldsolve.errors import SolveError

    try:
        return compute(), None
    except SolveError as error:
        if error.partial is None:
            raise
        return error.partial, error


def _refine(shot: Shot) -> tuple[Shot, SolveError | None]:
    """The shot with error bounds and None; where the refined run failed or was interrupted the shot as it was, and why."""
    from fieldsolve.cli.progress import refine_with_progress
    from fieldsolve.errors import SolveError

    try:
        return refine_with_progress(shot), None
    except SolveError as error:
        return shot, error
    except KeyboardInterrupt as interrupt:
        return shot, SolveError(f"--errors: {interrupt}")


def _prepare_page(case: Case, shot: Shot, save: str | None) -> tuple[Shot, Rig, Bands | None]:
    """The shot with what the card takes beside it, the empty coils' inductance and a shot with the metal held, kept again with them.

    And the rig, and the bands where the case gives uncertainties.
    """
    from fieldsolve.cases.card_companions import with_card_companions
    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.cli.progress import solve_with_progress

    shot = with_card_companions(case, shot, solve_with_progress)
    if save:
        shot.save(save)
    return shot, read_rig(case), _bands_of_page(case, shot)


def _bands_of_page(case: Case, shot: Shot) -> Bands | None:
    """The bands about a shot from few draws, its inputs varied with the metal held; None where the case gives no uncertainties."""
    from fieldsolve.records.comparison.sensitivities import uncertain_inputs

    if not uncertain_inputs(case):
        return None
    import warnings

    from fieldsolve.cli.band import print_next
    from fieldsolve.errors import AccuracyWarning, FieldError
    from fieldsolve.propagation.solve import bands

    try:
        return bands(case, shot=shot, held=True, draws=DRAWS_OF_PAGE, checks=0, progress=print_next)
    except FieldError as error:
        warnings.warn(f"the page has no bands: {error}", AccuracyWarning, stacklevel=2)
        return None


def _check_checkpoint(options: argparse.Namespace) -> None:
    """Refuse to write over the checkpoint of a shot that is not finished: InputError."""
    from fieldsolve.errors import InputError
    from fieldsolve.shot.checkpoint.file import read_checkpoint_header

    if options.checkpoint is None or options.force or not Path(options.checkpoint).exists():
        return
    try:
        header = read_checkpoint_header(options.checkpoint)
    except InputError:                                          # another file of this program
        return
    if not header["finished"]:
        raise InputError(f"--checkpoint {options.checkpoint}: holds a shot {_progress(header)} that is not finished; go on with it by "
                         f"--resume {options.checkpoint}, or give another name, or --force to begin anew")


def _resume(options: argparse.Namespace) -> int | None:
    """Go on with a shot, show, write and keep it; returns the exit code where it is not 0."""
    from fieldsolve.cli.progress import resume_with_progress
    from fieldsolve.errors import InputError
    from fieldsolve.shot.checkpoint.file import read_checkpoint_header

    _check_options(options)
    header = read_checkpoint_header(options.resume)
    case = _case_of(options, header)
    check_outputs(options, case)
    if options.report and case is None:
        raise InputError(f"--report {options.report}: the page shows the rig of the case; give CASE.toml beside --resume")
    inputs = read_output_inputs(options, header["end_time"])
    name = header["case"]["name"] if header["case"] else Path(options.resume).name
    print(f"going on with {name} {_progress(header)}")
    return _finish(options, case, name, inputs, lambda: resume_with_progress(options.resume, header["end_time"], options.checkpoint))


def _check_options(options: argparse.Namespace) -> None:
    """Refuse what a shot that was begun cannot take any more: InputError; a checkpoint in the file itself is what happens anyway."""
    from fieldsolve.errors import InputError

    for option in ("held", "accuracy"):
        if getattr(options, option):
            raise InputError(f"--{option} with --resume: the shot was begun without it or with another; leave it out")
    if options.checkpoint and os.path.realpath(options.checkpoint) == os.path.realpath(options.resume):
        options.checkpoint = None


def _case_of(options: argparse.Namespace, header: dict[str, Any]) -> Case | None:
    """The case where it is given, too; InputError for another one than that of the checkpoint."""
    from fieldsolve.errors import InputError

    if options.case is None:
        if options.set:
            raise InputError("--set with --resume: the shot goes on with the case that it was begun with; leave it out")
        return None
    case = read_changed_case(options)
    if header["case"] is None or header["case"]["text"] != case.text:
        raise InputError(f"{options.case}: is not the case of {options.resume}, or has changed since; leave it out to go on with the "
                         "shot as it was begun")
    return case


def _progress(header: dict[str, Any]) -> str:
    """How far a shot has come, in words."""
    if header["finished"]:
        return f"as it was finished ({header['written']})"
    done = "with all steps made" if header["of_companion"] else f"at {1e6 * header['time']:.4g} of {1e6 * header['end_time']:.4g} us"
    return f"{done} ({header['written']})"
