"""The command `fieldsolve shot`: a case file's bank fired into its coils, shown, written and kept."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import KEPT_SUFFIX, check_outputs
from fieldsolve.cli.shot_output import COIL_INDUCTANCE, HELD_SHOT, add_outputs, put_out, read_output_inputs

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.errors import SolveError
    from fieldsolve.propagation.result import Bands
    from fieldsolve.rig.rig import Rig
    from fieldsolve.shot.result.shot import Shot

DRAWS_OF_PAGE = 2000             # of the bands on a page; `fieldsolve band` draws more
HELD_SHOT_ACCURACY = 3e-2        # of the held shot behind a page's card: its peaks are 0.1 % off, its limits are not that sharp


def add_shot(commands) -> None:
    """Add the command to those of the parser."""
    shot = add_command(commands, "shot", run_shot, "discharge of the bank in a case file into its coils",
                       "Fire the [bank] of a case file into its coils in series and compute current, field, force and heat to [run] "
                       "end_time.  Currents in the tables of coils play no part.")
    add_case(shot)
    shot.add_argument("--held", action="store_true",
                      help="hold the metal still, as [run] motion = false does: quicker, but it overstates field, current and force")
    add_accuracy(shot, "3e-3", "the peaks")
    shot.add_argument("--errors", action="store_true",
                      help="also the numerical errors, from a second run with finer cells and steps, on screen and in --json")
    shot.add_argument("--save", metavar=f"FILE{KEPT_SUFFIX}", help=f"keep the shot for `fieldsolve show` ({KEPT_SUFFIX})")
    add_outputs(shot)


def run_shot(options: argparse.Namespace) -> int | None:
    """Compute, show, write and keep a shot; returns the exit code where it is not 0."""
    from fieldsolve.cases.solve import check_shot_case

    case = read_changed_case(options)
    check_shot_case(case)
    check_outputs(options, case)
    inputs = read_output_inputs(options, case.run.end_time)
    shot, failure = _solve(case, chosen_accuracy(options.accuracy, case.run.accuracy), options.held)
    if options.errors and not failure:
        shot, failure = _refine(shot)
    if options.save:
        shot.save(options.save)
    code = put_out(shot, case.name, options, inputs, lambda: _prepare_page(case, shot, options.save))
    if failure:
        raise failure
    return code


def _solve(case: Case, accuracy: float | None, held: bool) -> tuple[Shot, SolveError | None]:
    """The shot and None; of one that failed on the way what was computed, marked, and its error."""
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.errors import SolveError

    try:
        return solve_with_progress(case, accuracy, held), None
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
    import gc
    from dataclasses import replace

    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.rig.coil import empty_inductance

    gc.freeze()                                                # nothing of the shot is garbage yet: spares looking through it
    rig = read_rig(case)
    companions = {COIL_INDUCTANCE: empty_inductance(case.section, rig.coils)}
    if not shot.held:
        companions[HELD_SHOT] = solve_with_progress(case, max(shot.accuracy, HELD_SHOT_ACCURACY), held=True)
    shot = replace(shot, companions=companions)
    if save:
        shot.save(save)
    return shot, rig, _bands_of_page(case, shot)


def _bands_of_page(case: Case, shot: Shot) -> Bands | None:
    """The bands about a shot from few draws, its inputs varied with the metal held; None where the case gives no uncertainties."""
    import warnings

    from fieldsolve.cli.band import print_next
    from fieldsolve.errors import AccuracyWarning, FieldError
    from fieldsolve.propagation.solve import bands
    from fieldsolve.records.comparison.sensitivities import uncertain_inputs

    if not uncertain_inputs(case):
        return None
    try:
        return bands(case, shot=shot, held=True, draws=DRAWS_OF_PAGE, checks=0, progress=print_next)
    except FieldError as error:
        warnings.warn(f"the page has no bands: {error}", AccuracyWarning, stacklevel=2)
        return None
