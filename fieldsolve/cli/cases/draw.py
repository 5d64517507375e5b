"""The command `fieldsolve draw`: the parts of a case file to scale, with their dimensions."""
from __future__ import annotations

import argparse

from fieldsolve.cli.arguments import add_case, add_command, read_changed_case
from fieldsolve.cli.outputs import FIGURE_SUFFIXES, add_force, check_outputs, print_written

SIZE = (6.4, 4.4)       # inches of the drawing


def add_draw(commands) -> None:
    """Add the command to those of the parser."""
    draw = add_command(commands, "draw", run_draw, "a drawing of the parts of a case file, with dimensions",
                       "Draw the half section of the parts of a case file to scale, with the dimensions to check with a caliper.")
    add_case(draw)
    draw.add_argument("--figure", metavar="FILE", required=True, help=f"the drawing ({', '.join(FIGURE_SUFFIXES)})")
    add_force(draw)


def run_draw(options: argparse.Namespace) -> None:
    """Draw the parts."""
    from fieldsolve.report.files.drawing import write_drawing
    from fieldsolve.report.plots.styles import FONT
    from fieldsolve.report.sheet.rig_drawing import plot_rig

    case = read_changed_case(options)
    check_outputs(options, case)
    ax = plot_rig(case, SIZE)
    ax.set_title(case.name.replace("$", r"\$"), fontsize=FONT)
    write_drawing(ax.figure, options.figure)
    print_written(options)
