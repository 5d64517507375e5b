"""The command `fieldsolve rig`: the go / no-go card of a case file."""
from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldsolve.cli.arguments import add_accuracy, add_case, add_command, add_json, chosen_accuracy, read_changed_case
from fieldsolve.cli.outputs import check_outputs, print_written
from fieldsolve.cli.process.exit_codes import FAILED, NOT_ASSESSED, NOT_KEPT, first_of

if TYPE_CHECKING:
    from fieldsolve.cases.case_file import Case
    from fieldsolve.cases.solve import RigShots
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
    rig.add_argument("--shot", metavar="SHOT.shot.npz", help="take the shot that `fieldsolve shot --save` kept of this case; kept with "
                     "--report it holds all that the card needs")
    rig.add_argument("--figure", metavar="FILE", help="draw the checks, how much of each limit is used (.png, .pdf, .svg)")
    rig.add_argument("--report", metavar="FILE.html", help="write one page by itself: the whole card, drawings (.html)")
    rig.add_argument("--csv", metavar="FILE.csv", help="write the checks, one row each; - for the screen")
    add_json(rig)


def run_rig(options: argparse.Namespace) -> int:
    """Show and write the card; returns the exit code."""
    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.cases.solve import solve_rig_shots
    from fieldsolve.cli.progress import solve_with_progress
    from fieldsolve.files import write_json
    from fieldsolve.files.provenance import provenance
    from fieldsolve.report.files.rows import write_rows
    from fieldsolve.report.text.rig import card_facts, card_summary
    from fieldsolve.rig.card import rig_card

    accuracy, case = chosen_accuracy(options.accuracy, None), read_changed_case(options)
    check_outputs(options, case)
    rig = read_rig(case)
    shots = _kept_shots(options.shot, case) if options.shot else solve_rig_shots(case, accuracy, solve_with_progress)
    card = rig_card(rig, shots.shot, shots.moving_shot, shots.coil_inductance)
    title = f"{case.name}: go / no-go card of {rig.today}"
    print(card_summary(title, card))
    facts, origin = card_facts(card), provenance(case.name, case.text)
    if options.json:
        write_json(options.json, {"case": case.name, "day": rig.today.isoformat(), **facts, "provenance": origin})
    if options.csv:
        write_rows(options.csv, facts["checks"], origin)
    _draw(card, case, title, options)
    print_written(options)
    return exit_code(card, shots.shot)


def _draw(card: Card, case: Case, title: str, options: argparse.Namespace) -> None:
    """Write the drawing and the page, where they were requested."""
    if options.figure:
        from fieldsolve.report.files.drawing import write_drawing
        from fieldsolve.report.plots.styles import figures_for_files
        from fieldsolve.report.sheet.card_bars import plot_card

        with figures_for_files():
            write_drawing(plot_card(card, title).figure, options.figure)
    if options.report:
        from fieldsolve.report.sheet.card_page import write_card_page

        write_card_page(options.report, title, card, case)


def _kept_shots(path: str, case: Case) -> RigShots:
    """The kept shot of a case with what was kept beside it; InputError where it is of another case."""
    from fieldsolve.cases.card_companions import card_shots
    from fieldsolve.cases.case_file import read_tables
    from fieldsolve.cases.table_keys import RIG_TABLES
    from fieldsolve.errors import InputError
    from fieldsolve.shot.load import load_shot

    shot = load_shot(path)
    kept, tables = read_tables(shot.case.text) if shot.case else {}, case.tables
    changed = [name for name in {**kept, **tables} if kept.get(name) != tables.get(name) and name not in (*RIG_TABLES, "limits")]
    if changed:
        raise InputError(f"--shot {path}: is of another case, which differs in [{changed[0]}]; give the shot of {case.name}")
    return card_shots(shot)


def exit_code(card: Card, shot: Shot | None) -> int:
    """1 where a hard stop is outside, else 4 where the held shot does not keep a promise, else 3 where anything is not assessed."""
    not_kept = shot is not None and bool(shot.shortfalls)
    return first_of([FAILED] * card.stopped + [NOT_KEPT] * not_kept + [NOT_ASSESSED] * card.incomplete)
