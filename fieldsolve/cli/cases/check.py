"""The command `fieldsolve check`: a case file read, its parts with their sizes and gaps, and what computing it will cost."""
from __future__ import annotations

import argparse

from fieldsolve.cli.arguments import add_case, add_command, read_changed_case


def add_check(commands) -> None:
    """Add the command to those of the parser."""
    check = add_command(commands, "check", run_check, "whether a case file is right, and what computing it will cost",
                        "Read a case file, its metals and its tables, fit the parts together, mesh them once, and say sizes, gaps, what "
                        "can be computed and about how long it takes.  Nothing is solved.")
    add_case(check)


def run_check(options: argparse.Namespace) -> None:
    """Read the case and show what was read."""
    from fieldsolve.cases.case_file import read_rig
    from fieldsolve.report.text.case import case_summary
    from geometries.mesher import mesh_section

    case = read_changed_case(options)
    read_rig(case)
    print(case_summary(case, mesh_section(case.section).size))
