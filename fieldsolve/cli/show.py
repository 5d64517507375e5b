"""The command `fieldsolve show`: a kept shot shown and written without solving anything."""
from __future__ import annotations

import argparse
from pathlib import Path

from fieldsolve.cli.arguments import add_command
from fieldsolve.cli.outputs import check_outputs
from fieldsolve.cli.shot_output import add_outputs, put_out, read_output_inputs


def add_show(commands) -> None:
    """Add the command to those of the parser."""
    show = add_command(commands, "show", run_show, "a shot that was kept in a file",
                       "Show and write a shot that `fieldsolve shot --save` or shot.save has kept.  Nothing is solved: errors are there "
                       "where the shot was kept with --errors, and the page's card is complete where it was kept with --report.")
    show.add_argument("shot", metavar="SHOT.shot.npz", help="the kept shot")
    add_outputs(show)


def run_show(options: argparse.Namespace) -> int | None:
    """Show and write a kept shot; returns the exit code where it is not 0."""
    from fieldsolve.cases.case_file import kept_rig
    from fieldsolve.errors import InputError
    from fieldsolve.shot.kept.container import read_header
    from fieldsolve.shot.load import load_shot

    check_outputs(options)
    shot, header = load_shot(options.shot), read_header(options.shot)
    inputs = read_output_inputs(options, float(shot.times[-1]))
    if options.report and shot.case is None:
        raise InputError(f"--report {options.report}: the shot in {options.shot} came from no case file, and the page shows one; "
                         "keep a shot by `fieldsolve shot CASE.toml --save FILE`")
    name = shot.case.name if shot.case else Path(options.shot).name
    code = put_out(shot, name, options, inputs, lambda: (shot, kept_rig(shot.case.name, shot.case.text, shot.section), None))
    print(f"kept {header['written']} by fieldsolve {header['software']['fieldsolve']} on {header['platform']}")
    return code
