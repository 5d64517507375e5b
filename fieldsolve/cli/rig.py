"""The command `fieldsolve rig`: the go / no-go card of a case file."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, add_json, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED, NOT_ASSESSED, NOT_KEPT, first_of
from fieldsolve.cli.promises import broken_promises

if TYPE_CHECKING:
    from fieldsolve.rig.card import Card
    from fieldsolve.shot.result.shot import Shot


def add_rig(commands) -> None:
    """Add the command to those of the parser."""
    rig = add_command(commands, "rig", run_rig, "go / no-go card of the rig in a case file",
                      "Compute the shot of a case file with the metal held still, and hold bank, gap, bleeder, box, insulation and "
                      "people against the limits of the card.  Unless [run] motion = false the shot is computed once more with moving "
                      "metal, which says when the coil bursts and how fast its turns are; no limit is eased by that.  It authorises no "
                      "shot.  Exit code 1 where a hard stop is outside, else 4 where the shot does not keep its accuracy or balance, else "
                      "3 where anything is not assessed, else 0; a warning changes none.")
    add_case(rig)
    add_accuracy(rig, "3e-3", "the shot's peaks")
    add_json(rig)


def run_rig(options: argparse.Namespace) -> int:
    """Show and write the card; returns the exit code."""
    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.cases.solve import solve_rig_shots
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.text.rig import card_facts, card_summary
    from fieldsolve.rig.card import rig_card

    accuracy, case = chosen_accuracy(options.accuracy, None), read_changed_case(options)
    check_outputs(options, case)
    rig, shots = read_rig(case), solve_rig_shots(case, accuracy, solve_with_progress)
    card = rig_card(rig, shots.shot, shots.moving_shot, shots.coil_inductance)
    print(card_summary(f"{case.name}: go / no-go card of {rig.today}", card))
    if options.json:
        write_json(options.json, {"case": case.name, "day": rig.today.isoformat(), **card_facts(card),
                                  "provenance": provenance(case.name, case.text)})
    print_written(options)
    return exit_code(card, shots.shot)


def exit_code(card: Card, shot: Shot | None) -> int:
    """1 where a hard stop is outside, else 4 where the held shot does not keep a promise, else 3 where anything is not assessed."""
    not_kept = shot is not None and bool(broken_promises(shot))
    return first_of([FAILED] * card.stopped + [NOT_KEPT] * not_kept + [NOT_ASSESSED] * card.incomplete)
